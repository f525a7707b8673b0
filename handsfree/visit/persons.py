"""The questions about who is here: the number on a lock, a second person's lock, one who leaves, an owner who is gone. One
row each, in `ROWS`. What each does to the locks is the core's (`handsfree.isolation`)."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.dialogue.meant import TOO_EARLY
from handsfree.dialogue.question import Consequence, Question
from handsfree.isolation.interlock import (
    absent_affirmed,
    awaits,
    join,
    leave,
    lock_on,
    not_opened,
    owner_awaited,
)
from handsfree.isolation.people import WITHOUT_OWNER, another, here, named, opens, taken
from handsfree.journal.events import Utterance
from handsfree.journal.private import OWN_NUMBER
from handsfree.language.meaning import GateAsked, Listening, Sense
from handsfree.visit.comers import ask_who, free_names, lock_first, may_come
from handsfree.visit.flow import WITHOUT, Flow
from handsfree.visit.gates import isolate_step, next_owner, restored
from handsfree.visit.movement import take_up
from handsfree.visit.plain import BEFORE, QuestionRows, asks, called, commands, says
from handsfree.visit.refusals import asks_repeat, asks_something, may_restate, phrase_of, refused, takes_back, voice_doubted
from handsfree.visit.speaking import choices
from handsfree.visit.state import Awaiting, Overlay
from handsfree.visit.steps import present
from handsfree.visit.wishes import is_command


def _who(flow: Flow) -> str:
    """Who states a number: the one who joins, else the first person here."""
    return flow.state.joining or _first(flow)


def _first(flow: Flow) -> str:
    return flow.state.technician or flow.sentence("first-person")


def _choices(flow: Flow) -> tuple[str, ...]:
    """If a number does not match that person's lock, that person comes first; then who may come, or somebody new."""
    owner = (_who(flow),) if flow.state.lock_offered else ()
    return tuple(dict.fromkeys((*owner, *may_come(flow), flow.sentence("somebody-new"))))


def _asks_who(flow: Flow) -> str:
    words = choices(flow.state.language, _choices(flow))
    return flow.sentence("who-of-two" if flow.state.lock_offered else "who-comes", owner=_who(flow), choices=words)


def takes_who(flow: Flow, utterance: Utterance) -> bool:
    """Who it is. Somebody new keeps the number just given; a known person states theirs again."""
    if _takes_back(flow, utterance):
        return True
    if utterance.sense != Sense.PHRASE or utterance.text not in _choices(flow):
        return False
    offered, owner = flow.state.lock_offered, _who(flow)
    unnamed = utterance.text == flow.sentence("somebody-new")
    name = next(iter(free_names(flow)), "") if unnamed else utterance.text
    if not name:
        flow.prompt("lock-taken", "refusal")
    elif offered and name != owner:
        flow.change(joining=name)
        _read_back(flow, offered)
    else:
        flow.change(joining=flow.state.joining if offered else name, lock_offered=(), awaiting=Awaiting.LOCK_NUMBER)
        present(flow)
    return True


def _says_number(flow: Flow) -> None:
    alone = "lock-number-short" if flow.brief else "lock-number"
    flow.prompt("lock-number-of" if flow.state.joining else alone, "question", owner=_who(flow))


def _nobody_comes(flow: Flow) -> tuple[str, ...]:
    """'Negative' after a mistaken 'second person': a misheard word commits nobody."""
    return ("negative",) if flow.state.another or here(flow.state.interlock.people) else ()


def _takes_back(flow: Flow, utterance: Utterance) -> bool:
    if not is_command(utterance, *_nobody_comes(flow)):
        return False
    flow.change(joining="", another=False, lock_offered=())
    take_up(flow)
    return True


def takes_number(flow: Flow, utterance: Utterance) -> bool:
    if _takes_back(flow, utterance):
        return True
    digits = tuple(utterance.text.split())
    if utterance.sense != Sense.DIGITS or not 2 <= len(digits) <= 4:
        return False
    interlock = flow.state.interlock
    known = next((one for one in interlock.people if one.number == digits and not one.here), None)
    if known is not None:  # whoever comes back is known by the number on their lock
        flow.change(joining=known.name)
    elif taken(interlock.people, _who(flow), digits):
        flow.prompt("lock-taken", "refusal")
        return True
    elif another(interlock.people, interlock.locks, _who(flow), digits):  # misheard, misremembered, or somebody else
        flow.change(lock_offered=digits, awaiting=Awaiting.WHO)
        present(flow)
        return True
    _read_back(flow, digits)
    return True


def _read_back(flow: Flow, digits: tuple[str, ...]) -> None:
    """The number, once, and whose it is if that is not clear."""
    flow.change(lock_offered=digits, awaiting=Awaiting.LOCK_AFFIRM)
    key = "lock-readback-of" if flow.state.joining else "lock-readback"
    flow.prompt(key, OWN_NUMBER, digits=" ".join(digits), owner=_who(flow), cue=flow.cue("affirm"))


