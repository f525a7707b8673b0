"""Is the record intact, and what does that prove? It names the first bad place, and what each key covers.

Rules of this file:

- One pass, little memory: it keeps only the last event, the stretches by key, and which event names which file; and the
  events where a view asks for them.
- Every signature is checked with the key that the record names there. What a key covers is in `coverage`.
- A chain shows accidents and careless edits. Against somebody who can rewrite all of it, only signatures by a key known here
  help. Against cutting off the end, only the seal and what was noted elsewhere help (`Report.events`, `Report.head`,
  `Report.words`).
- What a key that was withdrawn still says is in `rights`.
- All signed means: every event under a key known here, and no place where the end could have been cut off unnoticed. If
  there is such a place, what was noted elsewhere may vouch for it.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal.clock import JUMP
from handsfree.journal.coverage import Cover, Join, Removal, all_under, remarks
from handsfree.journal.events import Stamped
from handsfree.journal.keys import signed_by
from handsfree.journal.reader import Broken, journal_of, stamped, torn_tail, walk
from handsfree.journal.rights import NO_RIGHTS, KeptHead, Rights, before, held_against
from handsfree.journal.shapes import Envelope, file_allowed
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.words import words_of


class _NoSeal(Broken):
    """Everything is intact, up to an end without a seal."""


class _Odd(Broken):
    """Something is wrong, but the chain goes on after it."""


class _Unsigned(_Odd):
    """All of it was to be under keys known here, and it is not."""


class _Doubt(_Odd):
    """A key of it was withdrawn, and nothing shows that it was signed before."""


@dataclass
class _SeenEvents:
    """What one pass keeps."""

    folder: Path
    known: Mapping[str, str]
    rights: Rights
    kept: Sequence[KeptHead]
    events: int = 0
    head: str = ""
    last: Envelope | None = None
    drift: float = 0.0
    jumps: int = 0
    signer: str = ""
    claimed: bool = False
    signers: dict[str, str] = field(default_factory=dict)
    covers: list[Cover] = field(default_factory=list)
    joins: list[Join] = field(default_factory=list)
    joining: bool = False
    solid: str = ""
    removals: list[Removal] = field(default_factory=list)
    seals: list[str] = field(default_factory=list)
    tells: list[str] = field(default_factory=list)
    renamed: str = ""
    named: dict[str, int] = field(default_factory=dict)
    missing: dict[str, tuple[int, int, str]] = field(default_factory=dict)
    clips: int = 0
    removed: int = 0
    wanted: frozenset[str] = frozenset()
    noted: dict[str, int] = field(default_factory=dict)


def verify(
    visit: Path,
    *,
    known: Mapping[str, str] | None = None,
    rights: Rights = NO_RIGHTS,
    kept: Sequence[KeptHead] = (),
    signed: bool = False,
    events: int | None = None,
    head: str | None = None,
    words: str | None = None,
    sound: bool = True,
    keep: list[Stamped] | None = None,
) -> VerifyReport:
    """Judge a visit. `known`: public keys known here (key -> device), as from `keys.known()`; `rights`: as from
    `keys.rights()`; `kept`: notes on this visit, which show whether a key that was withdrawn signed before. `signed`:
    every event must be under a known key. `events`, `head`, `words`: as noted elsewhere, the least number of events, the
    hash of any of them, the words of a seal. `sound`: check the files too. `keep`: is given the events, up to where the
    chain breaks: what is judged is what is shown, read once. Trouble if there is no journal or it cannot be read."""
    seen = _SeenEvents((path := journal_of(visit)).parent, known or {}, rights, kept)
    seen.wanted = frozenset(filter(None, (head, *(note.head for note in kept))))
    try:
        with path.open("rb") as stream:
            walked = walk(stream)
            try:
                for at, entry, found, digest in walked:
                    _look(seen, at, entry, found, digest, sound)
                    _kept(keep, entry)
            except _Odd:
                _kept(keep, entry)
                _go_on(walked, keep)
                raise
        _at_the_end(seen)
        _since_withdrawn(seen)
        _against_notes(seen, path, events, head, words)
        _as_signed(seen, signed, bool(events or head or words))
        if seen.last is not None and seen.last.kind != "Sealed":
            why = "it ends without a seal: it was cut off, or the visit crashed or still goes on"
            raise _NoSeal(seen.events, path.stat().st_size, why)
    except Broken as broken:
        return _report(seen, broken, path)
    except OSError as error:
        raise Trouble(f"{path} cannot be read: {error.strerror}. Check the disk and who may read it.") from None
    return _report(seen, None, path)


def _kept(keep: list[Stamped] | None, entry: bytes) -> None:
    if keep is not None:
        keep.append(stamped(entry))


def _go_on(walked: Iterator[tuple[int, bytes, Envelope, str]], keep: list[Stamped] | None) -> None:
    """The events after one with which something is wrong, up to where the chain breaks too."""
    if keep is not None:
        with contextlib.suppress(Broken):
            keep.extend(stamped(entry) for _, entry, _, _ in walked)


def _look(seen: _SeenEvents, at: int, entry: bytes, found: Envelope, digest: str, sound: bool) -> None:
    """One event that is intact in the chain: its clock, its signature, its file."""
    n = found.n
    if digest in seen.wanted:
        seen.noted[digest] = n
    drift = found.time - found.mono
    if n and abs(drift - seen.drift) > JUMP:
        _clock(seen, at, found, drift - seen.drift)
    seen.drift = drift
    if n == 0 and found.kind != "Opened":
        raise Broken(0, at, f"a visit begins with Opened, not with {found.kind}")
    _join(seen, found)
    if found.kind in _MARKS:
        _MARKS[found.kind](seen, at, entry, found)
    _cover(seen, at, entry, found)
    if found.kind == "Sealed":
        seen.seals.append(digest)
    if found.file:
        seen.clips += 1
        seen.named.setdefault(found.file, n)
        if not file_allowed(found.file):
            raise _Odd(n, at, f"it names a file outside its folder: {found.file!r}")
        if sound:
            _file(seen, at, found)
    seen.events, seen.head, seen.last = n + 1, digest, found


_SIGNATURE = b',"signature":"'


def _unsigned(entry: bytes) -> bytes:
    """What the signature is over: RFC 8785 sorts the signature before the wall time, which ends the entry."""
    at = entry.rfind(_SIGNATURE)
    return entry[:at] + entry[at + len(_SIGNATURE) + 129 :]


def _cover(seen: _SeenEvents, at: int, entry: bytes, found: Envelope) -> None:
    """Judges the event's own signature, and extends its stretch or begins a new one."""
    n, key = found.n, ""
    if found.signature:
        key = seen.signer
        if not key:
            raise Broken(n, at, "it is signed, but nothing says by which device")
        if not signed_by(key, found.signature, _unsigned(entry)):
            raise Broken(n, at, "its signature is not by the device that the record names: it was changed")
    last, opening = (seen.covers[-1] if seen.covers else None), seen.last
    if n == 1 and key and opening is not None and (opening.mono, opening.wall) == (found.mono, found.wall):
        seen.covers[-1] = last = replace(_begun(seen, 0, seen.covers[-1].since, key), last=seen.covers[-1].last)
    if last is not None and last.key == key:
        seen.covers[-1] = replace(last, last=n)
        return
    if len(seen.covers) >= 1000:
        raise Broken(n, at, "it changes hands more than 1000 times")
    seen.covers.append(_begun(seen, n, found.wall, key))


