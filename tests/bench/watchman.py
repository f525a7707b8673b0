"""The watchman of `tests.bench.walk`: small visits, and rules of what may be done in them, apart from the machine.

It shares no code with the machine's rules. It is told what happened (utterances, silences, crashes, resumes)
and reads what the record says of it; which step needs which source stands in `BOOKS`, written by hand beside each text. Its
rules, from 29 CFR 1910.147 (d), (e), (f) and 1910.333 (b):

1. The words of a hazard step are spoken, and it is entered, only while every source that feeds it is dead: since that source
   was last cleared, everybody here gave the phrase with their own number for it, and then it was proved. The words of an
   isolation that relieves are spoken only while somebody gave the phrase for what would fill it again, or it is dead.
2. The record says ISOLATED only then, too.
3. Cleared is: a resume, a lost device, a stop, a fault, a silence longer than the break, a hand-over; for one source: its
   isolation begun anew, its restore, found live, 'power is on' where it is the one meant, or LIVE in the record. While it
   is not known which one is meant, all are.
4. 'Put the power on' is said only when every lock on that source was taken off by its owner's number, or by the steps for
   an owner who is gone: four affirmed, (e)(3) and its (i) to (iii).
5. A lock number is said only where it is read back.
6. After 'power is on' something is said.
7. Nothing breaks, and what a replay of the record comes to is the state the visit is in.
8. What may have come back since it was proved (a charge) is not dead any more when its time is over, however often somebody
   speaks. A voice that is not the one that stated the number puts no lock on and takes none off.
9. What takes two people is spoken, and entered, only while two are here who each stated and affirmed a number of their own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from handsfree.journal import events as ev
from handsfree.language import base
from handsfree.language.meaning import Sense, Verdict
from handsfree.language.tokens import capital

ENGLISH = base.load("en")
BREAK = 30 * 60.0
DAY = 13 * 3600.0
#: Of 29 CFR 1910.147 (e)(3): not at the site, tried to reach, the employer directs it, will know. As they are asked.
ASKED_OF_GONE = ("absent-not-here", "absent-tried", "absent-directed", "absent-will-know")
STEPS = len(ASKED_OF_GONE)
ALL = "all of them"
NOTHING_SAID: tuple[str, tuple[str, ...]] = ("", ())
A, B, NOBODYS = ("four", "two"), ("five", "one"), ("nine", "nine")


@dataclass(frozen=True)
class Small:
    """A small visit. By step: `needs`, the sources of a hazard step; `isolates`, `proves`, `restores`. `points`: readings a
    measurement takes. `behind`: source -> what fills it again. `returns`: source -> seconds after
    which it may have come back. `people`: numbers of who may be here. `limit`: of a
    measurement. `pairs`: steps that take two people.
    `called`: somebody may be hurt, or want to go on from a stand-by, in words nobody surely understood; each such question
    over another makes nearly three times as many states.
    `besides`: sentences in people's own words that no engine takes for an answer.
    `good`: what is said on a way straight through: a command, a phrase, a figure, 'number A', 'isolated A', 'clear A'."""

    text: str
    needs: Mapping[str, tuple[str, ...]]
    isolates: Mapping[str, tuple[str, ...]]
    proves: Mapping[str, tuple[str, str]]
    restores: Mapping[str, tuple[str, ...]]
    power: Mapping[str, tuple[str, ...]]
    points: int = 1
    limit: float = 30.0
    behind: Mapping[str, str] = field(default_factory=dict)
    unlocked: frozenset[str] = frozenset()
    returns: Mapping[str, float] = field(default_factory=dict)
    people: tuple[tuple[str, ...], ...] = (A,)
    phrases: tuple[str, ...] = ()
    pairs: tuple[str, ...] = ()
    called: bool = True
    besides: tuple[str, ...] = ()
    good: tuple[str, ...] = ()

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for names in self.isolates.values() for name in names))


@dataclass(frozen=True)
class Watch:
    """What can be known from what happened and from the record. `gave`: (source, number) since the source was last cleared.
    `locks`: (source, number) of locks that are on, whatever was cleared. `seen`: sources seen running. `doubt`: sources one
    of which is on. `tried`, `affirmed`, `readings`, `after`: of the proof under way. `runs_heard`: 'it runs' is
    listened for; `which`: what may be answered where it is asked which source is on; `gate_heard`: a gate phrase;
    `number_heard`: whether a number that was read back is right; `offered`: that number, `offered_by` whose it is.
    `names`: (name, number) of who is here: who states a number anew, before their lock is on, is no second person.
    `gone`: affirms for an absent owner, -1 where nobody
    asked for them; `gone_owner`: whose.
    `pending`: word and number of the gate phrase just said. `owners`: (name in the record, number) of whose locks are on."""

    people: frozenset[tuple[str, ...]] = frozenset()
    offered: tuple[str, ...] = ()
    offered_by: str = ""
    names: frozenset[tuple[str, tuple[str, ...]]] = frozenset()
    step: str = ""
    gave: frozenset[tuple[str, tuple[str, ...]]] = frozenset()
    dead: frozenset[str] = frozenset()
    begun: frozenset[str] = frozenset()
    locks: frozenset[tuple[str, tuple[str, ...]]] = frozenset()
    doubt: frozenset[str] = frozenset()
    tried: bool = False
    affirmed: bool = False
    readings: int = 0
    after: bool = False
    relieved: frozenset[str] = frozenset()
    asked: str = ""
    gone: int = -1
    gone_owner: str = ""
    seen: frozenset[str] = frozenset()
    runs_heard: bool = False
    which: frozenset[str] = frozenset()
    gate_heard: bool = False
    number_heard: bool = False
    pending: tuple[str, tuple[str, ...]] = NOTHING_SAID
    owners: frozenset[tuple[str, tuple[str, ...]]] = frozenset()


def clear(small: Small, watch: Watch, names: Any) -> Watch:
    """These sources are not dead any more, nor what is filled from them."""
    off = set(names)
    off |= {name for name, filler in small.behind.items() if filler in off}
    return replace(
        watch, gave=frozenset(one for one in watch.gave if one[0] not in off), dead=watch.dead - off,
        relieved=watch.relieved - off,
    )  # fmt: skip


def clear_all(small: Small, watch: Watch) -> Watch:
    return replace(clear(small, watch, small.sources), doubt=frozenset(), begun=frozenset())


def power_on(small: Small, watch: Watch) -> Watch:
    if len(watch.doubt) or len(watch.begun - small.unlocked) < 2:
        return clear(small, replace(watch, doubt=frozenset()), small.sources)
    return replace(watch, doubt=watch.begun)


def shocked(small: Small, watch: Watch) -> Watch:
    """Something that counted as dead was not: nobody relies on any of it any more."""
    return clear(small, replace(watch, doubt=frozenset()), small.sources)


def filled_by_none(small: Small, watch: Watch, name: str) -> bool:
    """What would fill it again is held by everybody's phrase, or dead."""
    filler = small.behind.get(name)
    gave = bool(watch.people) and all((filler, one) in watch.gave for one in watch.people)
    return filler is None or filler in watch.dead or gave


