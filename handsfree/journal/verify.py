"""Does the record hold? The first place that does not is named.

Rules of this file:

- One pass, constant memory: what is kept is the last event, the last signature of each device and the clips seen missing.
- The chain of hashes makes one signature vouch for all before it, so only the last of each device is checked; when it fails,
  a second pass finds the first that does. Once a journal is signed, every event after must be.
- A chain shows an accident and a careless edit. Against somebody who can rewrite it all only signatures by a key known
  here help, and against cutting off the end only the seal and what was noted elsewhere (`Report.events`, `Report.head`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal.canonical import canonical
from handsfree.journal.clock import JUMP
from handsfree.journal.keys import signed_by
from handsfree.journal.reader import Broken, journal_of, stamped, torn_tail, walk
from handsfree.journal.shapes import Envelope, file_allowed


@dataclass(frozen=True)
class Report:
    """`problem`: the first place that does not hold, in words, '' where all holds. `remarks`: what a reader should know
    though nothing is wrong. `open_end`: the problem is only that there is no seal.
    `head`: hash of the last event; note it elsewhere, and a cut end is found."""

    events: int
    head: str
    problem: str = ""
    at: int | None = None
    remarks: tuple[str, ...] = ()
    clips: int = 0
    removed: int = 0
    signers: tuple[str, ...] = ()
    sealed: bool = False
    open_end: bool = False

    @property
    def holds(self) -> bool:
        return not self.problem


class _NoSeal(Broken):
    """All holds, up to an end without a seal."""


@dataclass
class _Seen:
    """What one pass keeps."""

    folder: Path
    known: Mapping[str, str]
    events: int = 0
    head: str = ""
    last: Envelope | None = None
    drift: float = 0.0
    jumps: int = 0
    signer: str = ""
    signers: dict[str, str] = field(default_factory=dict)
    latest: dict[str, tuple[int, int, bytes, str]] = field(default_factory=dict)
    missing: dict[str, tuple[int, int, str]] = field(default_factory=dict)
    clips: int = 0
    removed: int = 0
    wanted: str | None = None
    noted: bool = False


def verify(
    visit: Path,
    *,
    known: Mapping[str, str] | None = None,
    signed: bool = False,
    events: int | None = None,
    head: str | None = None,
    sound: bool = True,
) -> Report:
    """Judge a visit. `known`: public keys known here (key -> device), as `keys.known()` gives; `signed`: must be signed by
    one of them; `events`, `head`: how many events there must be at least, and the hash of any of them, as noted elsewhere;
    `sound`: look at the files, too. Trouble where there is no journal or it cannot be read."""
    path = journal_of(visit)
    seen = _Seen(path.parent, known or {}, wanted=head)
    try:
        with path.open("rb") as stream:
            for at, entry, found, digest in walk(stream):
                _look(seen, at, entry, found, digest, sound)
        _at_the_end(seen, path, signed, events, head)
    except Broken as broken:
        return _report(seen, broken, path)
    except OSError as error:
        raise Trouble(f"{path} cannot be read: {error.strerror}. Check the disk and who may read it.") from None
    return _report(seen, None, path)


def _look(seen: _Seen, at: int, entry: bytes, found: Envelope, digest: str, sound: bool) -> None:
    """One event that holds in the chain: its clock, its signature, its file."""
    n = found.n
    seen.noted = seen.noted or digest == seen.wanted
    drift = found.time - found.mono
    if n and abs(drift - seen.drift) > JUMP:
        _clock(seen, at, entry, found, drift - seen.drift)
    seen.drift = drift
    if n == 0 and found.kind != "Opened":
        raise Broken(0, at, f"a visit begins with Opened, not with {found.kind}")
    if found.kind in _MARKS:
        _MARKS[found.kind](seen, at, entry, found)
    if found.signature or seen.signer:
        if not found.signature:
            raise Broken(n, at, "it is not signed, though those before it are")
        if not seen.signer:
            raise Broken(n, at, "it is signed, but nothing says by which device")
        seen.latest[seen.signer] = (n, at, entry, found.signature)
    if found.file:
        seen.clips += 1
        if not file_allowed(found.file):
            raise Broken(n, at, f"it names a file outside its folder: {found.file!r}")
        if sound:
            _file(seen, at, found)
    seen.events, seen.head, seen.last = n + 1, digest, found


def _clock(seen: _Seen, at: int, entry: bytes, found: Envelope, jumped: float) -> None:
    """The wall clock jumped against the count. Forward and noted is a remark; backward is a problem even when noted, for the
    times before and after it contradict each other; a resume may find any amount of time passed, but none less."""
    noted = found.kind == "ClockMoved" or found.kind in ("Resumed", "TailDropped")
    if jumped < 0:
        said = "the record notes it" if found.kind == "ClockMoved" else "the record does not note it"
        raise Broken(found.n, at, f"the wall clock was set back by {-jumped:.1f} s here ({said})")
    if not noted:
        raise Broken(found.n, at, f"the wall clock was set forward by {jumped:.1f} s here and the record does not note it")
    seen.jumps += 1


def _signed_by(seen: _Seen, at: int, entry: bytes, found: Envelope) -> None:
    event = stamped(entry).event
    if seen.known and event.public_key not in seen.known:
        raise Broken(found.n, at, f"it is signed by '{event.device}', whose key is not known here")
    if len(seen.signers) >= 1000:
        raise Broken(found.n, at, "more than 1000 devices claim to have signed it")
    seen.signer = event.public_key
    seen.signers[event.public_key] = seen.known.get(event.public_key, event.device)


def _sealed(seen: _Seen, at: int, entry: bytes, found: Envelope) -> None:
    event = stamped(entry).event
    if event.events != found.n or event.head != found.prev:
        raise Broken(found.n, at, f"the seal is for {event.events} events, not for those before it")


def _sound_removed(seen: _Seen, at: int, entry: bytes, found: Envelope) -> None:
    for name, digest in stamped(entry).event.clips:
        if (was := seen.missing.pop(name, None)) is not None:
            if was[2] != digest:
                raise Broken(found.n, at, f"it says {name} was removed, but not with the hash that event {was[0]} gave it")
            seen.removed += 1


_MARKS = {"SignedBy": _signed_by, "Sealed": _sealed, "SoundRemoved": _sound_removed}


def _file(seen: _Seen, at: int, found: Envelope) -> None:
    path = seen.folder / found.file
    try:
        if path.is_symlink():
            raise Broken(found.n, at, f"its file {found.file} is a link, not the file")
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except IsADirectoryError:
        raise Broken(found.n, at, f"its file {found.file} is a folder") from None
    except FileNotFoundError:
        seen.missing.setdefault(found.file, (found.n, at, found.file_sha256))
        return
    if digest != found.file_sha256:
        raise Broken(found.n, at, f"its file {found.file} is not the one that was recorded: its hash differs")


def _at_the_end(seen: _Seen, path: Path, signed: bool, events: int | None, head: str | None) -> None:
    size = path.stat().st_size
    if seen.last is None:
        raise Broken(0, 0, "there is no event in it")
    for key, (n, at, entry, signature) in seen.latest.items():
        if not signed_by(key, signature, _unsigned(entry)):
            raise _first_bad_signature(path, n, at)
    if seen.missing:
        name, (n, at, _) = min(seen.missing.items(), key=lambda item: item[1][0])
        raise Broken(n, at, f"its file {name} is missing, and no mark says that it was removed")
    if signed and not seen.signers:
        raise Broken(0, 0, "it is not signed")
    if signed and not seen.known:
        raise Broken(0, 0, "it is signed, but no key is known here to judge it by; add one with 'handsfree keys'")
    if events is not None and seen.events < events:
        raise Broken(seen.events, size, f"it ends here, but {events} events were noted: its end was cut off")
    if head is not None and not seen.noted:
        raise Broken(seen.events, size, "the head hash that was noted is of no event in it: it was cut off or rewritten")
    if seen.last.kind != "Sealed":
        raise _NoSeal(seen.events, size, "it ends without a seal: it was cut off, or the visit crashed or still goes on")


def _unsigned(entry: bytes) -> bytes:
    data = json.loads(entry)
    data.pop("signature")
    return canonical(data)


def _first_bad_signature(path: Path, n: int, at: int) -> Broken:
    """Second pass, over signatures. The last one of a device failed, so at the latest that one is found."""
    signer = ""
    with path.open("rb") as stream:
        for here, entry, found, _ in walk(stream):
            if found.kind == "SignedBy":
                signer = stamped(entry).event.public_key
            if found.signature and not signed_by(signer, found.signature, _unsigned(entry)):
                return Broken(found.n, here, "its signature is not by the device that the record names: it was changed")
    return Broken(n, at, "its signature is not by the device that the record names: it was changed")


def _report(seen: _Seen, broken: Broken | None, path: Path) -> Report:
    problem = "" if broken is None else f"{broken.why[0].upper()}{broken.why[1:]}."
    if broken is not None and broken.n == seen.events and broken.why.startswith("the line") and torn_tail(path, broken):
        problem += " It may be what a crash left half-written; a resume would cut it off, keep it beside and note it."
    signers = tuple(f"{device} ({key[:8]}…)" for key, device in seen.signers.items())
    return Report(
        events=seen.events,
        head=seen.head,
        problem=problem,
        at=None if broken is None else broken.n,
        remarks=tuple(_remarks(seen)),
        clips=seen.clips,
        removed=seen.removed,
        signers=signers,
        sealed=seen.last is not None and seen.last.kind == "Sealed",
        open_end=isinstance(broken, _NoSeal),
    )


def _remarks(seen: _Seen) -> list[str]:
    found = []
    if seen.jumps:
        found.append(f"The wall clock jumped forward {seen.jumps} times, noted each time. Order is by the count.")
    if not seen.signers:
        found.append("It is not signed: the chain shows accidents and careless edits, not a wholly rewritten record.")
    elif not seen.known:
        found.append("It is signed, but no device's key is known here, so nothing says whose signature it is.")
    if seen.removed:
        found.append(f"The sound of {seen.removed} events was removed; a mark says which and why.")
    return found
