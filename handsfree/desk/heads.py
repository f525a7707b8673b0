"""The head ledger: each visit's last hash when it arrived, kept where no device can reach.

Rules of this file:

- One line per visit as it was stored: its name, number of events, head, the wall time, which device sent it. It only grows;
  each line carries the hash of the one before (`journal.canonical`), and all lines together are the leaves of a Merkle tree
  as RFC 6962 has it (`journal.ledger`), so that somebody who kept an earlier root can have it proved that nothing was
  changed, moved or left out since.
- After each line the root is written down beside it, signed by the desk's key where it has one: a *tree head*. A ledger that
  does not begin with what its tree head says was rolled back or rewritten. Where both were, only a tree head that was kept
  elsewhere tells (`holds_since`).
- A visit is compared with its note whenever it is read: if its record has no event with that hash, it was cut, rewritten or
  swapped.
"""

from __future__ import annotations

import hashlib
import io
import json
import threading
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import FileLock

from handsfree.errors import Trouble
from handsfree.journal import ledger
from handsfree.journal.canonical import as_line, canonical, entry_in
from handsfree.journal.disk import RealDisk
from handsfree.journal.keys import DeviceKey
from handsfree.journal.rights import KeptHead
from handsfree.journal.tree_heads import TreeHead, tree_head_in

FILE, TREE = "heads.jsonl", "tree-head.json"


@dataclass(frozen=True)
class Head(KeptHead):
    """`n` from 0; `by`: the account that sent it, or 'found here'."""

    n: int
    visit: str
    by: str