def takes_affirm(flow: Flow, utterance: Utterance) -> bool:
    state = flow.state
    if is_command(utterance, "affirm"):
        flow.change(interlock=join(state.interlock, _who(flow), state.lock_offered), lock_offered=())
        if not flow.brief:
            flow.heard(flow.sentence("lock-kept"))
        _kept(flow)
    elif is_command(utterance, "negative", "correction", "say again"):
        flow.change(lock_offered=(), awaiting=Awaiting.LOCK_NUMBER)
        flow.prompt("lock-again", "question")
    else:
        return takes_number(flow, utterance)
    return True


def _kept(flow: Flow) -> None:
    """A person who joins while something is held puts a lock on it; otherwise one more person joins, or the visit goes
    on."""
    another = flow.state.another
    flow.change(another=False)
    if lock_first(flow):
        return
    flow.change(joining="")
    if another:
        ask_who(flow)
    else:
        take_up(flow)


def at_join(flow: Flow, utterance: Utterance) -> bool:
    """The second person's phrase: one more lock on what is held. Nobody's isolation changes."""
    if voice_doubted(flow, utterance):
        return True
    interlock = flow.state.interlock
    after = lock_on(interlock, interlock.person, utterance)
    if after.failures:
        refused(flow, utterance, after, "isolated", tuple(interlock.holds))
        return True
    flow.lock_to(after, "phrase", phrase_of(flow, utterance, interlock.person.name))
    flow.change(joining="", voice_doubted=False)
    flow.tone("gate open")
    flow.prompt("lock-joined", "answer")
    take_up(flow)
    return True


def begin_join(flow: Flow) -> None:
    """'Second person': they state their number and, if something is held, put their lock on it. The first person states
    theirs before that, or nobody would ask for the first one's lock any more."""
    if not here(flow.state.interlock.people):
        flow.change(joining=_first(flow), another=True, pending=None, awaiting=Awaiting.LOCK_NUMBER, overlay=Overlay.NONE)
        present(flow)
        return
    if len(here(flow.state.interlock.people)) > 1 or not free_names(flow):
        flow.prompt("no-more-people", "refusal")
        return
    ask_who(flow)


def restate(flow: Flow) -> bool:
    """'Correction' after a refused phrase corrects the number in it; False elsewhere, and if their lock is on."""
    if not flow.state.interlock.failures or not may_restate(flow):
        return False
    person = flow.state.interlock.person.name
    flow.change(joining="" if person == _first(flow) else person, awaiting=Awaiting.LOCK_NUMBER)
    present(flow)
    return True


def begin_leave(flow: Flow) -> None:
    """'I am leaving': the lock of the person who leaves comes off while the other's stays on."""
    present_people = here(flow.state.interlock.people)
    if len(present_people) < 2:
        flow.prompt("leave-alone", "refusal")
        return
    flow.change(awaiting=Awaiting.LEAVE_GATE, pending=None, overlay=Overlay.NONE,
                interlock=awaits(flow.state.interlock, present_people[0].name))  # fmt: skip
    present(flow)


def _held(flow: Flow) -> tuple[str, ...]:
    interlock = flow.state.interlock
    return tuple(n for n in interlock.sources if interlock.hold(n).held and interlock.sources[n].kind.lock)


def at_leave(flow: Flow, utterance: Utterance) -> bool:
    state = flow.state
    people = here(state.interlock.people)
    if is_command(utterance, "negative"):  # it is the other one who leaves
        others = [one.name for one in people if one.name != state.interlock.person.name]
        flow.change(interlock=awaits(state.interlock, others[0]))
        present(flow)
        return True
    if voice_doubted(flow, utterance):
        return True
    who, names = state.interlock.person.name, _held(flow)
    after = leave(state.interlock, names, utterance)
    if after.failures and opens(state.interlock.person, "clear", utterance):  # it was heard; no other lock is on
        flow.prompt("leave-first", "refusal", cuttable=False, owner=who)
        take_up(flow)
        return True
    if after.failures:
        refused(flow, utterance, after, "clear", names)
        return True
    flow.lock_to(after, "phrase", phrase_of(flow, utterance, who))
    flow.change(voice_doubted=False)
    flow.prompt("left" if after.locks else "left-unlocked", "notice", owner=who)
    take_up(flow)
    return True


# ---- an owner who is gone: 29 CFR 1910.147 (e)(3) ---------------------------------------------------------------------


def _says_gone(flow: Flow) -> None:
    flow.say(_asks_gone(flow), "question", cuttable=False)


def _asks_gone(flow: Flow) -> str:
    owner = owner_awaited(flow.state.interlock, restored(flow))
    return flow.sentence(WITHOUT_OWNER[flow.state.interlock.absent], owner=owner)


