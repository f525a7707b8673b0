"""The interlock: the state of every source, whose locks are on, and the only functions that change them.

The rules of `rules` and `people` hold here whatever a procedure, an utterance or another module does. There are more:

1. A source is claimed once every person here has given the phrase with their own number, in this isolation (`hear_phrase`).
2. A restore is cleared once every lock on its sources is off, taken off by its owner, or without its owner by (e)(3).
3. While it is in doubt which source is on, every step is shut (`doubt`); the answer clears the source that is meant. A step
   is also shut while somebody here has no lock on a source that it needs; meanwhile nothing is proved (29 CFR 1910.147
   (f)(3)(ii)(D)).
4. A silence longer than the procedure allows clears what is isolated. A source whose energy may have come back must be
   relieved and proved again. Both times are counted on the visit's clock, not by a timer that may fail.
5. A resume, a break, a hand-over and a fault clear every source. Locks stay on the record until they come off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from handsfree.isolation import people as folk
from handsfree.isolation import rules
from handsfree.isolation.energy import Source, Sources
from handsfree.isolation.people import Lock, Locks, People, Person
from handsfree.isolation.rules import Hold, Power, SourceEvent
from handsfree.journal.events import Utterance


@dataclass(frozen=True)
class Interlock:
    """`speaker`: whose phrase is awaited, '' for the first person here. `given`: who gave it in this isolation or restore.
    `late`: who came while something was held and has not put their lock on since; an earlier lock does not count.
    `failures`: attempts at the present gate that did not open it. `absent`: steps of (e)(3) affirmed. `last_heard`: when
    somebody last spoke to the program; `since` and `proved_at`: when each source reached its state, and was proved; all in
    seconds on the visit's clock. `doubt`: some source is on, and it is not known which."""

    sources: Sources = field(default_factory=dict)
    holds: Mapping[str, Hold] = field(default_factory=dict)
    people: People = ()
    locks: Locks = frozenset()
    speaker: str = ""
    given: frozenset[str] = frozenset()
    late: frozenset[str] = frozenset()
    failures: int = 0
    absent: int = 0
    doubt: bool = False
    last_heard: float = 0.0
    since: Mapping[str, float] = field(default_factory=dict)
    proved_at: Mapping[str, float] = field(default_factory=dict)

    @property
    def power(self) -> Power:
        """State of the whole: the least safe of the sources begun, LIVE if none was."""
        states = {hold.power for hold in self.holds.values()} - {Power.LIVE}
        order = (Power.RESTORING, Power.ISOLATING, Power.ISOLATED)
        return next((power for power in order if power in states), Power.LIVE)

    @property
    def isolated(self) -> bool:
        """Everything that was begun is ISOLATED, and something was."""
        return self.power is Power.ISOLATED and not self.doubt

    @property
    def held(self) -> bool:
        return any(hold.held for hold in self.holds.values())

    @property
    def person(self) -> Person:
        """Whose phrase is awaited."""
        present = folk.here(self.people)
        return folk.named(present, self.speaker) or (present[0] if present else Person(self.speaker))

    @property
    def lock(self) -> tuple[str, ...]:
        """The number of the person who is to speak, () before it is stated."""
        return self.person.number

    def hold(self, name: str) -> Hold:
        return rules.at(self.holds, name)

    def locked_by(self, needs: Iterable[str]) -> int:
        """How many of the people here have a lock on every one of these that can be locked; if none can, how many are here.
        The lock of somebody who is gone does not count."""
        present = {one.name for one in folk.here(self.people)}
        each = [present & set(folk.owners(self.locks, name)) for name in needs
                if name in self.sources and self.sources[name].kind.lock]
        return len(present.intersection(*each))

    def missing(self, needs: Iterable[str]) -> tuple[str, ...]:
        """Of the sources that a step needs, those that still keep it shut."""
        if self.doubt:
            return tuple(needs)
        named = tuple(needs)
        return tuple(name for name in named if name in rules.missing(named, self.holds) or self.without_lock(name))

    def without_lock(self, name: str) -> tuple[Person, ...]:
        """Who is here and has no lock on it, though it can be locked: people who have joined and not yet given the
        phrase."""
        if name not in self.sources or not self.sources[name].kind.lock:
            return ()
        on = set(folk.owners(self.locks, name)) - self.late
        return tuple(one for one in folk.here(self.people) if one.name not in on)


def nobody(interlock: Interlock) -> Interlock:
    """Nobody is known to be here any more; the locks stay as they are."""
    return replace(interlock, people=folk.gone(interlock.people), speaker="", given=frozenset(), late=frozenset())


