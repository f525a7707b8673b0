"""The visit as a machine: `advance(state, happening) -> (state, effects)`.

The rules of this file:

- `advance` has no input or output and no clock: the same state and happening always give the same answer. A journal is
  the list of what it was given; running `advance` over it again is replay, resume and proof at once.
- Each kind of happening has one handler in `HANDLERS`.
- An utterance acts only when its verdict is *accepted*. *Asked again* makes the program ask. *Not for me* does nothing.
- An exception in a turn leaves a visit that is stopped and LIVE (`visit.faults`), never a traceback.
- Whatever happens, an isolation that has outlived its time is cleared first; what was said at that moment is not used.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from handsfree.dialogue.listening import listen_for
from handsfree.dialogue.meant import usual_level
from handsfree.dialogue.parts import Machine
from handsfree.dialogue.question import OwnEffect, changed
from handsfree.isolation.interlock import Interlock, awaits, came_back, next_return, nobody, overstayed, spoke
from handsfree.isolation.rules import Power, SourceEvent
from handsfree.journal import events
from handsfree.journal.events import DropTimer, Effect, SetTimer, Stamped
from handsfree.language.base import Language
from handsfree.language.meaning import EMERGENCY, Verdict
from handsfree.procedure import model
from handsfree.procedure.model import Book
from handsfree.visit import besides, desk_asks, echoes, facts, notes, phrases, places, unsure, wayout
from handsfree.visit.comers import PERSONS
from handsfree.visit.faults import failed
from handsfree.visit.flow import LEARNED, Flow
from handsfree.visit.gates import restore_checks
from handsfree.visit.movement import clear, forward, move, take_up
from handsfree.visit.overlays import stop
from handsfree.visit.persons import GATES
from handsfree.visit.plain import wait_left
from handsfree.visit.questions import flow_of, listening
from handsfree.visit.starting import VISIT
from handsfree.visit.state import CLEARED, Awaiting, Form, Overlay, Sample, State
from handsfree.visit.steps import record, set_wait_timer, tell_locks
from handsfree.visit.wishes import is_command

#: Raise this number when the same happenings give other effects than before: a record made under another number is shown
#: as it was, and a visit resumed from one starts from what is on record.
RULES = 14
QUIET_SECONDS = 180.0
DAY_BREAK_SECONDS = 12 * 3600.0  # after a longer absence it may be another lock: its number is asked for again


def start(book: Book, language: Language) -> State:
    """The state before anything happened. The first happening must be Opened."""
    return State(book, language, interlock=Interlock(book.energy.sources))


def advance(state: State, happening: Stamped) -> tuple[State, tuple[Effect | OwnEffect, ...]]:
    """ValueError for anything that is not a happening, or for one before Opened."""
    event = happening.event
    if type(event) not in HANDLERS:
        raise ValueError(f"{type(event).__name__} is not a happening")
    if state.closed and not isinstance(event, events.Resumed):
        return state, ()
    if not state.frames and not isinstance(event, events.Opened | events.Resumed):
        raise ValueError("the first happening of a visit is Opened")
    flow = flow_of(before := changed(state, now=max(happening.mono, state.now), wall=happening.wall))
    try:
        _take(flow, state, event)
    except Exception as error:
        return failed(before, flow.state.frames or before.frames, type(event).__name__, f"{type(error).__name__}: {error}")
    return flow.state, tuple(flow.effects)


def _take(flow: Flow, state: State, event: events.Happening) -> None:
    # A resume clears whatever isolation there was, and says so, once.
    too_late = not isinstance(event, events.Resumed) and _break_over(flow) and isinstance(event, events.Utterance)
    if not isinstance(event, events.Resumed):
        flow.change(found=())
    if not too_late or (isinstance(event, events.Utterance) and is_command(event, *EMERGENCY)):
        HANDLERS[type(event)](flow, event)
    _settle(flow, state, rang=isinstance(event, events.TimerRang) and event.timer == "break")


def _break_over(flow: Flow) -> bool:
    """Clear an isolation that was left alone for too long (rule 5 of the interlock)."""
    state = flow.state
    if not state.frames:
        return False
    if overstayed(state.interlock, flow.now, state.break_seconds):
        clear(flow, SourceEvent.BREAK, flow.sentence("why-break"))
        return True
    back = came_back(state.interlock, flow.now)
    # nothing at hand is fed by it, or every step is shut: the next step that is fed by it will ask for it
    if back and (state.interlock.doubt or not set(back) & set(state.needs)):
        flow.turn_lock(SourceEvent.CAME_BACK, flow.sentence("why-came-back", source=", ".join(back)), back)
        flow.change(interlock=awaits(flow.state.interlock, state.interlock.speaker))  # who was asked still is
        return False
    if back:
        clear(flow, SourceEvent.CAME_BACK, flow.sentence("why-came-back", source=", ".join(back)), back)
    return bool(back)


def _settle(flow: Flow, before: State, rang: bool) -> None:
    """What follows: what is in force now, and the timers of silence. `rang`: the isolation's did, perhaps too early."""
    flow.flush()
    state = flow.state
    now = listen_for(listening(state))
    if now != state.listening:
        flow.change(listening=now)
        flow.emit(now)
    if state.closed:
        flow.emit(DropTimer("wait"), DropTimer("break"), DropTimer("quiet"))
        return
    if before.overlay is not Overlay.NONE and state.overlay is Overlay.NONE and _wait_over(state):
        flow.emit(SetTimer("wait", 0.0))
    since, was = state.interlock, before.interlock
    held = since.held
    if held and (rang or since.last_heard != was.last_heard or since.proved_at != was.proved_at or since.holds != was.holds):
        flow.emit(SetTimer("break", _watched_for(state)))
    elif not held and was.held:
        flow.emit(DropTimer("break"))
    if flow.effects and not state.told_quiet:
        flow.emit(SetTimer("quiet", _patience(state)))