def held(watch: Watch) -> bool:
    """Somebody relies on something: everybody here gave the phrase for it, or it was relieved or proved."""
    names = {name for name, _ in watch.gave}
    every = any(all((name, one) in watch.gave for one in watch.people) for name in names)
    return bool(watch.dead or watch.relieved or every)


def hears(small: Small, watch: Watch, happening: ev.Stamped, silence: float, over: Collection[str] = ()) -> Watch:
    """The watchman after something happened, before it is known what the program makes of it. `over`: sources that were
    proved longer ago than they may be trusted."""
    event = happening.event
    watch = quiet(watch)
    late = silence > BREAK and held(watch)
    back = frozenset(small.sources) if late else watch.dead.intersection(over)
    if back and not isinstance(event, ev.Resumed):
        watch = replace(clear(small, watch, back), asked="")
        watch = replace(watch, doubt=frozenset(), begun=frozenset()) if late else watch
    match event:
        case ev.Resumed():
            watch = replace(clear_all(small, watch), asked="", offered=(), offered_by="")
            if event.why == "stopped" or silence > 12 * 3600:
                watch = replace(watch, people=frozenset(), names=frozenset())
        case ev.SoundLost() | ev.StopAsked() | ev.FaultMet():
            watch = replace(clear_all(small, watch), asked="")
        case ev.NoteKept():
            noting = watch.asked == "note"  # a note that nobody asked for leaves what is asked as it is
            watch = replace(watch, asked="") if noting else watch
            watch = power_on(small, watch) if "power is on" in f"{event.text} {event.alarm}" else watch
            watch = shocked(small, watch) if "i got a shock" in f"{event.text} {event.alarm}" else watch
        case ev.Utterance() if event.verdict == Verdict.ACCEPTED and back:
            watch = replace(watch, asked="")
        case ev.Utterance() if event.verdict == Verdict.ACCEPTED:
            watch = said(small, watch, event)
    return watch


