"""Recording as a machine: `advance(state, happening) -> (state, effects)`, like `visit/machine.py`.

The rules of this file:

- No input or output, no clock: the record of a recording is its happenings, and running them again resumes it.
- An answer acts when its verdict is *accepted*, or when the same choice or number was heard twice in a row, even if not
  surely: everything is read back before a step is kept. 'Affirm', which may delete, is never accepted in this way.
- Free words are an answer only when free words are asked for.
- A step is in the procedure only after the writer has said 'keep'; from then on it is saved.
- Nothing is deleted without being affirmed twice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from handsfree.authoring import cases, rearranging, settling, slots
from handsfree.authoring.draft import Doubt, Draft
from handsfree.authoring.questions import MAIN, can_say
from handsfree.authoring.turn import RecorderRow, RecorderState, RecorderTurn, Reply, Save
from handsfree.authoring.words import RecorderWords
from handsfree.dialogue.listening import listen_for
from handsfree.dialogue.meant import TOO_EARLY
from handsfree.dialogue.question import OwnEffect
from handsfree.journal import events
from handsfree.language.meaning import Sense, Verdict

#: The sense of an utterance that is free words; its rivals are (word, what it may be, its place from 0).
DICTATED = "dictated"
QUESTIONS: dict[str, RecorderRow] = {
    **slots.QUESTIONS, **cases.QUESTIONS, **rearranging.QUESTIONS, **settling.QUESTIONS, **MAIN,
}  # fmt: skip


def start(draft: Draft, words: RecorderWords, procedures: tuple[str, ...] = ()) -> RecorderState:
    """The state before anything happened. The first happening must be Opened."""
    return RecorderState(words, draft, procedures)


def advance(state: RecorderState, happening: events.Stamped) -> tuple[RecorderState, tuple[events.Effect | OwnEffect, ...]]:
    """Effects are those of the journal, and `Save` and `CheckIt`, which the runner performs and nobody records."""
    handle = HANDLERS.get(type(happening.event))
    if handle is None or (state.closed and not isinstance(happening.event, events.Resumed)):
        return state, ()
    turn = RecorderTurn(state, QUESTIONS)
    handle(turn, happening.event)
    _settle(turn)
    return turn.state, tuple(turn.effects)


def _settle(turn: RecorderTurn) -> None:
    """What is in force now."""
    if turn.state.closed:
        return
    listening = turn.question.hears(turn)
    if listening != turn.state.listening:
        turn.change(listening=listening)
        turn.emit(listen_for(listening))
    if listening.note:
        turn.emit(events.KeepNote(turn.state.at))


def present(turn: RecorderTurn) -> None:
    """Say the current question; if a step is in work and nothing else is asked, find the next slot."""
    if turn.state.at == "" and turn.state.step is not None:
        turn.change(at=slots.next_slot(turn) or "review")
    elif turn.state.at == "":
        turn.change(at="idle")
    turn.question.says(turn)


def _opened(turn: RecorderTurn, event: events.Opened) -> None:
    turn.prompt("begin", "notice", name=turn.state.draft.name)
    turn.change(at="idle" if turn.state.draft.header.get("title") else "title")
    turn.emit(Save(turn.state.draft))
    present(turn)


def _resumed(turn: RecorderTurn, event: events.Resumed) -> None:
    """The step in work is where it was: every happening up to the crash is in the record."""
    turn.change(outcome="", tries=0, listening=None)
    count = len(turn.state.draft.steps)
    words = ("no-steps", "one-step")[count] if count < 2 else "many-steps"
    kept = turn.words.prompt(words, n=turn.spoken(count))
    turn.prompt("resumed", "notice", name=turn.state.draft.name, count=kept)
    turn.emit(Save(turn.state.draft))
    present(turn)


def _note(turn: RecorderTurn, event: events.NoteKept) -> None:
    """Free words from the keyboard, or from an ear that has no doubts of its own."""
    _free_words(turn, Reply(text=event.text, clip=event.clip))


def _free_words(turn: RecorderTurn, reply: Reply) -> None:
    """A phrase that always works counts as such, even among free words, if it is said alone."""
    if turn.state.listening is None or not turn.state.listening.note:
        return
    said, commands = " ".join(turn.words.tokens(reply.text)), turn.words.language.commands
    command = next((name for name in slots.EVER if said in commands[name]), "")
    if command:
        _command(turn, command)
    else:
        _answered(turn, reply)


def _utterance(turn: RecorderTurn, event: events.Utterance) -> None:
    if event.verdict == Verdict.NOT_FOR_ME:
        if event.engine and event.words and not event.reason.startswith(TOO_EARLY):  # the writer alone speaks here
            turn.tone("not understood")
            _ask_again(turn)
        return
    if event.verdict != Verdict.ACCEPTED and not _harmless(turn, event) and not _twice(turn, event):
        turn.tone("not understood")
        _ask_again(turn)
        return
    turn.change(nearly=("", None))
    if event.sense == DICTATED:
        _free_words(turn, Reply(text=event.text, clip=event.clip, doubts=doubts_of(event)))
    elif event.sense == Sense.COMMAND:
        _command(turn, event.text)
    elif event.sense == Sense.NUMBER:
        _answered(turn, Reply(value=event.value, unit=event.unit, clip=event.clip))
    elif event.sense == Sense.PHRASE:
        _answered(turn, Reply(phrase=event.text, clip=event.clip))
    else:
        _ask_again(turn)


def _harmless(turn: RecorderTurn, event: events.Utterance) -> bool:
    """Likely, and it keeps, deletes or ends nothing: the writer hears at once what was understood."""
    if event.verdict != Verdict.PROPOSED or event.sense not in (Sense.PHRASE, Sense.NUMBER):
        return False
    return not any(turn.words.says(event.text, command) for command in GRAVE)


#: For these a likely word is not enough.
GRAVE = ("keep", "delete", "finish", "stop recording", "that is all")


def _twice(turn: RecorderTurn, event: events.Utterance) -> bool:
    """The same again, after it was not sure enough the first time; not a near tie, not a denial."""
    if event.sense not in (Sense.PHRASE, Sense.NUMBER) or event.rivals:
        return False
    heard = (event.text, event.value)
    same = turn.state.nearly == heard
    turn.change(nearly=heard)
    return same


def doubts_of(event: events.Utterance) -> tuple[Doubt, ...]:
    found: dict[int, Doubt] = {}
    for word, other, place in event.rivals:
        at = int(place or 0)
        known = found.get(at, Doubt(at, word, ()))
        found[at] = replace(known, others=(*known.others, other))
    return tuple(found[at] for at in sorted(found))


def _command(turn: RecorderTurn, name: str) -> None:
    if name == "say again":
        present(turn)
    elif name in ("what can i say", "help"):
        turn.prompt("can-say", "help", choices=turn.words.joined(can_say(turn)))
    elif name == "correction":
        _take_back(turn)
    else:
        _answered(turn, Reply(command=name))


def _take_back(turn: RecorderTurn) -> None:
    before, said = turn.state.undo, turn.state.said
    if before is None:
        turn.prompt("nothing-to-correct")
        return
    turn.change(**{name: getattr(before, name) for name in _TAKEN_BACK}, undo=None, said=said)
    turn.emit(Save(turn.state.draft))
    present(turn)


_TAKEN_BACK = ("draft", "at", "step", "done", "partial", "chosen", "purpose", "doubts", "pending", "spelled")


def _answered(turn: RecorderTurn, reply: Reply) -> None:
    before = replace(turn.state, undo=None)
    words = reply.text or reply.phrase
    if turn.words.says(words, "stop recording"):
        turn.prompt("stopped", "notice")
        turn.change(outcome="stopped")
        turn.emit(events.Closed("stopped"))
        return
    if settling.doubtful(turn, reply):
        settling.begin(turn, reply)
    elif not _taken(turn, reply) or ((words_settled := settling.settled(turn)) and not _taken(turn, words_settled)):
        _ask_again(turn)
        return
    turn.change(undo=before, tries=0)
    if not turn.state.closed:
        present(turn)


def _taken(turn: RecorderTurn, reply: Reply) -> bool:
    """By the current question; after a slot of the step comes the next."""
    asked = turn.state.at
    taken = turn.question.takes(turn, reply)
    if taken and turn.state.at == asked and asked in slots.QUESTIONS:
        turn.ask("")
    return taken


def _ask_again(turn: RecorderTurn) -> None:
    turn.change(tries=turn.state.tries + 1)
    if turn.state.tries < 2:
        turn.prompt("say-again", "question")
    else:
        turn.prompt("can-say", "help", choices=turn.words.joined(can_say(turn)))


def _stop_asked(turn: RecorderTurn, event: events.StopAsked) -> None:
    turn.prompt("stopped", "notice")
    turn.change(outcome="stopped")
    turn.emit(events.Closed("stopped"))


def _fault_met(turn: RecorderTurn, event: events.FaultMet) -> None:
    turn.prompt("fault", "notice")
    turn.change(outcome="stopped")
    turn.emit(events.Closed("stopped"))


def _sound_dropped(turn: RecorderTurn, event: events.SoundDropped) -> None:
    if event.speech:
        turn.prompt("say-again", "question")


HANDLERS: dict[type[Any], Callable[[RecorderTurn, Any], None]] = {
    events.Opened: _opened,
    events.Resumed: _resumed,
    events.Utterance: _utterance,
    events.NoteKept: _note,
    events.StopAsked: _stop_asked,
    events.FaultMet: _fault_met,
    events.SoundDropped: _sound_dropped,
}
