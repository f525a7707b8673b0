"""The phrases that always work.

One table, `PHRASES`, by command name. 'Next step', 'go ahead', 'affirm' and the like are not here: they answer the step.
"""

from __future__ import annotations

from collections.abc import Callable

from handsfree.isolation.interlock import in_doubt
from handsfree.isolation.rules import Power, SourceEvent
from handsfree.journal.events import Corrected, KeepNote, SetVoice, Utterance
from handsfree.language.meaning import EMERGENCY, Sense
from handsfree.procedure.model import Isolate, Read
from handsfree.resources import of_trade
from handsfree.visit import advice, besides, facts, helping, places
from handsfree.visit.comers import COMES
from handsfree.visit.flow import Flow
from handsfree.visit.movement import backward, clear, on_after_overlay
from handsfree.visit.persons import begin_join, begin_leave, restate
from handsfree.visit.plain import wait_left
from handsfree.visit.speaking import duration, result_words
from handsfree.visit.state import Awaiting, Form, Overlay
from handsfree.visit.steps import present, tell_locks


def _say_again(flow: Flow) -> None:
    flow.again = True
    present(flow)


def _quiet(flow: Flow) -> None:
    """'Stop': hearing it already breaks off what was being said; nothing more is said until somebody speaks."""


def _go_back(flow: Flow) -> None:
    state = flow.state
    if not state.trail:
        flow.prompt("no-further-back", "refusal")
        return
    flow.change(trail=state.trail[:-1])
    flow.heard(flow.sentence("back"))
    backward(flow, state.trail[-1])


def _correction(flow: Flow) -> None:
    """Undo the last answer on this side of the gate and ask it again; the fault model forgets what followed from it."""
    state = flow.state
    for at in range(len(state.trail) - 1, -1, -1):
        frames = state.trail[at]
        key = (tuple(frame.procedure for frame in frames), frames[-1].step)
        if key in state.remembered:
            kept = {name: result for name, result in state.remembered.items() if name != key}
            last = max((one.minute for one in state.series if one.given == key), default=None)
            series = tuple(one for one in state.series if (one.given, one.minute) != (key, last))
            flow.change(trail=state.trail[:at], remembered=kept, series=series)
            flow.untell(key)
            facts.unlearn(flow, key)
            flow.emit(Corrected(key[0], key[1]))
            flow.heard(flow.sentence("corrected"))
            backward(flow, frames)
            return
    flow.prompt("nothing-to-correct", "refusal")


def _what_said(flow: Flow) -> None:
    """The last answer, as it was taken; what is still to be affirmed is read back again."""
    state, language = flow.state, flow.state.language
    if state.overlay is Overlay.PROPOSAL or state.awaiting is Awaiting.READING_AFFIRM:
        _say_again(flow)
    elif state.answered is None:
        flow.prompt("no-answer-yet", "help")
    elif state.answered not in state.remembered:
        flow.prompt("answer-taken-back", "help")
    else:
        path, name = state.answered
        step, answer = state.book.at(path[-1], name), result_words(language, state.remembered[state.answered])
        if isinstance(step, Read):
            flow.prompt("last-reading", "help", quantity=step.quantity, answer=answer)
        else:
            flow.prompt("last-answer", "help", answer=answer)


def _forget(flow: Flow) -> None:
    """Takes back a complaint that was just kept; an answer is taken back by 'correction', and the program says so."""
    if not besides.struck(flow):
        flow.heard(flow.sentence("say-correction"))
    if not flow.state.waiting:
        flow.say(flow.question.asks(flow), "question")


def _how_long(flow: Flow) -> None:
    state = flow.state
    time = duration(state.language, flow.now - state.began)
    flow.prompt("how-long", "help", since=time)
    if state.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT):
        flow.prompt("how-long-wait", "help", time=wait_left(flow))
    if state.interlock.isolated:
        since = max((at for at in state.interlock.since.values()), default=flow.now)
        flow.prompt("how-long-isolated", "help", time=duration(state.language, flow.now - since))


def _where(flow: Flow) -> None:
    state = flow.state
    isolation = flow.sentence(f"isolation-{state.interlock.power}")
    if state.frames:
        number = places.number_of(state.book, state.frames)
        flow.prompt("where", "help", title=state.procedure.title, number=number, isolation=isolation)
        tell_locks(flow)
    else:
        flow.say(isolation, "help")


def _stand_by(flow: Flow) -> None:
    flow.change(overlay=Overlay.STAND_BY)
    flow.prompt("standing-by", "answer")


def _note(flow: Flow) -> None:
    flow.change(overlay=Overlay.NOTE)
    flow.prompt("note-now", "answer")
    flow.emit(KeepNote(flow.state.frames[-1].step if flow.state.frames else ""))


def _stop(flow: Flow) -> None:
    flow.change(overlay=Overlay.STOP_ONCE)
    flow.prompt("stop-once", "question")


