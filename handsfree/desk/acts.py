"""The desk's own journal: what people did about findings. A visit is never touched.

Rules of this file:

- One row of WHAT for each action: what it must say, and whether the finding is open or closed after it.
- It only grows. Each line carries the hash of the one before, in the canonical form of `journal.canonical`, and the device's
  signature if it has a key. The latest entry about a finding counts; the earlier ones stay.
- It is on disk before anybody is told that it was done.
- One writer at a time, across processes: the end is read under the lock.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import FileLock

from handsfree.errors import Trouble
from handsfree.journal.canonical import as_line, canonical, entry_in
from handsfree.journal.disk import RealDisk
from handsfree.journal.keys import DeviceKey, signed_by

FILE = "sign-offs.jsonl"
KIND = "FindingAct"
#: Before there was more to do than to sign off: its `comment` is the `text` of today.
OLD_KIND = "FindingSignedOff"
SIGNED_OFF, DISMISSED, REOPENED, ASSIGNED = "signed off", "dismissed", "reopened", "assigned"
ASKED, ANSWERED, FOLLOW_UP = "asked", "answered", "follow-up"
#: Letters of a text, and of whom it is for.
LONGEST, LONGEST_NAME = 2000, 200


@dataclass(frozen=True)
class What:
    """`done`: the sentence about a finding once it is done. `needs`: the fields that must be given, with the message if one
    is missing. `closes`: the finding is closed after it (True), open (False), or unchanged (None). `state`: the state of
    the thread after it, '' for unchanged."""

    words: str
    done: str
    needs: tuple[tuple[str, str], ...]
    closes: bool | None
    state: str = ""


_COMMENT = ("text", "say what you found out")
WHAT: dict[str, What] = {
    SIGNED_OFF: What("Sign off", "is signed off", (_COMMENT,), True, SIGNED_OFF),
    DISMISSED: What("Dismiss", "is dismissed", (("text", "say why it does not matter"),), True, DISMISSED),
    ASKED: What(
        "Ask the technician",
        "has a question to the technician now",
        (("text", "write the question"), ("to", "the visit names no technician to ask")),
        False,
        ASKED,
    ),
    ANSWERED: What("Answer", "is answered", (("text", "write the answer"),), None, ANSWERED),
    ASSIGNED: What("Assign", "is assigned", (("to", "say to whom"),), None),
    FOLLOW_UP: What(
        "Follow up",
        "has a day by which somebody must go there",
        (("due", "give the day by which somebody must go there, as 2026-02-11"),),
        None,
    ),
    REOPENED: What("Reopen", "is open again", (("text", "say why"),), False, REOPENED),
}


@dataclass(frozen=True)
class DeskAct:
    """`key`: of the finding (`readout.finding_key`), `n` its event, `head` the hash of the visit's last event as it was
    seen. `by`: the name of the account. `what`: of WHAT. `to`: an account assigned, or a technician asked, by the name in
    the records. `due`: a day, '2026-02-11'."""

    key: str
    visit: str
    n: int
    rule: str
    sentence: str
    head: str
    by: str
    text: str
    what: str = SIGNED_OFF
    to: str = ""
    due: str = ""


def missing(act: DeskAct) -> str:
    """What it lacks, as the end of a sentence; '' if it is complete."""
    found = WHAT.get(act.what)
    if found is None:
        return "choose what is to be done"
    if len(act.text) > LONGEST or len(act.to) > LONGEST_NAME:
        return f"a text has at most {LONGEST} characters"
    lacks = [said for name, said in found.needs if not getattr(act, name).strip()]
    return lacks[0] if lacks else ""


@dataclass(frozen=True)
class Kept:
    """An act in its place: `n` from 0, `wall` RFC 3339, `device` the signer's name or ''."""

    n: int
    wall: str
    device: str
    act: DeskAct


def append(folder: Path, acts: Sequence[DeskAct], key: DeviceKey | None) -> list[Kept]:
    """All of them, on disk when it returns. Trouble if the disk cannot be written, or the journal is broken."""
    path = folder / FILE
    folder.mkdir(parents=True, exist_ok=True)
    with FileLock(folder / f"{FILE}.lock", timeout=30):
        n, prev = _end(path)
        wall = datetime.now().astimezone().isoformat(timespec="milliseconds")
        lines, found = [], []
        for number, act in enumerate(acts, n):
            entry = {"event": asdict(act), "kind": KIND, "n": number, "prev": prev, "wall": wall}
            if key is not None:
                entry |= {"device": key.device, "public_key": key.public_key}
                entry["signature"] = key.sign(canonical(entry))
            line, prev = as_line(canonical(entry))
            lines.append(line)
            found.append(Kept(number, wall, key.device if key is not None else "", act))
        disk = RealDisk()
        try:
            file = disk.append_to(path, new=not path.exists())
            try:
                file.write(b"".join(lines))
                file.sync()
            finally:
                file.close()
        except OSError as error:
            raise Trouble(f"Nothing was done: {path} could not be written ({error.strerror}).") from None
    return found


def _end(path: Path) -> tuple[int, str]:
    """(number, hash before) for the next line. A half-written line from a crash was never reported to anybody: it is cut
    off."""
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
        raise Trouble(f"The desk's journal {path} was changed at its end. Put back a good copy first.", 3)
    return json.loads(entry)["n"] + 1, hashlib.sha256(entry).hexdigest()


def read(folder: Path, known: dict[str, str] | None = None) -> Iterator[Kept]:
    """Every act in order. Trouble (status 3) names the first bad one: changed, moved, falsely signed, or signed by a key
    that is not in `known`, if any are known."""
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
            if entry is None or data.get("n") != n or data.get("prev") != prev or data.get("kind") not in (KIND, OLD_KIND):
                raise Trouble(f"The desk's journal {path} is broken at line {n + 1}: it was changed.", 3)
            _judge(path, data, known or {})
            yield Kept(n, data["wall"], data.get("device", ""), _act(data["event"]))
            prev = hashlib.sha256(entry).hexdigest()


def _act(event: dict[str, Any]) -> DeskAct:
    if "comment" in event:
        event = {"text": event["comment"], **{name: value for name, value in event.items() if name != "comment"}}
    return DeskAct(**event)


def _judge(path: Path, data: dict[str, Any], known: dict[str, str]) -> None:
    where = f"The desk's journal {path} is broken at line {data['n'] + 1}"
    if "signature" not in data:
        return
    plain = {name: value for name, value in data.items() if name != "signature"}
    if not signed_by(data["public_key"], data["signature"], canonical(plain)):
        raise Trouble(f"{where}: its signature is not by the device it names.", 3)
    if known and data["public_key"] not in known:
        raise Trouble(f"{where}: it is signed by '{data['device']}', whose key is not known here.", 3)
