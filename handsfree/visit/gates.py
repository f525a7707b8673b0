"""The questions of isolating and restoring: what ran before, the phrases, the order of restoring. One row each, in `ROWS`.

Nothing in this file opens a gate. It asks `handsfree.isolation.interlock`, and says why a gate stays shut.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from handsfree.dialogue.question import Consequence, Question
from handsfree.isolation.interlock import absent_anew, awaits, hear_phrase, lock_off, owner_awaited, relieved, saw
from handsfree.isolation.people import here, named
from handsfree.isolation.rules import Power, SourceEvent
from handsfree.journal.events import Utterance
from handsfree.language.meaning import GateAsked, Listening
from handsfree.language.tokens import capital
from handsfree.procedure import model
from handsfree.visit.flow import Flow
from handsfree.visit.movement import clear, forward
from handsfree.visit.plain import BEFORE, QuestionRows, always, asks, called
from handsfree.visit.refusals import phrase_of, refused, voice_doubted
from handsfree.visit.speaking import of_kind
from handsfree.visit.state import Awaiting
from handsfree.visit.steps import present
from handsfree.visit.wishes import is_command, onward


def isolate_step(flow: Flow) -> model.Isolate:
    assert isinstance(flow.state.step, model.Isolate)
    return flow.state.step


def restored(flow: Flow) -> tuple[str, ...]:
    """The sources that come back at this restore."""
    step, state = flow.state.step, flow.state
    assert isinstance(step, model.Restore)
    return state.book.energy.restores(state.frames[-1].procedure, step)


def _of_kinds(flow: Flow, what: str, names: tuple[str, ...], link: str = "") -> str:
    """What is said of the kinds of these sources, once each: 'the power goes off and the water goes off'."""
    language, sources = flow.state.language, flow.state.interlock.sources
    kinds = dict.fromkeys(sources[name].kind.name for name in names)
    said = (of_kind(language, what, kind) or flow.sentence(f"{what}-other", kind=kind) for kind in kinds)
    return (link or f" {flow.sentence('and')} ").join(dict.fromkeys(said))


# ---- isolating ------------------------------------------------------------------------------------------------------


def _says_seen(flow: Flow) -> None:
    step = isolate_step(flow)
    text, cue = flow.step_words(step), flow.cue("affirm")
    off = _of_kinds(flow, "off", step.sources)
    flow.prompt("isolate-seen", "question", cuttable=flow.may_cut, text=text, off=off, cue=cue)


def seen(flow: Flow, utterance: Utterance) -> bool:
    """Whether it ran or was lit before: only then can a failed start prove that it is dead."""
    if not is_command(utterance, "affirm", "negative"):
        return False
    ran = is_command(utterance, "affirm")
    flow.change(interlock=saw(flow.state.interlock, isolate_step(flow).sources, ran), awaiting=Awaiting.GATE)
    present(flow)
    return True


def _says_gate(flow: Flow) -> None:
    """What is to be done, in one breath, then what opens the gate."""
    step = isolate_step(flow)
    if not flow.state.book.energy.tries(step.sources):
        flow.prompt("isolate-told", "step", cuttable=flow.may_cut, text=step.say, off=_of_kinds(flow, "off", step.sources))
    flow.say(" ".join((*step.do, need(flow, "isolate-need", brief=True))), "step", cuttable=flow.may_cut)


def need(flow: Flow, key: str, *, brief: bool = False) -> str:
    """What opens the gate, and whose phrase it is if several people are here. `brief`: right after the instructions."""
    interlock = flow.state.interlock
    if len([one for one in interlock.people if one.here]) < 2:
        return flow.sentence(f"{key}-short" if brief else key)
    return capital(flow.sentence(f"{key}-of", owner=interlock.person.name))


def at_gate(flow: Flow, utterance: Utterance) -> bool:
    """The gate phrase, or anything else said at a gate. Only the core opens it; everything else is a reason to stay shut."""
    names, who = isolate_step(flow).sources, flow.state.interlock.person.name
    if voice_doubted(flow, utterance):
        return True
    after = hear_phrase(flow.state.interlock, names, utterance, flow.now)
    if after.failures:
        refused(flow, utterance, after, "isolated", names)
        return True
    flow.lock_to(after, "phrase", phrase_of(flow, utterance, who), names)
    flow.change(voice_doubted=False)
    flow.tone("gate open")
    if after.speaker:
        flow.say(need(flow, "isolate-need"), "question")
    else:
        flow.heard(flow.sentence("phrase-taken"))
        forward(flow)
    return True


def _says_relieved(flow: Flow) -> None:
    step = isolate_step(flow)
    flow.say(step.say, "step", cuttable=flow.may_cut, sound=step.own_sound)
    flow.say(f"{' '.join(step.do)}{flow.cue('next')}", "step", cuttable=flow.may_cut)


def relief_done(flow: Flow, utterance: Utterance) -> bool:
    """A source without a lock was relieved; the measurement that follows must show that the energy is gone."""
    if not onward(utterance):
        return False
    names = isolate_step(flow).sources
    flow.lock_to(relieved(flow.state.interlock, names, flow.now), "relieved", flow.sentence("why-relieved"), names)
    forward(flow)
    return True


# ---- restoring ------------------------------------------------------------------------------------------------------


def restore_checks(flow: Flow) -> tuple[str, ...]:
    """The step's checks, then those that no restore may omit: controls off, people told (29 CFR 1910.147 (e)(1), (e)(2))."""
    assert isinstance(flow.state.step, model.Restore)
    names = restored(flow)
    words = flow.sentence("restore-off", off=_of_kinds(flow, "check", names, ", "), back=_of_kinds(flow, "back", names))
    return (*flow.state.step.checks, words)