def _watched_for(state: State) -> float:
    """Seconds until the isolation must be checked again even if nobody speaks: the silence is too long, or energy may have
    come back while hands are near."""
    ends = state.interlock.last_heard + state.break_seconds
    returns = next_return(state.interlock)
    return max(0.0, (ends if returns is None else min(ends, returns)) - state.now) + 1


def _patience(state: State) -> float:
    """A person doing the work of a step is not asked where they are before that work can be done."""
    minutes = state.step.minutes if state.step is not None and state.step.minutes is not None else 0.0
    return max(QUIET_SECONDS, 90.0 * minutes)


# ---- utterances -----------------------------------------------------------------------------------------------------


def _utterance(flow: Flow, utterance: events.Utterance) -> None:
    """An alarm need only be likely; so need 'power is on' while anything is isolated. Otherwise, what was accepted acts,
    what is likely is read back, and what was meant for the program but not understood is asked for again. A bystander gets
    no answer."""
    state = flow.state
    utterance = replace(utterance, ended=min(utterance.ended, flow.now))  # no ear hears what is still to be said
    likely = utterance.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED)
    held = state.interlock.power is not Power.LIVE
    if likely and (unsure.calls_for_help(state, utterance) or (held and _power_on(state, utterance))):
        utterance = replace(utterance, verdict=Verdict.ACCEPTED)
    called = unsure.perhaps_called(flow, utterance)
    if called is not None and unsure.asks_back(flow, called, utterance):
        return
    utterance = called or utterance
    # what may deny an isolation is never met with silence, whoever seems to be meant
    live = unsure.perhaps_power_on(flow, utterance)
    again = utterance.verdict == Verdict.ASKED_AGAIN and not live and not unsure.may_deny(flow, utterance)
    if again or (utterance.verdict == Verdict.NOT_FOR_ME and not live):
        if again or not state.waiting or besides.adds_complaint(flow, utterance):
            unsure.answer_if_meant(flow, utterance)
        return
    if utterance.verdict == Verdict.PROPOSED and not live and not unsure.guarded(flow):
        unsure.propose(flow, utterance)
        return
    if utterance.verdict != Verdict.ACCEPTED:
        unsure.ask_again(flow, utterance)
        return
    level = usual_level(state.level, utterance.level)
    flow.change(told_quiet=False, interlock=spoke(state.interlock, flow.now), level=level, unanswered=None)
    flow.tone("heard")
    if is_command(utterance, *LEARNED):
        flow.change(learned=flow.state.learned | {LEARNED[utterance.text]})
    if _power_on(state, utterance):
        phrases.power_is_on(flow)
        return
    over = state.overlay not in (Overlay.NONE, Overlay.PROPOSAL)
    if (over and not is_command(utterance, *OVER_ALL)) or not phrases.use(flow, utterance):
        _answered(flow, utterance)


#: What is heard during any overlay.
OVER_ALL = ("help", "stop", *EMERGENCY)


def _power_on(state: State, utterance: events.Utterance) -> bool:
    """Somebody said that the power is on, whatever else those words could answer. After a restore has asked for the power,
    they are the answer to that."""
    asked = state.awaiting is Awaiting.RESTORE_POWER and state.overlay is Overlay.NONE
    ways = state.language.commands["power is on"]
    return not asked and (is_command(utterance, "power is on") or utterance.text.casefold() in ways)


def _answered(flow: Flow, utterance: events.Utterance) -> None:
    """Gives what was heard to the question; if it is no answer to it, the question is asked in its shortest form."""
    question, tries, meant = flow.question, flow.state.tries, echoes.settled(flow, utterance)
    flow.change(tries=0)
    if meant is None or not question.takes(flow, meant):
        flow.change(tries=tries)
        unsure.missed(flow)