def said(small: Small, watch: Watch, event: ev.Utterance) -> Watch:
    """An accepted utterance."""
    asked, watch = watch.asked, replace(watch, asked="" if watch.asked == "note" else watch.asked)
    match event.sense, event.text:
        case Sense.COMMAND, "power is on" if asked != "power":  # else it is what was asked for
            return power_on(small, watch)
        case Sense.COMMAND, "i got a shock":
            return shocked(small, watch)
        case Sense.COMMAND, "affirm" if watch.number_heard and watch.offered:
            return stated(watch)
        case Sense.COMMAND, "affirm":
            ran = set() if watch.gate_heard else set(small.isolates.get(watch.step, ()))
            free = {name for name in ran if all(one[0] != name for one in watch.gave)}
            proving = watch.step in small.proves
            return replace(
                watch, after=proving and (watch.readings > 0 or watch.tried), affirmed=proving, seen=watch.seen | free,
                gone=watch.gone if watch.gone < 0 else min(watch.gone + 1, STEPS),
            )  # fmt: skip
        case Sense.COMMAND, "next step" | "go ahead" | "done" if watch.step in small.isolates:
            free = frozenset(small.isolates[watch.step]) & small.unlocked
            return replace(watch, relieved=watch.relieved | {name for name in free if filled_by_none(small, watch, name)})
        case Sense.PHRASE, "nothing runs":
            return replace(watch, tried=watch.step in small.proves, after=False)
        case Sense.PHRASE, name if watch.doubt and name in watch.which.intersection((*watch.doubt, ALL)):
            return replace(clear(small, watch, small.sources if name == ALL else (name,)), doubt=frozenset())
        case Sense.PHRASE, "it runs" if watch.runs_heard and small.proves.get(watch.step, ("", ""))[1] == "switch":
            return replace(clear(small, watch, (small.proves[watch.step][0],)), tried=False)
        case Sense.GATE, text:
            word, _, number = text.partition(", lock ")
            if event.voice == "other":
                return watch
            return replace(watch, pending=(word, tuple(number.split())))
    return watch


def stated(watch: Watch) -> Watch:
    """Who stated a number is here. The number that stood under this name is nobody's any more, unless it is on a lock."""
    locked = {number for _, number in watch.locks}
    former = {number for name, number in watch.names if name == watch.offered_by} - {watch.offered} - locked
    names = {one for one in watch.names if one[1] not in former} | {(watch.offered_by, watch.offered)}
    return replace(
        watch, people=watch.people - former | {watch.offered}, offered=(), offered_by="", names=frozenset(names),
        gave=frozenset(one for one in watch.gave if one[1] not in former),
    )  # fmt: skip


def _without(watch: Watch, numbers: Collection[tuple[str, ...]]) -> frozenset[tuple[str, tuple[str, ...]]]:
    return frozenset(one for one in watch.names if one[1] not in numbers)


def quiet(watch: Watch) -> Watch:
    """Once all that came of a happening was seen, the phrase that was said is over. So are the steps of (e)(3) that took a
    lock off: the next owner's are asked anew."""
    watch = watch if watch.pending == NOTHING_SAID else replace(watch, pending=NOTHING_SAID)
    return replace(watch, gone=-1, gone_owner="") if watch.gone > STEPS else watch