def _begun(seen: _SeenEvents, n: int, wall: str, key: str) -> Cover:
    gone = seen.rights.withdrawn.get(key)
    device = gone.device if gone is not None else seen.known.get(key, "")
    return Cover(n, n, wall, key, device, seen.signers.get(key, ""), gone.wall if gone is not None else "")


#: What a resume may put between the old end and the new events.
_BETWEEN = ("TailDropped", "EndOpen", "SignedBy", "ClockMoved")
_OPENS_AGAIN = ("TailDropped", "EndOpen", "Resumed", "SoundRemoved")


def _join(seen: _SeenEvents, found: Envelope) -> None:
    """Was the record reopened here, and was there a seal before? A run of marks is one opening."""
    if found.kind in _OPENS_AGAIN and not seen.joining and seen.solid != "SoundRemoved":
        seen.joins.append(Join(found.n, found.wall, seen.solid == "Sealed"))
        seen.joining = True
    if found.kind not in _BETWEEN:
        seen.joining, seen.solid = False, found.kind


def _clock(seen: _SeenEvents, at: int, found: Envelope, jumped: float) -> None:
    """The wall clock jumped against the count. Forward and noted is a remark. Backward is a problem even if noted, because
    the times before and after it contradict each other. At a resume any amount of time may have passed, but not less than
    none."""
    noted = found.kind in ("ClockMoved", "Resumed", "TailDropped", "EndOpen")
    if jumped < 0:
        said = "the record notes it" if found.kind == "ClockMoved" else "the record does not note it"
        raise _Odd(found.n, at, f"the wall clock was set back by {-jumped:.1f} s here ({said})")
    if not noted:
        raise _Odd(found.n, at, f"the wall clock was set forward by {jumped:.1f} s here and the record does not note it")
    seen.jumps += 1


