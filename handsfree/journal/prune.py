"""Removing the sound of old visits, because bystanders are recorded too, and leaving a mark that verifies.

Rules of this file:

- The mark is on disk before the first file is removed: a crash in between leaves an intact record, and the next prune
  goes on.
- The events, with the hash of each clip, stay: if a clip turns up again, its hash tells whether it is the right one.
- A clip that no event names was left by a crash between the clip and its event. It needs no mark, and is removed too.
- A broken record is evidence of something; it is not touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal.clock import JournalClock
from handsfree.journal.events import SoundRemoved
from handsfree.journal.keys import DeviceKey
from handsfree.journal.reader import JOURNAL, SOUND, read
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal

#: Clips named in one mark, so that no line grows without end.
A_MARK = 500


@dataclass(frozen=True)
class Pruned:
    """`removed`: clips removed; `why_not`: why nothing was removed, '' if something was or there was nothing."""

    visit: Path
    removed: int = 0
    why_not: str = ""


def prune_visits(
    visits: Path, older_than: timedelta, *, now: datetime, key: DeviceKey | None = None, clock: JournalClock | None = None
) -> Iterator[Pruned]:
    """The sound of every visit under `visits` (or of that visit itself) whose last event is older. Trouble where there is no
    such folder."""
    if not visits.is_dir():
        raise Trouble(f"There is no folder {visits}; give the folder of the visits.")
    folders = [visits] if (visits / JOURNAL).is_file() else sorted(p.parent for p in visits.glob(f"*/{JOURNAL}"))
    for folder in folders:
        try:
            yield _one(folder, older_than, now, key, clock)
        except Trouble as trouble:
            yield Pruned(folder, why_not=trouble.sentence)


def _one(folder: Path, older_than: timedelta, now: datetime, key: DeviceKey | None, clock: JournalClock | None) -> Pruned:
    clips: dict[str, str] = {}
    marked: set[str] = set()
    last, signed = "", False
    for entry in read(folder):
        event, last = entry.event, entry.wall
        signed = signed or bool(entry.signature)
        if isinstance(event, SoundRemoved):
            marked.update(name for name, _ in event.clips)
        elif getattr(event, "clip", ""):
            clips[event.clip] = event.clip_sha256
    if not last or now - datetime.fromisoformat(last) < older_than:
        return Pruned(folder)
    there = {name: digest for name, digest in clips.items() if (folder / name).is_file()}
    sound = folder / SOUND
    own = [] if sound.is_symlink() else sound.glob("[0-9]*.flac")
    strays = [path for path in own if f"{SOUND}/{path.name}" not in clips]
    if not there and not strays:
        return Pruned(folder)
    report = verify(folder)
    if not report.holds and not report.open_end:
        return Pruned(folder, why_not=f"its record is broken at event {report.at}; it is left as it is")
    if signed and key is None:
        return Pruned(folder, why_not="it is signed, and this device has no key to sign the mark with")
    days = older_than.total_seconds() / 86400
    with Journal.resume(folder, key=key, clock=clock) as journal:
        for some in _in_parts([(n, d) for n, d in sorted(there.items()) if n not in marked]):
            journal.append(SoundRemoved(tuple(some), f"older than {days:g} days"))
        journal.seal()
    for name in there:
        if name.startswith(f"{SOUND}/"):
            (folder / name).unlink()
    for path in strays:
        path.unlink(missing_ok=True)  # taking the visit up clears some away itself
    return Pruned(folder, len(there) + len(strays))


def _in_parts(clips: list[tuple[str, str]]) -> Iterable[list[tuple[str, str]]]:
    for at in range(0, len(clips), A_MARK):
        yield clips[at : at + A_MARK]