def broken(small: Small, watch: Watch, effect: Any) -> tuple[Watch, str]:
    """The watchman after one effect; and the rule it breaks, '' for none."""
    match effect:
        case ev.FaultCaught():
            return watch, f"7: the program failed: {effect.what}"
        case ev.ListenFor():
            return replace(watch, runs_heard="it runs" in effect.phrases, gate_heard=bool(effect.gate),
                           which=frozenset(effect.phrases if ALL in effect.phrases else ()),
                           number_heard=effect.digits is not None and "affirm" in (effect.commands or ())), ""  # fmt: skip
        case ev.KeepNote():
            return replace(watch, asked="note"), ""
        case ev.Closed():
            return clear_all(small, watch), ""
        case ev.ReadingTaken() if watch.step in small.proves:
            if effect.value is None or abs(effect.value) >= small.limit:
                return replace(clear(small, watch, (small.proves[watch.step][0],)), readings=0, after=False), ""
            return replace(watch, readings=min(watch.readings + effect.affirmed, small.points), after=False), ""
        case ev.Gate() if effect.how == "phrase" and effect.now == "ISOLATING":
            return phrase(small, watch, effect)
        case ev.LockChanged():
            return lock(small, watch, effect)
        case ev.Gate() if effect.now == "LIVE":  # cleared for sure: 'power is on' means it no more
            live = {effect.source or small.sources[0]}
            return replace(clear(small, watch, live), begun=watch.begun - live, doubt=watch.doubt - live), ""
        case ev.Gate() if effect.now == "RESTORING":  # its power may just have been put on: it may be the one that is meant
            return replace(watch, begun=watch.begun | {effect.source or small.sources[0]}), ""
        case ev.Gate() if effect.now == "ISOLATED" and effect.was != "ISOLATED":
            return proved(small, watch, effect)
        case ev.StepEntered():
            return entered(small, watch, effect)
        case ev.Say():
            return spoken(small, watch, effect.text)
    return watch, ""


def phrase(small: Small, watch: Watch, effect: ev.Gate) -> tuple[Watch, str]:
    """The record says that a phrase was taken: it must have been said, by somebody who is here."""
    word, number = watch.pending
    if word != "isolated" or number not in watch.people:
        return watch, f"2: a phrase is taken that nobody here said: {word} {' '.join(number)}"
    names = (effect.source,) if effect.source else small.sources
    return replace(watch, gave=watch.gave | {(name, number) for name in names}), ""


def lock(small: Small, watch: Watch, effect: ev.LockChanged) -> tuple[Watch, str]:
    """A lock goes on by the phrase of somebody who is here; it comes off by its owner's number, or by (e)(3)."""
    word, number = watch.pending
    if effect.on:
        if word != "isolated" or number not in watch.people:
            return watch, "4: a lock is on record that nobody here put on"
        mine = (effect.source, number)
        return replace(watch, gave=watch.gave | {mine}, locks=watch.locks | {mine},
                       owners=watch.owners | {(effect.owner, number)}), ""  # fmt: skip
    if effect.how != "phrase":
        theirs = {one for name, one in watch.owners if name == effect.owner}
        asked = watch.gone >= STEPS and watch.gone_owner == effect.owner
        why = "" if asked else "4: a lock comes off without its owner before every step of (e)(3)"
        gave = frozenset(one for one in watch.gave if one[1] not in theirs)  # who is not on the site is not here
        return replace(watch, locks=frozenset(one for one in watch.locks if one[1] not in theirs), gave=gave,
                       people=watch.people - theirs, names=_without(watch, theirs), gone=STEPS + 1), why  # fmt: skip
    mine = (effect.source, number)
    if word != "clear" or mine not in watch.locks:
        return watch, f"4: a lock on {effect.source} comes off by a number that is not on it"
    return replace(watch, locks=watch.locks - {mine}), ""


def proved(small: Small, watch: Watch, effect: ev.Gate) -> tuple[Watch, str]:
    name = getattr(effect, "source", "") or small.proves.get(watch.step, ("?", ""))[0]
    source, how = small.proves.get(watch.step, ("?", ""))
    if source != name:
        return watch, f"2: {name} is ISOLATED at {watch.step}, which does not prove it"
    measured = watch.affirmed and watch.readings >= small.points and watch.after
    tried = how == "switch" and watch.tried and watch.after and source in watch.seen
    if not (measured or tried):
        return watch, f"2: {name} is ISOLATED without its proof"
    if name in small.unlocked:
        if name not in watch.relieved:
            return watch, f"2: {name} is ISOLATED and was not relieved"
    elif not watch.people or any((name, one) not in watch.gave for one in watch.people):
        return watch, f"2: {name} is ISOLATED without everybody's phrase"
    return replace(watch, dead=watch.dead | {name}, doubt=watch.doubt - {name}, seen=watch.seen - {name}), ""