# ---- everything else ------------------------------------------------------------------------------------------------


def _opened(flow: Flow, event: events.Opened) -> None:
    state = flow.state
    form = Form(event.form) if event.form in set(Form) else Form.USUAL
    flow.change(began=flow.now, technician=event.technician, form=form, emergency=event.emergency)
    flow.change(technicians=event.technicians, questions=event.questions, facts=facts.given(event.known, flow.now))
    title = "" if state.book.main == VISIT else state.book.procedures[state.book.main].title
    flow.heard(flow.sentence("welcome-to", title=title) if title else flow.sentence("welcome"))
    move(flow, (places.first(state.book, state.book.main),))


def _timer(flow: Flow, event: events.TimerRang) -> None:
    if event.timer == "wait" and flow.state.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT):
        _wait_rang(flow)
    elif event.timer == "quiet" and flow.state.overlay is Overlay.NONE and flow.state.awaiting is not Awaiting.WAIT:
        flow.change(told_quiet=True)
        flow.prompt("quiet", "notice", text=_whereabouts(flow))
    elif event.timer == desk_asks.DESK_TIMER:
        desk_asks.rang(flow)


def _wait_rang(flow: Flow) -> None:
    """An overlay outlasts the wait below it: the next step must not hear a note, or an answer to whether to stop, and
    during a stand-by only 'go ahead' counts; after a shock it is silent. `_settle` rings again once the overlay is gone."""
    state, over = flow.state, _wait_over(flow.state)
    if over and state.overlay in (Overlay.NONE, Overlay.STAND_BY) and not state.halted:
        flow.tone("waiting")
        if state.form is not Form.SHORT and state.frames not in state.trail:  # later the tone and what follows say it
            flow.heard(flow.sentence("wait-over"))
    if state.overlay is Overlay.NONE and over:
        forward(flow)
    elif not over:
        if state.overlay is Overlay.NONE:
            flow.prompt("half-time", "notice", time=wait_left(flow))
        flow.change(half=False)
        set_wait_timer(flow)


def _wait_over(state: State) -> bool:
    return state.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT) and state.now >= state.wait_ends - 0.5


def _whereabouts(flow: Flow) -> str:
    """The words of what is awaited, never those of a step that may not be spoken now: after a day away the lock number is
    asked for while the visit still stands at its step, and a restore must not be announced as 'power comes back'."""
    state = flow.state
    step, awaiting = state.step, state.awaiting
    if step is None or state.shut or awaiting in (*GATES, *PERSONS):
        return flow.question.asks(flow)
    if isinstance(step, model.Restore):
        if awaiting is Awaiting.RESTORE_CHECK:
            return restore_checks(flow)[state.check]
        return step.power if awaiting is Awaiting.RESTORE_POWER else flow.question.asks(flow)
    return step.say


def _attached(flow: Flow, event: events.Attached) -> None:
    """What has come in is told, because the technician cannot look. What a log measured counts for the stock."""
    kept = tuple(Sample("food", (), event.file, minute, value) for minute, value in event.rows)
    flow.change(series=(*kept, *flow.state.series))
    notes.came_in(flow, event)
    if not flow.state.frames or flow.state.overlay is not Overlay.NONE:
        return
    if event.amiss:
        flow.prompt("log-unread", "notice", why=event.amiss)
    elif event.share >= 0:
        flow.prompt("log-duty", "notice", hours=f"{event.hours:g}", share=f"{100 * event.share:.0f}", starts=event.starts)
    elif event.rows:
        warmest = max(value for _, value in event.rows)
        language = flow.state.language
        said = (language.say_quantity(round(warmest * 1.8 + 32), "degF"), language.say_quantity(round(warmest, 1), "degC"))
        flow.prompt("log-kept", "notice", hours=f"{event.hours:g}", warmest=", ".join(said))
    else:
        flow.prompt("photo-kept", "notice")


def _sound_lost(flow: Flow, event: events.SoundLost) -> None:
    """Nobody can speak to the program now: the gate closes and the visit stands by."""
    shut, halted = flow.state.interlock.power is not Power.LIVE, flow.state.halted
    if shut:
        clear(flow, SourceEvent.RESUMED, flow.sentence("why-resume"))
    _unheard(flow)
    flow.prompt("sound-lost", "notice", cuttable=False, what=flow.sentence(f"part-{event.what}"))
    flow.change(overlay=Overlay.STAND_BY, lost=flow.state.lost | {event.what} | ({CLEARED} if shut or halted else set()))


def _unheard(flow: Flow) -> None:
    """The words of this step may have been cut off: they count as never spoken, and a caution must be heard to its end."""
    flow.change(spoken=frozenset(one for one in flow.state.spoken if one[0] != flow.state.frames))