class Heads:
    """The ledger in the desk's own folder. Read once, and again when another process has written to it."""

    def __init__(self, folder: Path, key: DeviceKey | None = None) -> None:
        self.folder, self.key = folder, key
        self._lock = threading.Lock()
        self._size = 0
        self._leaves: list[bytes] = []
        self._of: dict[str, tuple[Head, ...]] = {}
        self._latest = ""
        self._prev = ""
        self._judged_once = False

    def note(self, *heads: tuple[str, int, str], by: str) -> int:
        """(visit, events, head) of each, on disk when it returns; a note equal to the visit's last one is not repeated.
        Returns how many were new. Trouble if the disk cannot be written, or the ledger is broken."""
        path = self.folder / FILE
        self.folder.mkdir(parents=True, exist_ok=True)
        with self._lock, FileLock(self.folder / f"{FILE}.lock", timeout=30):
            self._catch_up()
            if not path.exists():
                self._write_tree_head(datetime.now().astimezone().isoformat(timespec="seconds"))
            wall = datetime.now().astimezone().isoformat(timespec="seconds")
            block, prev, first = b"", self._prev, len(self._leaves)
            count = 0
            for visit, events, head in heads:
                if (last := self._of.get(visit)) is None or last[-1].head != head:
                    new = Head(events, head, wall, first + count, visit, by)
                    line, prev = as_line(canonical({**asdict(new), "prev": prev}))
                    block, count = block + line, count + 1
            try:
                if count:
                    _append(path, block)
                    self._catch_up()
                    self._write_tree_head(wall)
            except OSError as error:
                raise Trouble(f"The head ledger could not be written: {path}: {error.strerror}.") from None
            return count

    def kept_of(self, visit: str) -> tuple[Head, ...]:
        """Every note of a visit, the last one last. None is earlier than the lines before it: a clock set back makes
        nothing older."""
        with self._lock:
            self._catch_up()
            return self._of.get(visit, ())

    def last_of(self, visit: str) -> Head | None:
        """The last note of a visit."""
        kept = self.kept_of(visit)
        return kept[-1] if kept else None

    def tree_head(self) -> TreeHead:
        with self._lock:
            self._catch_up()
            return self._signed(datetime.now().astimezone().isoformat(timespec="seconds"))

    def proof(self, visit: str) -> dict[str, Any] | None:
        """That the last note of a visit is in the tree; `holds_proof` checks it. None if nothing was noted."""
        head = self.last_of(visit)
        if head is None:
            return None
        with self._lock:
            path = ledger.inclusion(self._leaves, head.n)
            tree = self._signed(head.wall)
        line = next(line for n, line in enumerate(_lines(self.folder / FILE)) if n == head.n)
        return {"tree": asdict(tree), "leaf": line.decode(), "at": head.n, "path": [h.hex() for h in path]}

    def since(self, size: int) -> list[str]:
        """The consistency proof from the tree of `size` lines to the present one. IndexError for a size it never had."""
        with self._lock:
            self._catch_up()
            return [h.hex() for h in ledger.consistency(self._leaves, size)]

    def all(self) -> list[Head]:
        """Every line. Trouble (status 3) names the first bad one."""
        found: list[Head] = []
        prev = ""
        for n, line in enumerate(_lines(self.folder / FILE)):
            data, prev = self._judged(line, n, prev)
            found.append(_head(data))
        return found

    def holds_since(self, kept: TreeHead) -> bool:
        """Does the ledger begin with that of a tree head kept elsewhere? Shown by a consistency proof."""
        with self._lock:
            self._catch_up()
            if not kept.holds or not 0 <= kept.size <= len(self._leaves):
                return False
            if kept.size == 0:
                return True
            path, now = ledger.consistency(self._leaves, kept.size), ledger.root(self._leaves)
            return ledger.holds_consistency(kept.size, len(self._leaves), bytes.fromhex(kept.root), now, path)

    # ---- what it is made of ----------------------------------------------------------------------------------------

    def _catch_up(self) -> None:
        path, first = self.folder / FILE, not self._judged_once
        tree = self._written_down() if first else None  # before the lines: another process adds to both, lines first
        size = path.stat().st_size if path.exists() else 0
        if size == self._size and not first:
            return
        if size < self._size:
            raise Trouble(f"The head ledger {path} has become shorter: it was changed. Put back a good copy.", 3)
        with path.open("rb") if path.exists() else io.BytesIO() as stream:
            stream.seek(self._size)
            for line in stream:
                if not line.endswith(b"\n"):
                    break  # half-written by a crash, told to nobody; the next append cuts it off
                data, self._prev = self._judged(line, len(self._leaves), self._prev)
                self._leaves.append(ledger.leaf_hash(line))
                if not self._latest or _later(data["wall"], self._latest):
                    self._latest = data["wall"]
                note = _head({**data, "wall": self._latest})
                self._of[note.visit] = (*self._of.get(note.visit, ()), note)
                self._size += len(line)
        if first:
            self._begins_as(tree or self._written_down())
            self._judged_once = True

    def _written_down(self) -> bytes:
        """The tree head beside the ledger; b'' for none."""
        try:
            return (self.folder / TREE).read_bytes()
        except OSError:
            return b""

    def _begins_as(self, written: bytes) -> None:
        """Trouble where the ledger does not begin with what this tree head says. It may be longer: a crash came between, or
        another process wrote."""
        if not self._leaves and not written:
            return
        try:
            tree = tree_head_in(written)
        except ValueError:
            tree = None
        if tree is None or tree.size > len(self._leaves) or ledger.root(self._leaves[: tree.size]).hex() != tree.root:
            raise Trouble(f"The head ledger {self.folder / FILE} is not the one that {TREE} beside it tells of: lines were "
                          "taken away or changed. Put back a good copy of both.", 3)

    def _judged(self, line: bytes, n: int, prev: str) -> tuple[dict[str, Any], str]:
        entry = entry_in(line)
        data: dict[str, Any] = json.loads(entry) if entry is not None else {}
        if entry is None or data.get("n") != n or data.get("prev") != prev or not _is_note(data):
            raise Trouble(f"The head ledger {self.folder / FILE} is broken at line {n + 1}: it was changed.", 3)
        return data, hashlib.sha256(entry).hexdigest()

    def _signed(self, wall: str) -> TreeHead:
        found = TreeHead(len(self._leaves), ledger.root(self._leaves).hex(), wall)
        if self.key is None:
            return found
        named = TreeHead(found.size, found.root, wall, self.key.device, self.key.public_key)
        return TreeHead(**{**asdict(named), "signature": self.key.sign(named.unsigned())})

    def _write_tree_head(self, wall: str) -> None:
        from handsfree.outputs import replace_file

        replace_file(self.folder / TREE, json.dumps(asdict(self._signed(wall)), sort_keys=True).encode(), 0o600)


def not_as_noted(noted: Head) -> str:
    """What is wrong with a record that has no event with the noted hash."""
    when = noted.wall[:16].replace("T", " ")
    said = f"Its head was noted here on {when}, with {noted.events} events, and this record is not that one."
    return f"{said} Its end was cut off, or it was rewritten or swapped."


def _later(wall: str, than: str) -> bool:
    return datetime.fromisoformat(wall) > datetime.fromisoformat(than)


def _is_note(data: dict[str, Any]) -> bool:
    try:
        return datetime.fromisoformat(_head(data).wall).tzinfo is not None
    except (KeyError, TypeError, ValueError):
        return False


def _head(data: dict[str, Any]) -> Head:
    return Head(**{name: data[name] for name in ("n", "visit", "events", "head", "wall", "by")})


def _lines(path: Path) -> Iterator[bytes]:
    if path.exists():
        with path.open("rb") as stream:
            yield from (line for line in stream if line.endswith(b"\n"))


def _append(path: Path, line: bytes) -> None:
    if path.exists():
        with path.open("r+b") as stream:
            size = stream.seek(0, 2)
            stream.seek(max(0, size - 5000))
            tail = stream.read()
            if tail and not tail.endswith(b"\n"):
                stream.truncate(size - len(tail) + tail.rfind(b"\n") + 1)
    file = RealDisk().append_to(path, new=not path.exists())
    try:
        file.write(line)
        file.sync()
    finally:
        file.close()