def _opened(seen: _SeenEvents, at: int, entry: bytes, found: Envelope) -> None:
    if found.n:  # some readers would take the first opening and some the last
        raise Broken(found.n, at, "the visit is opened a second time here: the events of another were put in")
    name = stamped(entry).event.visit
    folder = seen.folder.name or seen.folder.resolve().name
    if name != folder:
        seen.renamed = folder
        seen.tells.append(f"Its folder is called '{folder}', the record is of visit '{name}': it was renamed or copied.")


def _signed_by(seen: _SeenEvents, at: int, entry: bytes, found: Envelope) -> None:
    event, seen.claimed = stamped(entry).event, True
    if not found.signature:  # the writer signs this event first: it is unsigned only if the signatures were removed
        raise _Odd(found.n, at, f"from here on {event.device} signs, but nothing is signed: its signatures were removed")
    gone = seen.rights.withdrawn.get(event.public_key)
    if (seen.known or seen.rights.withdrawn) and event.public_key not in seen.known and gone is None:
        raise _Odd(found.n, at, f"it is signed by '{event.device}', whose key is not known here")
    if len(seen.signers) >= 1000:
        raise Broken(found.n, at, "more than 1000 devices claim to have signed it")
    name = gone.device if gone is not None else seen.known.get(event.public_key, event.device)
    if name != event.device:
        seen.tells.append(f"At event {found.n} the signer calls itself {event.device}; the key is that of {name}.")
    seen.signer = event.public_key
    seen.signers[event.public_key] = event.device


def _sealed(seen: _SeenEvents, at: int, entry: bytes, found: Envelope) -> None:
    if (event := stamped(entry).event).events != found.n or event.head != found.prev:
        raise Broken(found.n, at, f"the seal is for {event.events} events, not for those before it")


def _sound_removed(seen: _SeenEvents, at: int, entry: bytes, found: Envelope) -> None:
    clips = stamped(entry).event.clips
    bound = {seen.named.get(name, found.n) for name, _ in clips}  # be it there or not, marked before or not
    for name, digest in clips:
        if (was := seen.missing.pop(name, None)) is not None:
            if was[2] != digest:
                raise _Odd(found.n, at, f"it says {name} was removed, but not with the hash that event {was[0]} gave it")
            seen.removed += 1
    key = seen.signer if found.signature else ""
    note = before(key, seen.rights, seen.kept)  # a key that was withdrawn had the right until then
    counts = found.n < note.events if note is not None else key in seen.known and key not in seen.rights.withdrawn
    right = counts and found.n not in bound and (key in seen.rights.removers or all_under(seen.covers, key, bound))
    by = (seen.known.get(key) or seen.signers.get(key, "")) if key else ""
    seen.removals.append(Removal(found.n, found.wall, len(clips), by, right))


_MARKS = {"Opened": _opened, "SignedBy": _signed_by, "Sealed": _sealed, "SoundRemoved": _sound_removed}