def _says_check(flow: Flow) -> None:
    flow.say(f"{restore_checks(flow)[flow.state.check]}{flow.cue('next')}", "step", cuttable=flow.may_cut)


def restore_check(flow: Flow, utterance: Utterance) -> bool:
    if not onward(utterance):
        return False
    if flow.state.check + 1 < len(restore_checks(flow)):
        flow.change(check=flow.state.check + 1)
        present(flow)
    else:
        next_owner(flow)
    return True


def next_owner(flow: Flow) -> None:
    """Each lock comes off by its owner; then the power. Nobody whose lock is on is passed over. If no lock is on record,
    somebody here says that all is clear. What is asked about an owner who is gone begins at its first step each time."""
    interlock = flow.state.interlock
    owner = owner_awaited(interlock, restored(flow))
    person = named(interlock.people, owner)
    if not owner and interlock.given:
        flow.change(awaiting=Awaiting.RESTORE_POWER)
        flow.heard(flow.sentence("restored-clear"))
    elif owner and (person is None or not person.here):
        flow.change(awaiting=Awaiting.OWNER_GONE, interlock=absent_anew(interlock))
    else:
        flow.change(awaiting=Awaiting.RESTORE_GATE, interlock=awaits(interlock, owner))
    present(flow)


def may_be_gone(flow: Flow) -> bool:
    """Another is here who can say that the owner of the lock left without a word."""
    interlock = flow.state.interlock
    awaited = owner_awaited(interlock, restored(flow)) == interlock.person.name
    return awaited and len(here(interlock.people)) > 1


def _asks_clear(flow: Flow) -> str:
    gone = flow.sentence("clear-gone", owner=flow.state.interlock.person.name) if may_be_gone(flow) else ""
    return f"{need(flow, 'clear-need')} {gone}".strip()


def _hears_clear(flow: Flow) -> Listening:
    return replace(hears_gate("clear")(flow), also=("negative",) if may_be_gone(flow) else ())


def _may_clear(flow: Flow) -> tuple[str, ...]:
    return (*may_gate("clear")(flow), *(called("negative")(flow) if may_be_gone(flow) else ()))


def at_clear(flow: Flow, utterance: Utterance) -> bool:
    names, who = restored(flow), flow.state.interlock.person.name
    if is_command(utterance, "negative") and may_be_gone(flow):
        flow.change(awaiting=Awaiting.OWNER_GONE, interlock=absent_anew(flow.state.interlock))
        present(flow)
        return True
    if voice_doubted(flow, utterance):
        return True
    after = lock_off(flow.state.interlock, names, utterance)
    if after.failures:
        refused(flow, utterance, after, "clear", names)
        return True
    flow.lock_to(after, "phrase", phrase_of(flow, utterance, who), names)
    flow.change(voice_doubted=False)
    flow.tone("gate open")
    next_owner(flow)
    return True


