"""What the keys known here may do, and what one that was withdrawn still says.

Rules of this file:

- A key that was withdrawn counts for what it signed before. The times in a record say nothing about that: whoever has the
  key can write any time. Only a note on the record's head says it, if it was kept outside the device before the withdrawal.
- The note covers the record up to the event whose hash it has. After that nobody can tell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from handsfree.journal.coverage import Cover, day_and_time


@dataclass(frozen=True)
class Withdrawn:
    """`device`: the name that the key had here. `wall`: RFC 3339; from then on it no longer counts."""

    device: str
    wall: str


@dataclass(frozen=True)
class Rights:
    """`removers`: public keys whose holders may remove the sound of others' visits. `withdrawn`: by public key."""

    removers: frozenset[str] = frozenset()
    withdrawn: Mapping[str, Withdrawn] = field(default_factory=dict)


NO_RIGHTS = Rights()


@dataclass(frozen=True)
class KeptHead:
    """A note on a record, kept outside the device: at `wall` (RFC 3339) it had so many events, the last with this hash."""

    events: int
    head: str
    wall: str


def before(key: str, rights: Rights, kept: Sequence[KeptHead]) -> KeptHead | None:
    """The last note from before this key was withdrawn; None if it was not withdrawn, or there is no such note."""
    gone = rights.withdrawn.get(key)
    if gone is None:
        return None
    early = [note for note in kept if datetime.fromisoformat(note.wall) < datetime.fromisoformat(gone.wall)]
    return max(early, key=lambda note: note.events, default=None)


def held_against(
    covers: Sequence[Cover], rights: Rights, kept: Sequence[KeptHead], seen: Mapping[str, int]
) -> tuple[list[Cover], tuple[int, str]]:
    """The covers with what the notes show, and (event, why) from which on nobody can tell, why '' for nowhere. `seen`: hash
    -> number of those events that a note names."""
    found, doubt = [], (0, "")
    for cover in covers:
        note = before(cover.key, rights, kept)
        last = seen.get(note.head, -1) if note is not None else -1
        if note is not None and cover.last <= last:
            cover = replace(cover, kept=note.wall)
        elif cover.withdrawn and not doubt[1]:
            doubt = max(cover.first, last + 1), _doubt(cover, last, [one for one in kept if one.head in seen])
        found.append(cover)
    return found, doubt


def _doubt(cover: Cover, last: int, kept: Sequence[KeptHead]) -> str:
    said = f"it was signed by {cover.device} with a key that was withdrawn on {day_and_time(cover.withdrawn)}"
    if cover.first <= last:
        shown = f"what was kept outside the device before that goes to event {last}"
    elif kept:
        shown = f"its head was first kept outside the device on {day_and_time(kept[0].wall)}, after that"
    else:
        shown = "nothing that was kept outside the device before that shows it"
    return f"{said}; {shown}. So nobody can tell whether it was signed before"