def _file(seen: _SeenEvents, at: int, found: Envelope) -> None:
    path = seen.folder / found.file
    try:
        if path.is_symlink() or path.parent.is_symlink():
            raise _Odd(found.n, at, f"its file {found.file} is a link, not the file")
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except IsADirectoryError:
        raise _Odd(found.n, at, f"its file {found.file} is a folder") from None
    except FileNotFoundError:
        seen.missing.setdefault(found.file, (found.n, at, found.file_sha256))
        return
    if digest != found.file_sha256:
        raise _Odd(found.n, at, f"its file {found.file} is not the one that was recorded: its hash differs")


def _at_the_end(seen: _SeenEvents) -> None:
    if seen.last is None:
        raise Broken(0, 0, "there is no event in it")
    if seen.missing:
        name, (n, at, _) = min(seen.missing.items(), key=lambda item: item[1][0])
        raise _Odd(n, at, f"its file {name} is missing, and no mark says that it was removed")


def _since_withdrawn(seen: _SeenEvents) -> None:
    """A key that was withdrawn counts for what was noted before."""
    seen.covers, (n, why) = held_against(seen.covers, seen.rights, seen.kept, seen.noted)
    if why:
        raise _Doubt(n, 0, why)


def _against_notes(seen: _SeenEvents, path: Path, events: int | None, head: str | None, words: str | None) -> None:
    size = path.stat().st_size
    if events is not None and seen.events < events:
        raise _Odd(seen.events, size, f"it ends here, but {events} events were noted: its end was cut off")
    if head is not None and head not in seen.noted:
        raise _Odd(seen.events, size, "no event in it has the head hash that was noted: it was cut off or rewritten")
    if words is not None and not any(words_of(seal) == words for seal in seen.seals):
        why = f"no seal in it has the words '{words}': it was cut off, rewritten, or is another visit"
        raise _Odd(seen.events, size, why)


def _as_signed(seen: _SeenEvents, signed: bool, noted: bool) -> None:
    """Every event is under a key known here, and the end cannot have been cut off unnoticed."""
    if not signed:
        return
    if not seen.signers:
        raise _Unsigned(0, 0, "it is not signed")
    if not seen.known and not seen.rights.withdrawn:
        raise _Unsigned(0, 0, "it is signed, but no key is known here to judge it by; add one with 'handsfree keys'")
    for cover in seen.covers:
        if not cover.trusted:
            who = "it is not signed" if not cover.key else f"it is {cover.by()}"
            more = "" if cover.key else f", nor are the events up to {cover.last}"
            raise _Unsigned(cover.first, 0, f"{who}{more}")
    for join in seen.joins:
        if not join.sealed and not noted:
            why = "the visit was resumed here and there is no seal before: a crash, or its end was cut off"
            raise _Unsigned(join.n, 0, f"{why}. A head noted elsewhere can tell (--head, --words)")


def _report(seen: _SeenEvents, broken: Broken | None, path: Path) -> VerifyReport:
    problem = "" if broken is None else f"{broken.why[0].upper()}{broken.why[1:]}."
    if broken is not None and broken.n == seen.events and broken.why.startswith("the line") and torn_tail(path, broken):
        problem += " It may be what a crash left half-written; a resume would cut it off, keep it beside and note it."
    return VerifyReport(
        events=seen.events,
        head=seen.head,
        problem=problem,
        at=None if broken is None else broken.n,
        cut=None if broken is None or isinstance(broken, _NoSeal | _Odd) else broken.at,
        remarks=tuple(remarks(tuple(seen.covers), seen.joins, seen.removals, seen.tells,
                              keys_here=bool(seen.known or seen.rights.withdrawn), jumps=seen.jumps)),
        clips=seen.clips, removed=seen.removed,
        covers=tuple(seen.covers),
        joins=tuple(seen.joins),
        removals=tuple(seen.removals),
        renamed=seen.renamed,
        sealed=seen.last is not None and seen.last.kind == "Sealed",
        open_end=isinstance(broken, _NoSeal), in_doubt=isinstance(broken, _Doubt), unsigned=isinstance(broken, _Unsigned),
        claimed=seen.claimed,
    )