def owner_gone(flow: Flow, utterance: Utterance) -> bool:
    """Each step is affirmed, in order; anything else leaves the lock on."""
    interlock = flow.state.interlock
    owner = owner_awaited(interlock, restored(flow))
    if is_command(utterance, "negative"):
        person = named(interlock.people, owner)
        counted_here = person is not None and person.here
        flow.prompt("absent-clears" if counted_here else "absent-stays", "refusal", cuttable=False, owner=owner)
        next_owner(flow)
        return True
    if not is_command(utterance, "affirm"):
        return False
    flow.lock_to(absent_affirmed(interlock, owner), WITHOUT, flow.sentence("why-absent", owner=owner))
    if flow.state.interlock.absent:
        present(flow)
    else:
        flow.prompt("absent-off", "notice", cuttable=False, owner=owner)
        next_owner(flow)
    return True


#: The gates, and of which sources each is.
GATES: dict[Awaiting, Callable[[Flow], tuple[str, ...]]] = {
    Awaiting.GATE: lambda flow: isolate_step(flow).sources,
    Awaiting.RESTORE_GATE: restored,
    Awaiting.JOIN_GATE: lambda flow: tuple(flow.state.interlock.holds),
    Awaiting.LEAVE_GATE: _held,
}


def doubted(flow: Flow, utterance: Utterance) -> None:
    """At a gate, not surely heard: one more failure, and why. It reaches no row that acts. What came too early was no
    attempt, and its person is told so; nor is a question, which is answered by the isolation as it stands, a wish to hear
    it again, or what takes back the answer before (after a failure 'correction' is of the number)."""
    if utterance.reason.startswith(TOO_EARLY) and utterance.sense != Sense.DENIAL:
        flow.tone("gate shut")
        flow.prompt("gate-early", "refusal")
        return
    asked = flow.question.hears(flow).gate
    assert asked is not None
    if asks_something(flow, utterance, asked.word) or asks_repeat(flow.state, utterance):
        flow.tone("not understood")
        flow.heard(flow.sentence(f"isolation-{flow.state.interlock.power}"))
        flow.say(flow.question.asks(flow), "question")
        return
    if takes_back(flow, utterance) and flow.state.trail and not flow.state.interlock.failures:
        flow.tone("not understood")
        flow.heard(flow.sentence("say-correction"))
        flow.say(flow.question.asks(flow), "question")
        return
    names = GATES[flow.state.awaiting](flow)
    refused(flow, utterance, not_opened(flow.state.interlock), asked.word, names)


def _says_join(flow: Flow) -> None:
    flow.prompt("join-need", "question", cuttable=False, owner=flow.state.interlock.person.name)


def _says_leave(flow: Flow) -> None:
    flow.prompt("leave-need", "question", cuttable=False, owner=flow.state.interlock.person.name)


def _hears(word: str, *more: str) -> Callable[[Flow], Listening]:
    return lambda flow: Listening(gate=GateAsked(word, flow.state.interlock.lock), commands=(*BEFORE, *more))


def _hears_who(flow: Flow) -> Listening:
    return Listening(phrases=_choices(flow), commands=BEFORE, also=_nobody_comes(flow))


def _hears_number(flow: Flow) -> Listening:
    return Listening(digits=(2, 4), commands=BEFORE, also=_nobody_comes(flow))


def _may_number(flow: Flow) -> tuple[str, ...]:
    return called(*_nobody_comes(flow), "stand by")(flow)


ROWS: QuestionRows = {
    Awaiting.WHO: Question(
        lambda flow: flow.say(_asks_who(flow), "question"), _hears_who,
        takes_who, _asks_who, _choices, Consequence.GUARDED,
    ),
    Awaiting.LOCK_NUMBER: Question(
        _says_number, _hears_number, takes_number, asks("lock-asked"), _may_number, Consequence.GUARDED,
    ),
    Awaiting.LOCK_AFFIRM: Question(
        says("lock-affirm"), lambda flow: Listening(digits=(2, 4), commands=(*BEFORE, "affirm", "negative", "correction")),
        takes_affirm, asks("lock-affirm"), called("affirm", "negative"), Consequence.GUARDED,
    ),
    Awaiting.JOIN_GATE: Question(
        _says_join, _hears("isolated", "correction"), at_join,
        lambda flow: flow.sentence("join-need", owner=flow.state.interlock.person.name),
        lambda flow: (flow.sentence("a-gate-isolated"),), Consequence.GUARDED,
    ),
    Awaiting.LEAVE_GATE: Question(
        _says_leave, _hears("clear", "negative"), at_leave,
        lambda flow: flow.sentence("leave-need", owner=flow.state.interlock.person.name),
        lambda flow: (flow.sentence("a-gate-clear"),), Consequence.GUARDED,
    ),
    Awaiting.OWNER_GONE: Question(
        _says_gone, commands("affirm", "negative", "second person", *BEFORE), owner_gone, _asks_gone,
        called("affirm", "negative"), Consequence.GUARDED,
    ),
}  # fmt: skip