def entered(small: Small, watch: Watch, effect: ev.StepEntered) -> tuple[Watch, str]:
    step = effect.step
    watch = replace(watch, step=step, asked="", tried=False, affirmed=False, readings=0, after=False, gone=-1,
                    gone_owner="")  # fmt: skip
    if step in small.isolates:
        watch = clear(small, watch, small.isolates[step])
        names = set(small.isolates[step])
        watch = replace(watch, begun=watch.begun | names, seen=watch.seen - names)
    elif step in small.restores:
        watch = clear(small, watch, small.restores[step])
    return watch, unready(small, watch, step)


def unready(small: Small, watch: Watch, step: str) -> str:
    if step in small.pairs and len(watch.people) < 2:
        return f"9: {step}, which takes two, with {len(watch.people)} here"
    for name in small.needs.get(step, ()):
        if name not in watch.dead:
            return f"1: {step}, which {name} feeds, while it is not dead"
        if name in watch.doubt:
            return f"1: {step}, which {name} feeds, while that may be on"
        if name not in small.unlocked and any((name, one) not in watch.gave for one in watch.people):
            return f"1: {step}, while somebody here has no lock on {name}"
        if name not in small.unlocked and not watch.people:
            return f"1: {step}, while nobody is here whose lock is on {name}"
    return ""


def spoken(small: Small, watch: Watch, text: str) -> tuple[Watch, str]:
    for number in small.people:
        if _reads_back(text, number):
            return replace(watch, offered=number, offered_by=_whose(text, number)), ""
    if ENGLISH.prompt("lock-joined") in text and watch.pending[0] == "isolated":
        names = ({name for name, _ in watch.gave} | watch.dead) - small.unlocked
        return replace(watch, gave=watch.gave | {(name, watch.pending[1]) for name in names}), ""
    word, number = watch.pending
    if word == "clear" and any(capital(left) in text for left in LEFT):  # who goes is who said so, whatever name is told
        gave = frozenset(one for one in watch.gave if one[1] != number)
        return replace(watch, people=watch.people - {number}, names=_without(watch, {number}), gave=gave), ""
    for name, _ in watch.owners:
        for nth, key in enumerate(ASKED_OF_GONE):  # an affirm to something else, as to a stop, was none of these
            if ENGLISH.prompt(key, owner=name) in text and (nth == 0 or (watch.gone_owner == name and nth <= watch.gone)):
                return replace(watch, gone=nth, gone_owner=name), ""
    for step in (*small.needs, *small.pairs):
        if WORDS[small.text][step] in text:
            return watch, unready(small, watch, step)
    for step, sources in small.isolates.items():  # nobody relieves what may be filled again meanwhile
        told = step in WORDS[small.text] and WORDS[small.text][step] in text
        sure = watch.dead | {name for name, _ in watch.gave}
        if told and any(name in small.behind and small.behind[name] not in sure for name in sources):
            return watch, f"1: {step} is told while what fills it may be on"
    for words, names in small.power.items():
        if words in text:
            on = [f"{name} by {' '.join(number)}" for name, number in watch.locks if name in names]
            if on:
                return watch, f"4: '{words}' is said while locks are on: {', '.join(sorted(on))}"
            return replace(watch, asked="power"), ""
    for number in small.people:
        if " ".join(number) in text.lower() and not _reads_back(text, number):
            return watch, f"5: a lock number is said: {text}"
    return watch, ""


def _reads_back(text: str, number: tuple[str, ...]) -> bool:
    return bool(_whose(text, number))


def _whose(text: str, number: tuple[str, ...]) -> str:
    """Whose number is read back here, '' if it is not; nobody is named where it is the first one's."""
    digits = " ".join(number)
    said = text.casefold()
    for name in OWNERS:
        if said.startswith(ENGLISH.prompt("lock-readback-of", digits=digits, owner=ENGLISH.prompt(name), cue="").casefold()):
            return name
    return OWNERS[0] if said.startswith(ENGLISH.prompt("lock-readback", digits=digits, cue="").casefold()) else ""


OWNERS = ("first-person", "second-person", "third-person")
LEFT = tuple(ENGLISH.prompt(key, owner=ENGLISH.prompt(name)) for key in ("left", "left-unlocked") for name in OWNERS)
WORDS: dict[str, dict[str, str]] = {}  # text of a book -> words of each hazard step