def _with(interlock: Interlock, now: float, holds: Mapping[str, Hold]) -> Interlock:
    """These holds, settled, with the time of each change."""
    after = rules.settled(interlock.sources, {**interlock.holds, **holds})
    changed = [name for name, hold in after.items() if hold.power is not interlock.hold(name).power]
    return replace(interlock, holds=after, since={**interlock.since, **dict.fromkeys(changed, now)})


def turn(interlock: Interlock, names: Iterable[str], what: SourceEvent, now: float) -> Interlock:
    """These sources after `what`, the others unchanged (rule 5 of `rules`). Everybody must then give the phrase again."""
    holds = {name: rules.turned(interlock.hold(name), what) for name in names}
    doubt = interlock.doubt and what is not SourceEvent.POWER_IS_ON
    after = replace(_with(interlock, now, holds), given=frozenset(), failures=0, absent=0, speaker="", doubt=doubt)
    return after if after.held else replace(after, late=frozenset())


def turn_all(interlock: Interlock, what: SourceEvent, now: float) -> Interlock:
    """Every source, as after a crash; nothing is in doubt then."""
    return replace(turn(interlock, tuple(interlock.holds), what, now), doubt=False)


def in_doubt(interlock: Interlock) -> Interlock:
    """Some source is on, and it is not known which (rule 3)."""
    return replace(interlock, doubt=True)


def awaits(interlock: Interlock, speaker: str) -> Interlock:
    """This person's phrase is awaited next."""
    return replace(interlock, speaker=speaker, failures=0)


def absent_anew(interlock: Interlock) -> Interlock:
    """The steps of (e)(3) start again from the first."""
    return replace(interlock, absent=0)


def saw(interlock: Interlock, names: Iterable[str], running: bool) -> Interlock:
    """It ran or was lit before its controls were switched off, or nothing did."""
    seen = {name: rules.seen_running(interlock.hold(name), running) for name in names}
    return replace(interlock, holds={**interlock.holds, **seen})


def not_opened(interlock: Interlock) -> Interlock:
    """One more attempt at the present gate that did not open it."""
    return replace(interlock, failures=interlock.failures + 1)


def waits_for(interlock: Interlock) -> Person | None:
    """The first person here who has not given the phrase yet."""
    return next((one for one in folk.here(interlock.people) if one.name not in interlock.given), None)


def hear_phrase(interlock: Interlock, names: tuple[str, ...], utterance: Utterance, now: float) -> Interlock:
    """At the gate of an isolation: if this is the speaker's phrase, their lock goes on, and after the last person's the
    sources are claimed (rule 1); otherwise one more failure."""
    person = interlock.person
    begun = all(interlock.hold(name).power is Power.ISOLATING for name in names)
    if not begun or not folk.opens(person, "isolated", utterance):
        return not_opened(interlock)
    locks = interlock.locks | {Lock(name, person.name) for name in names if interlock.sources[name].kind.lock}
    given = interlock.given | {person.name}
    heard = replace(interlock, locks=locks, given=given, failures=0, last_heard=_heard(interlock, utterance))
    following = waits_for(heard)
    if following is not None:
        return replace(heard, speaker=following.name)
    return _claimed(replace(heard, speaker=""), names, now)


def _heard(interlock: Interlock, utterance: Utterance) -> float:
    """When somebody last spoke: never earlier than before, whatever times an utterance carries."""
    return max(interlock.last_heard, utterance.ended)


def _claimed(interlock: Interlock, names: Iterable[str], now: float) -> Interlock:
    return _with(interlock, now, rules.claimed(interlock.sources, names, interlock.holds))


def relieved(interlock: Interlock, names: tuple[str, ...], now: float) -> Interlock:
    """A source without a lock was relieved: claimed, if nothing refills it. A source with a lock is never claimed this
    way."""
    if rules.by_phrase(interlock.sources, names):
        return interlock
    return _claimed(replace(interlock, failures=0, last_heard=now), names, now)


def prove(interlock: Interlock, name: str, method: str, now: float) -> Interlock:
    """After a proof that one source is dead (rule 2 of `rules`). While somebody here has no lock on it, it is LIVE instead
    (rule 3)."""
    hold = rules.proved(interlock.sources[name], method, interlock.hold(name))
    hold = rules.LIVE if interlock.without_lock(name) else hold
    proved = replace(_with(interlock, now, {name: hold}), last_heard=now)
    return replace(proved, proved_at={**proved.proved_at, name: now})


def join(interlock: Interlock, name: str, number: tuple[str, ...]) -> Interlock:
    """A person is here, under their own number; unchanged if the number is missing or another person's. Whoever comes while
    something is held puts their lock on it, even if their lock was on before."""
    people = folk.numbered(interlock.people, name, number, interlock.locks)
    before = {one.name for one in folk.here(interlock.people)}
    came = {one.name for one in folk.here(people)} - before if interlock.held else set()
    return replace(interlock, people=people, late=interlock.late | came)