def _sound_back(flow: Flow, event: events.SoundBack) -> None:
    """The visit stands by, and says so, whatever went on while nobody could speak: 'go ahead' must not pass a step unheard.
    It is said once, with the last part that comes back: one plug takes both. So is that an isolation is cleared."""
    left = flow.state.lost - {event.what}
    flow.change(overlay=Overlay.STAND_BY, lost=left if left - {CLEARED} else frozenset())
    if not flow.state.lost:
        if left and flow.state.interlock.power is not Power.ISOLATED:  # somebody may have typed meanwhile
            flow.prompt("isolation-cleared", "notice", cuttable=False, why=flow.sentence("why-resume"))
        flow.prompt("sound-back", "notice")


def _sound_dropped(flow: Flow, event: events.SoundDropped) -> None:
    if event.speech:
        flow.prompt("sound-dropped", "question")


def _clock_moved(flow: Flow, event: events.ClockMoved) -> None:
    flow.prompt("clock-moved", "notice")


def _resumed(flow: Flow, event: events.Resumed) -> None:
    """Every source is LIVE. The program says the place and the locks that are on, and the visit goes on from there."""
    state = flow.state
    was, away = state.interlock, flow.now - max(state.interlock.last_heard, state.began)
    # listening: the ear is a new one and has been told of nothing, even where the same is in force as before
    flow.change(outcome="", fault="", overlay=Overlay.NONE, pending=None, tries=0, told_quiet=False, listening=None,
                lost=frozenset(), joining="", another=False, lock_offered=(), coming=Awaiting.NOTHING, halted=False,
                just_kept=())  # fmt: skip
    _unheard(flow)
    if was.power is not Power.LIVE or was.doubt or CLEARED in state.lost or state.halted:
        flow.turn_lock(SourceEvent.RESUMED, flow.sentence("why-resume"))
        flow.prompt("isolation-cleared", "notice", cuttable=False, why=flow.sentence("why-resume"))
    tell_locks(flow)
    if event.barred:
        _bar(flow, event)
        return
    if not state.frames:
        move(flow, (places.first(state.book, state.book.main),))
        return
    if event.unrecorded:
        flow.emit(*state.found)
        if isinstance(state.step, model.Handover):
            record(flow, state.step)
    number = places.number_of(state.book, state.frames)
    flow.prompt("resumed", "notice", title=state.procedure.title, number=number)
    _who_is_here(flow, event, away)
    take_up(flow)


def _who_is_here(flow: Flow, event: events.Resumed, away: float) -> None:
    """After a stop, a day, or under another name, everybody here states their number again."""
    state = flow.state
    another = event.technician not in ("", state.technician)
    if another or away > DAY_BREAK_SECONDS or event.why == "stopped":
        flow.change(interlock=nobody(state.interlock), trail=(), technician=event.technician or state.technician,
                    learned=frozenset())  # fmt: skip


def _bar(flow: Flow, event: events.Resumed) -> None:
    """The procedure may no longer run: nothing of it is read, and the locks that are on come off."""
    flow.prompt("barred", "notice", cuttable=False)
    flow.change(interlock=nobody(flow.state.interlock), technician=event.technician or flow.state.technician)
    flow.state = wayout.restoring(flow.state)
    move(flow, flow.state.frames)


def _stop_asked(flow: Flow, event: events.StopAsked) -> None:
    flow.prompt("stop-asked", "notice", cuttable=False, why=event.why)
    if not desk_asks.stopped(flow):
        stop(flow, event.why)


def _prompt_ended(flow: Flow, event: events.PromptEnded) -> None:
    """From this moment on an answer is to be expected."""
    if event.said == flow.state.said - 1:
        flow.change(heard_out=flow.now, ended=event.said)


def _fault_met(flow: Flow, event: events.FaultMet) -> None:
    """The ear, the mouth, the clock or the record failed: as unsafe as a fault of the machine itself."""
    flow.state, effects = failed(flow.state, flow.state.frames, type(event).__name__, f"{event.part}: {event.what}")
    flow.emit(*effects)


HANDLERS: dict[type[Any], Callable[[Flow, Any], None]] = {
    events.Opened: _opened,
    events.Utterance: _utterance,
    events.TimerRang: _timer,
    events.PromptEnded: _prompt_ended,
    events.NoteKept: notes.note_kept,
    events.Attached: _attached,
    events.SoundLost: _sound_lost,
    events.SoundBack: _sound_back,
    events.SoundDropped: _sound_dropped,
    events.ClockMoved: _clock_moved,
    events.Resumed: _resumed,
    events.StopAsked: _stop_asked,
    events.FaultMet: _fault_met,
}


#: What the runner is given.
MACHINE: Machine[State] = Machine(advance, lambda state: state.language.prompt("unrecorded"))
