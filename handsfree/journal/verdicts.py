"""What one look at a record found, and what that says in a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handsfree.journal.coverage import Cover, Join, Removal
from handsfree.journal.words import words_of


@dataclass(frozen=True)
class VerifyReport:
    """`problem`: the first bad place, in words, '' if there is none; `at` its event. `cut`: the byte from which on nothing
    is vouched for, None if the chain goes on. `remarks`: what else a reader should know. `open_end`: the only problem is
    that there is no seal; `in_doubt`: that a key of it was withdrawn, and nobody can tell whether it was signed before;
    `unsigned`: that all of it was to be under keys known here. `renamed`: the name of its folder, if it is not its own.
    `claimed`: it names a signer. `head`: hash of the last event; note it, or its `words`, elsewhere, and a cut end is
    found."""

    events: int
    head: str
    problem: str = ""
    at: int | None = None
    cut: int | None = None
    remarks: tuple[str, ...] = ()
    clips: int = 0
    removed: int = 0
    covers: tuple[Cover, ...] = ()
    joins: tuple[Join, ...] = ()
    removals: tuple[Removal, ...] = ()
    renamed: str = ""
    sealed: bool = False
    open_end: bool = False
    in_doubt: bool = False
    unsigned: bool = False
    claimed: bool = False

    @property
    def holds(self) -> bool:
        return not self.problem

    @property
    def words(self) -> str:
        return words_of(self.head)

    @property
    def signers(self) -> tuple[str, ...]:
        """Whose keys cover any of it, by the name known here or else the name in the record."""
        return tuple(dict.fromkeys(cover.signer for cover in self.covers if cover.key))

    @property
    def all_signed(self) -> bool:
        """Every event is under a key known here."""
        return self.holds and bool(self.covers) and all(cover.trusted for cover in self.covers)

    @property
    def verdict(self) -> str:
        """One line for the top of a page: what is intact, and by whose key."""
        if self.open_end:
            return f"The record has no seal after its {self.events} events: it was cut off, or the visit crashed or goes on."
        if self.in_doubt:
            return f"IT CANNOT BE TOLD WHETHER THIS RECORD IS GENUINE, from event {self.at} on: {self.problem}"
        if not self.holds:
            return f"THE RECORD IS BROKEN at event {self.at}: {self.problem}"
        if self.all_signed:
            return f"The record is intact: all {self.events} events under {' and '.join(self.signers)}."
        some = [c for c in self.covers if c.trusted]
        if some:
            whose = " and ".join(f"events {c.first} to {c.last} {c.by()}" for c in some)
            return f"The chain of {self.events} events is intact. Keys known here cover only {whose}."
        if any(c.key for c in self.covers):
            return f"The chain of {self.events} events is intact, under a key that is not known here."
        return f"The chain of {self.events} events is intact, under no key."

    def refusal(self, visit: Path) -> str:
        """For whom it does not hold: the place, and why."""
        if self.in_doubt:
            return f"Nobody can tell whether the record of {visit} is genuine from event {self.at} on. {self.problem}"
        if self.unsigned:
            return f"The record of {visit} is not what --signed asks for, from event {self.at} on. {self.problem}"
        if self.open_end:
            return f"The record of {visit} is whole up to its last event, {self.events - 1}, and not closed. {self.problem}"
        return f"The record of {visit} is broken at event {self.at}. {self.problem}"