def power_is_on(flow: Flow) -> None:
    """At every moment, during every overlay: the source that is meant is LIVE at once. If several are held, the program
    asks which one, and all steps are shut until that is answered. What to do now always follows."""
    interlock = flow.state.interlock
    flow.change(overlay=Overlay.NONE)
    begun = [name for name in interlock.sources if interlock.hold(name).power is not Power.LIVE]
    locked = [name for name in begun if interlock.sources[name].kind.lock]
    if not begun and not interlock.doubt:
        _where(flow)
        on_after_overlay(flow)
    elif interlock.doubt or len(locked) < 2:
        clear(flow, SourceEvent.POWER_IS_ON, flow.sentence("why-power-on"))
    else:
        coming = flow.state.awaiting if flow.state.awaiting in COMES else Awaiting.NOTHING
        flow.change(interlock=in_doubt(interlock), awaiting=Awaiting.WHICH_SOURCE, pending=None, coming=coming)
        flow.tone("gate shut")
        flow.prompt("hands-out", "notice", cuttable=False)
        present(flow)


def _voice(rate: int, volume: int) -> Callable[[Flow], None]:
    def change(flow: Flow) -> None:
        new_rate = max(-3, min(3, flow.state.rate + rate))
        new_volume = max(-3, min(3, flow.state.volume + volume))
        flow.change(rate=new_rate, volume=new_volume)
        flow.emit(SetVoice(new_rate, new_volume))
        flow.prompt("voice-changed", "answer")

    return change


def _advice(sentences: str) -> Callable[[Flow], None]:
    """What the fault model says about the answers so far; it only advises. `sentences`: 'what_next' or 'why'."""

    def advise(flow: Flow) -> None:
        known = advice.told(flow)
        if known is None or not known[1] or flow.state.language.code != "en":  # the fault model speaks English only
            flow.prompt("nothing-next", "help")
            return
        model, told = known
        found = list(getattr(of_trade("whatnext"), sentences)(model, told, isolated=advice.all_dead(flow)))
        if found and "?" in found[0]:  # it is advice: nobody is asked this now
            found[0] = flow.sentence("check-next", check=found[0])
        for sentence in found:
            flow.say(sentence, "help")

    return advise


def _why(flow: Flow) -> None:
    """A caution and an isolation have their reason in their own words; elsewhere it is what the fault model knows."""
    step = flow.state.step
    if flow.state.awaiting is Awaiting.UNDERSTOOD:
        _say_again(flow)
    elif flow.state.awaiting in (Awaiting.SEEN, Awaiting.GATE) and isinstance(step, Isolate):
        flow.say(step.say, "help")
        flow.say(flow.question.asks(flow), "question")
    else:
        _advice("why")(flow)


PHRASES: dict[str, Callable[[Flow], None]] = {
    "say again": _say_again,
    "go back": _go_back,
    "correction": _correction,
    "what did i say": _what_said,
    "forget that": _forget,
    "how long": _how_long,
    "where am i": _where,
    "what can i say": helping.can_say,
    "help": helping.helps,
    "stop": _quiet,
    "short form": helping.form(Form.SHORT),
    "usual form": helping.form(Form.USUAL),
    "full form": helping.form(Form.FULL),
    "stand by": _stand_by,
    "note": _note,
    "stop the visit": _stop,
    "power is on": power_is_on,
    "second person": begin_join,
    "i am leaving": begin_leave,
    "faster": _voice(1, 0),
    "slower": _voice(-1, 0),
    "louder": _voice(0, 1),
    "softer": _voice(0, -1),
    "what next": _advice("what_next"),
    "why": _why,
}


PEOPLE = ("second person", "i am leaving")
#: Nobody can join or leave half way through these.
NO_PEOPLE = (*COMES, Awaiting.JOIN_GATE, Awaiting.LEAVE_GATE, Awaiting.WHICH_SOURCE)
#: What is asked there is denied by 'forget that'.
DENIED_BY_FORGET = (Awaiting.ALSO_SAID, Awaiting.READING_AFFIRM, Awaiting.CUT_WAIT)
#: Which source is on, and who joins or leaves, must be answered before the visit moves.
MOVES = ("go back", "correction")


def use(flow: Flow, utterance: Utterance) -> bool:
    """Do what an always-working phrase asks; False if it is not one, or if the present question handles it itself."""
    awaiting = flow.state.awaiting
    if utterance.sense == Sense.COMMAND and utterance.text in flow.state.book.asides:
        flow.say(flow.state.book.asides[utterance.text], "help")
        return True
    if utterance.sense == Sense.COMMAND and utterance.text in EMERGENCY:
        helping.alarm(flow, utterance)
        return True
    if utterance.sense != Sense.COMMAND or utterance.text not in PHRASES:
        return False
    if utterance.text == "forget that" and (flow.state.overlay or awaiting in DENIED_BY_FORGET):
        return False
    if utterance.text == "correction" and awaiting in (Awaiting.READING_AFFIRM, Awaiting.DEAD_AFFIRM, Awaiting.LOCK_AFFIRM):
        return False
    if utterance.text == "say again" and awaiting is Awaiting.LOCK_AFFIRM:
        return False
    if utterance.text == "power is on" and awaiting is Awaiting.RESTORE_POWER and not flow.state.overlay:
        return False
    if utterance.text == "correction" and awaiting in (Awaiting.GATE, Awaiting.JOIN_GATE) and restate(flow):
        return True
    if utterance.text in PEOPLE and awaiting in NO_PEOPLE:
        return False
    if utterance.text in MOVES and awaiting in NO_PEOPLE:
        return False
    PHRASES[utterance.text](flow)
    return True


__all__ = ["PHRASES", "use"]
