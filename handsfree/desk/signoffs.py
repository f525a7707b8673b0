"""The desk's own journal: findings signed off, with a comment. A visit is never touched.

Rules of this file:

- It only grows. Each line carries the hash of the one before, in the canonical form of `journal.canonical`, and the
  device's signature where it has a key. What was said later of the same finding holds; what was said before stays.
- It is on disk before anybody is told so.
- One writer at a time, across processes: the end is read under the lock.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import FileLock
from sqlalchemy import Connection, Engine, delete, insert, update

from handsfree.desk.ingest import put_alone
from handsfree.desk.tables import FindingRow, SignOffRow
from handsfree.errors import Trouble
from handsfree.journal.canonical import as_line, canonical, entry_in
from handsfree.journal.disk import RealDisk
from handsfree.journal.keys import DeviceKey, signed_by

FILE = "sign-offs.jsonl"
KIND = "FindingSignedOff"


@dataclass(frozen=True)
class SignOff:
    """`key`: of the finding (`readout.finding_key`), `n` its event, `head` the hash of the visit's last event as it was
    seen. `by`: the name of the account."""

    key: str
    visit: str
    n: int
    rule: str
    sentence: str
    head: str
    by: str
    comment: str


@dataclass(frozen=True)
class Kept:
    """A sign-off in its place: `n` from 0, `wall` RFC 3339, `device` the signer's name or ''."""

    n: int
    wall: str
    device: str
    sign_off: SignOff


def append(folder: Path, sign_off: SignOff, key: DeviceKey | None) -> Kept:
    """On disk when it returns. Trouble where the disk will not have it, or the journal does not hold."""
    path = folder / FILE
    folder.mkdir(parents=True, exist_ok=True)
    with FileLock(folder / f"{FILE}.lock", timeout=30):
        n, prev = _end(path)
        wall = datetime.now().astimezone().isoformat(timespec="milliseconds")
        entry = {"event": asdict(sign_off), "kind": KIND, "n": n, "prev": prev, "wall": wall}
        if key is not None:
            entry |= {"device": key.device, "public_key": key.public_key}
            entry["signature"] = key.sign(canonical(entry))
        line, _ = as_line(canonical(entry))
        disk = RealDisk()
        try:
            file = disk.append_to(path, new=not path.exists())
            try:
                file.write(line)
                file.sync()
            finally:
                file.close()
        except OSError as error:
            raise Trouble(f"Nothing was signed off: {path} could not be written ({error.strerror}).") from None
    return Kept(n, wall, key.device if key is not None else "", sign_off)


def _end(path: Path) -> tuple[int, str]:
    """(number, hash before) for the next line. A line that a crash left half-written was never told to anybody: it goes."""
    if not path.exists():
        return 0, ""
    with path.open("r+b") as stream:
        size = stream.seek(0, 2)
        stream.seek(max(0, size - 70_000))
        tail = stream.read()
        if not tail.endswith(b"\n"):
            keep = tail.rfind(b"\n") + 1
            stream.truncate(size - len(tail) + keep)
            tail = tail[:keep]
    last = tail.rstrip(b"\n").rpartition(b"\n")[2] + b"\n"
    if last == b"\n":
        return 0, ""
    entry = entry_in(last)
    if entry is None:
        raise Trouble(f"The desk's journal {path} was changed at its end. Put back a good copy; it is not written on.", 3)
    return json.loads(entry)["n"] + 1, hashlib.sha256(entry).hexdigest()


def read(folder: Path, known: dict[str, str] | None = None) -> Iterator[Kept]:
    """Every sign-off in order. Trouble (status 3) names the first that does not hold: changed, moved, signed falsely, or
    signed by a key not in `known` where any are known."""
    path = folder / FILE
    if not path.exists():
        return
    prev = ""
    with path.open("rb") as stream:
        for n, line in enumerate(stream):
            if not line.endswith(b"\n"):
                return  # half-written by a crash
            entry = entry_in(line)
            data: dict[str, Any] = json.loads(entry) if entry is not None else {}
            if entry is None or data.get("n") != n or data.get("prev") != prev or data.get("kind") != KIND:
                raise Trouble(f"The desk's journal {path} does not hold at line {n + 1}: it was changed.", 3)
            _judge(path, data, known or {})
            yield Kept(n, data["wall"], data.get("device", ""), SignOff(**data["event"]))
            prev = hashlib.sha256(entry).hexdigest()


def _judge(path: Path, data: dict[str, Any], known: dict[str, str]) -> None:
    where = f"The desk's journal {path} does not hold at line {data['n'] + 1}"
    if "signature" not in data:
        return
    plain = {name: value for name, value in data.items() if name != "signature"}
    if not signed_by(data["public_key"], data["signature"], canonical(plain)):
        raise Trouble(f"{where}: its signature is not by the device it names.", 3)
    if known and data["public_key"] not in known:
        raise Trouble(f"{where}: it is signed by '{data['device']}', whose key is not known here.", 3)


def rebuild(engine: Engine, folder: Path, known: dict[str, str] | None = None) -> int:
    """The table out of the journal, anew. How many sign-offs there are."""
    latest = {kept.sign_off.key: kept for kept in read(folder, known)}

    def fill(connection: Connection) -> None:
        connection.execute(delete(SignOffRow))
        connection.execute(update(FindingRow).where(FindingRow.signed).values(signed=False))
        for kept in latest.values():
            _put(connection, kept)

    put_alone(engine, fill)
    return len(latest)


def note(engine: Engine, kept: Kept) -> None:
    """One sign-off just written, into the table."""
    put_alone(engine, lambda connection: _put(connection, kept))


def _put(connection: Connection, kept: Kept) -> None:
    off = kept.sign_off
    connection.execute(delete(SignOffRow).where(SignOffRow.key == off.key))
    row = {"key": off.key, "visit": off.visit, "rule": off.rule, "by": off.by, "comment": off.comment, "wall": kept.wall,
           "device": kept.device}
    connection.execute(insert(SignOffRow), [row])
    connection.execute(update(FindingRow).where(FindingRow.key == off.key).values(signed=True))