def restore_power(flow: Flow, utterance: Utterance) -> bool:
    if not (onward(utterance) or is_command(utterance, "power is on")):
        return False
    flow.turn_lock(SourceEvent.RESTORED, "", restored(flow))
    flow.heard(flow.sentence("restored"))
    forward(flow)
    return True


# ---- which source is on ---------------------------------------------------------------------------------------------


def _may_be_on(flow: Flow) -> tuple[str, ...]:
    """What is held, and what is being restored: its power may just have been put on."""
    holds = {name: flow.state.interlock.hold(name) for name in flow.state.interlock.sources}
    return tuple(name for name, hold in holds.items() if hold.held or hold.power is Power.RESTORING)


def _which(flow: Flow) -> tuple[str, ...]:
    return (*_may_be_on(flow), flow.sentence("all-sources"))


def _says_which(flow: Flow) -> None:
    flow.say(_asks_which(flow), "question", cuttable=False)


def _asks_which(flow: Flow) -> str:
    from handsfree.visit.speaking import choices

    return flow.sentence("which-source", choices=choices(flow.state.language, _which(flow)))


def which_source(flow: Flow, utterance: Utterance) -> bool:
    """Until it is answered every step is shut; anything but an answer leaves it so."""
    if utterance.text not in _which(flow):
        return False
    names = (utterance.text,) if utterance.text in _may_be_on(flow) else None
    clear(flow, SourceEvent.POWER_IS_ON, flow.sentence("why-power-on"), names)
    return True


# ---- rows -----------------------------------------------------------------------------------------------------------


def hears_gate(word: str) -> Callable[[Flow], Listening]:
    return lambda flow: Listening(gate=GateAsked(word, flow.state.interlock.lock))


def may_gate(word: str) -> Callable[[Flow], tuple[str, ...]]:
    return lambda flow: (flow.sentence(f"a-gate-{word}"), *called("power is on", "stop the visit")(flow))


def _says_power(flow: Flow) -> None:
    step = flow.state.step
    assert isinstance(step, model.Restore)
    flow.say(f"{step.power}{flow.cue('next')}", "step")


def _yes_no(flow: Flow) -> Listening:
    return Listening(also=("affirm", "negative"))


#: While it is asked which source is on: that some power is on was said already.
_BUT_POWER = tuple(name for name in BEFORE if name != "power is on")
ROWS: QuestionRows = {
    Awaiting.SEEN: Question(
        _says_seen, _yes_no, seen, asks("short-seen"), called("affirm", "negative"), Consequence.GUARDED
    ),
    Awaiting.GATE: Question(
        _says_gate, hears_gate("isolated"), at_gate, lambda flow: need(flow, "isolate-need"), may_gate("isolated"),
        Consequence.GUARDED,
    ),
    Awaiting.RELIEVED: Question(
        _says_relieved, always, relief_done, asks("need-relieved"), called("next step", "power is on"), Consequence.GUARDED
    ),
    Awaiting.RESTORE_CHECK: Question(
        _says_check, always, restore_check, asks("need-check"), called("next step", "say again", "power is on"),
        Consequence.GUARDED,
    ),
    Awaiting.RESTORE_GATE: Question(
        lambda flow: flow.say(need(flow, "clear-need", brief=flow.brief), "question", cuttable=False), _hears_clear,
        at_clear, _asks_clear, _may_clear, Consequence.GUARDED,
    ),
    Awaiting.RESTORE_POWER: Question(
        _says_power, always, restore_power, asks("need-power"), called("next step", "power is on"), Consequence.GUARDED
    ),
    Awaiting.WHICH_SOURCE: Question(
        _says_which, lambda flow: Listening(phrases=_which(flow), commands=_BUT_POWER), which_source, _asks_which, _which,
        Consequence.GUARDED,
    ),
}  # fmt: skip