def latecomer(interlock: Interlock) -> Person | None:
    """The first person here who has no lock on something that is held and can be locked."""
    held = (name for name, hold in interlock.holds.items() if hold.held)
    late = {one for name in held for one in interlock.without_lock(name)}
    return next((one for one in folk.here(interlock.people) if one in late), None)


def lock_on(interlock: Interlock, person: Person, utterance: Utterance) -> Interlock:
    """A further lock on everything that is held, by its owner's phrase; nobody's state changes (29 CFR 1910.147 (f)(3))."""
    if not folk.opens(person, "isolated", utterance):
        return not_opened(interlock)
    held = [name for name, hold in interlock.holds.items() if hold.held and interlock.sources[name].kind.lock]
    locks = interlock.locks | {Lock(name, person.name) for name in held}
    return replace(interlock, locks=locks, late=interlock.late - {person.name}, failures=0, speaker="",
                   last_heard=_heard(interlock, utterance))  # fmt: skip


def lock_off(interlock: Interlock, names: Iterable[str], utterance: Utterance) -> Interlock:
    """If this is the speaker's phrase, their lock comes off these sources; otherwise one more failure. The caller must see
    to it that nobody relies on the source any more: `cleared` says when a restore may go on."""
    person, off = interlock.person, frozenset(names)
    if not folk.opens(person, "clear", utterance):
        return not_opened(interlock)
    locks = frozenset(lock for lock in interlock.locks if lock.owner != person.name or lock.source not in off)
    return replace(
        interlock, locks=locks, given=interlock.given | {person.name}, failures=0, speaker="",
        last_heard=_heard(interlock, utterance),
    )  # fmt: skip


def leave(interlock: Interlock, names: Iterable[str], utterance: Utterance) -> Interlock:
    """The speaker leaves. Their lock comes off these and every other source, but only while somebody else's lock stays on
    each of them (29 CFR 1910.147 (f)(4))."""
    person = interlock.person
    mine = {*names, *(lock.source for lock in interlock.locks if lock.owner == person.name)}
    if any(not set(folk.owners(interlock.locks, name)) - {person.name} for name in mine):
        return not_opened(interlock)
    off = lock_off(interlock, mine, utterance)
    if off.failures:
        return off
    people = tuple(replace(one, here=one.here and one.name != person.name) for one in off.people)
    return replace(off, people=people)


def owner_awaited(interlock: Interlock, names: Iterable[str]) -> str:
    """Whose lock must still come off these sources: first people who are here, then people who are gone; '' if no lock is
    on."""
    on = {lock.owner for lock in interlock.locks if lock.source in frozenset(names)}
    present = [one.name for one in folk.here(interlock.people) if one.name in on]
    return next(iter([*present, *sorted(on)]), "")


def absent_affirmed(interlock: Interlock, owner: str) -> Interlock:
    """One more step of (e)(3) was affirmed; after the last the locks of this owner are off, and the owner is not here."""
    affirmed = interlock.absent + 1
    locks = folk.without_owner(interlock.locks, owner, affirmed)
    if locks == interlock.locks:
        return replace(interlock, absent=affirmed)
    people = tuple(replace(one, here=one.here and one.name != owner) for one in interlock.people)
    return replace(interlock, locks=locks, people=people, absent=0)


def overstayed(interlock: Interlock, now: float, break_seconds: float) -> bool:
    """Something is held, and everybody has been silent for longer than the procedure allows (rule 4)."""
    return interlock.held and now - interlock.last_heard > break_seconds


def came_back(interlock: Interlock, now: float) -> tuple[str, ...]:
    """Sources that may have come back since they were proved (29 CFR 1910.147 (d)(5)(ii))."""

    def over(name: str, source: Source) -> bool:
        limit = source.kind.returns
        proved = interlock.hold(name).power is Power.ISOLATED
        return limit is not None and proved and now - interlock.proved_at.get(name, now) > limit * 60

    return tuple(name for name, source in interlock.sources.items() if over(name, source))


def next_return(interlock: Interlock) -> float | None:
    """When the first proved source may have come back, on the visit's clock; None if none can."""
    returns = [
        interlock.proved_at[name] + source.kind.returns * 60
        for name, source in interlock.sources.items()
        if source.kind.returns is not None and name in interlock.proved_at and interlock.hold(name).power is Power.ISOLATED
    ]
    return min(returns, default=None)


def spoke(interlock: Interlock, now: float) -> Interlock:
    return replace(interlock, last_heard=now)
