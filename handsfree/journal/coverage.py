"""What a key covers, and what it does not: how far a record can be trusted, event by event.

Rules of this file:

- A signature says two things: that its key's holder wrote this event, and that everything before it stood so when it was
  written. The first is *covered*; the second is only *since*: a key that came months later vouches for no more.
- Event 0 opens the visit before the mark that names the device; it counts as covered if that mark is event 1 and has the
  same time, because both are one append.
- If a visit was resumed and there is no seal before, a crash and a cut end look alike: this is said, not guessed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Cover:
    """Events `first` to `last` under one key. `key`: '' for none. `device`: the name of that key here, '' if it is not
    known here; `called`: what the record calls it. `since`: RFC 3339, when the first was written. `withdrawn`: when its key
    was, '' for never; `kept`: when all of it was noted outside the device before that, '' for never."""

    first: int
    last: int
    since: str
    key: str = ""
    device: str = ""
    called: str = ""
    withdrawn: str = ""
    kept: str = ""

    @property
    def trusted(self) -> bool:
        return self.device != "" and (self.withdrawn == "" or self.kept != "")

    @property
    def signer(self) -> str:
        """By the name known here or else the name in the record."""
        said = f"{self.device or self.called} ({self.key[:8]}…)"
        return f"{said}, signed by a key withdrawn on {day_and_time(self.withdrawn)}, before that" if self.kept else said

    def by(self) -> str:
        if not self.key:
            return "under no key"
        if self.device:
            gone = f", withdrawn on {day_and_time(self.withdrawn)}" if self.withdrawn else ""
            return f"by {self.device} (key {self.key[:8]}…{gone})"
        return f"under a key that is not known here ({self.key[:8]}…), which calls itself {self.called}"


@dataclass(frozen=True)
class Join:
    """Where the record was reopened for writing: before event `n`. `sealed`: it had been ended properly."""

    n: int
    wall: str
    sealed: bool


@dataclass(frozen=True)
class Removal:
    """A mark that sound was removed. `right`: signed by a key known here, of the device that recorded it or of somebody who
    may remove."""

    n: int
    wall: str
    clips: int
    by: str
    right: bool


def all_under(covers: Iterable[Cover], key: str, events: Collection[int]) -> bool:
    """Were these events recorded under this key, or where none is named, everything? Whoever only resumed a visit has no
    right to the sound from before."""
    theirs = [c for c in covers if not events or any(c.first <= n <= c.last for n in events)]
    return bool(theirs) and all(cover.key == key for cover in theirs)


def told(covers: tuple[Cover, ...], keys_here: bool) -> list[str]:
    """A sentence for each stretch of events."""
    found = []
    for at, cover in enumerate(covers):
        where = f"Events {cover.first} to {cover.last}: {cover.by()}"
        later = next((c for c in covers[at + 1 :] if c.key), None)
        if cover.kept:
            found.append(f"{where}, unchanged since their head was kept outside on {day_and_time(cover.kept)}, before that.")
        elif cover.withdrawn:
            found.append(f"{where}. Nobody can tell whether all of it was signed before that.")
        elif cover.key:
            found.append(f"{where}, unchanged since they were written, from {day_and_time(cover.since)} on.")
        elif later is not None:
            name = later.device or later.called
            found.append(f"{where} when written; that they stood so on {day_and_time(later.since)} is the word of {name}.")
        elif at:
            found.append(f"{where}: nobody has signed what was written there after event {cover.first - 1}.")
        else:
            found.append(f"{where}: {_NOBODY}{_STRIPPED if keys_here else ''}.")
    return found


_NOBODY = "the chain shows accidents and careless edits, not a completely rewritten record"
_STRIPPED = ". It was never signed, or its signatures were removed: the two look alike"


def remarks(
    covers: tuple[Cover, ...], joins: Iterable[Join], removals: Iterable[Removal], tells: Sequence[str], *,
    keys_here: bool, jumps: int,
) -> list[str]:
    """What each key covers first, then what else a reader should know. `tells`: what was noticed on the way; `jumps`: how
    often the wall clock jumped forward."""
    found = [*told(covers, keys_here), *tells]
    if not keys_here and any(cover.key for cover in covers):
        found.append("No device's key is known here, so nothing says whose signature it is.")
    for join in joins:
        if not join.sealed:
            found.append(f"Resumed at event {join.n}; there is no seal before: a crash, or an end that was cut off.")
    for gone in removals:
        whose = f"by {gone.by}" if gone.by else "under no key"
        right = "" if gone.right else ", with no right that is known here"
        found.append(f"At event {gone.n} the sound of {gone.clips} events was removed, {whose}{right}.")
    if jumps:
        found.append(f"The wall clock jumped forward {jumps} times, noted each time. Order is by the count.")
    return found


def day_and_time(wall: str) -> str:
    """RFC 3339 as a person reads it, in the offset it was written in: '2026-02-11 09:30'."""
    return wall[:16].replace("T", " ")
