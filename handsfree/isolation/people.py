"""Who is here, and whose lock is on what.

Rules of this file:

- One lock, one person (29 CFR 1910.147 (c)(5)(ii)): each states their own number, and no two are the same.
- A lock goes on, and comes off, by the phrase with its owner's number; only `opens` compares them.
- A lock whose owner is gone comes off only by the procedure of (e)(3), in `without_owner`, after each of its steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text

FEWEST, MOST = 2, 4
#: 29 CFR 1910.147 (e)(3) and its (i) to (iii), by key of the language's sentences: not at the site; every reasonable effort
#: to reach them; under the direction of the employer; they know before they come back to work.
WITHOUT_OWNER: tuple[str, ...] = ("absent-not-here", "absent-tried", "absent-directed", "absent-will-know")


@dataclass(frozen=True)
class Person:
    """`number`: on their own lock, as digit words, () before it is stated. `here`: at the cabinet in this part of the
    visit."""

    name: str
    number: tuple[str, ...] = ()
    here: bool = True

    @property
    def may_lock(self) -> bool:
        return self.here and FEWEST <= len(self.number) <= MOST


@dataclass(frozen=True)
class Lock:
    source: str
    owner: str


People = tuple[Person, ...]
Locks = frozenset[Lock]


def named(people: People, name: str) -> Person | None:
    return next((person for person in people if person.name == name), None)


def here(people: People) -> People:
    """Who works here now, in the order they came."""
    return tuple(person for person in people if person.here)


def taken(people: People, name: str, number: tuple[str, ...]) -> bool:
    """The number is another's."""
    return any(person.number == number and person.name != name for person in people)


def another(people: People, locks: Locks, name: str, number: tuple[str, ...]) -> bool:
    """This number is not the one of the lock that is on under this name: the speaker may be somebody else."""
    known = named(people, name)
    return known is not None and known.number != number and any(lock.owner == name for lock in locks)


def numbered(people: People, name: str, number: tuple[str, ...], locks: Locks = frozenset()) -> People:
    """With this person here under this number; unchanged if it is not a number, is another person's, or differs from the
    number of this person's lock that is on."""
    if not FEWEST <= len(number) <= MOST or taken(people, name, number) or another(people, locks, name, number):
        return people
    person = Person(name, number)
    if named(people, name) is None:
        return (*people, person)
    return tuple(person if one.name == name else one for one in people)


def gone(people: People) -> People:
    """Nobody is known to be here, as after a break of the visit. Everybody must state their number again; the old one is
    kept, so that a lock that is still on stays its owner's."""
    return tuple(replace(person, here=False) for person in people)


def opens(person: Person, word: str, utterance: Utterance) -> bool:
    """This utterance is this person's gate phrase: accepted, as a gate's, with the word and their own number. Another
    person's voice opens nothing; no flag, setting or command replaces it."""
    return (
        person.may_lock
        and utterance.verdict == Verdict.ACCEPTED
        and utterance.sense == Sense.GATE
        and utterance.text == gate_text(word, person.number)
        and utterance.voice != "other"
    )


def owners(locks: Locks, source: str) -> tuple[str, ...]:
    return tuple(sorted(lock.owner for lock in locks if lock.source == source))


def left_on(locks: Locks) -> tuple[tuple[str, str], ...]:
    """(owner, source) of every lock that is on, in order."""
    return tuple(sorted((lock.owner, lock.source) for lock in locks))


def without_owner(locks: Locks, owner: str, affirmed: int) -> Locks:
    """The locks after every step of (e)(3) was affirmed; before that, unchanged."""
    if affirmed < len(WITHOUT_OWNER):
        return locks
    return frozenset(lock for lock in locks if lock.owner != owner)
