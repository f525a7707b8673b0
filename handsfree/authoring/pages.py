"""Records a cabinet's page: it asks for each field, reads back what was dictated, and saves the page as it grows.

Rules of this file:

- 'Skip it' leaves a group out (for keys and single values, only that value), 'that is all' ends rows, 'correction' begins
  the group again, 'stop recording' ends; what is saved stays.
- Nothing is saved that the schema of pages refuses: the program says what is wrong, and asks for the group again.
- What two witnesses heard as one of the words that pages have, or as a number, is kept and said in the next sentence. Other
  dictated words are read back. Where they are wrong, the writer says them anew, with no 'negative' before, or types them:
  what is typed is never read back.
- What the file already has is not asked again. No input or output here: the caller performs `PageSave`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

from handsfree.authoring.page_fields import COUNTS, GROUPS, Data, Group, Slot, as_written, is_filled, text_of, with_row
from handsfree.authoring.words import RecorderWords
from handsfree.dialogue.listening import listen_for
from handsfree.dialogue.question import Consequence, OwnEffect, Question, Turn
from handsfree.journal import events
from handsfree.language.meaning import YES, YES_NO, Listening, NumberAsked, Sense, Verdict
from handsfree.procedure import cabinet
from handsfree.procedure.load import FileProblems


@dataclass(frozen=True)
class PageSave(OwnEffect):
    """Write the page as it is now."""

    page: Data


@dataclass(frozen=True)
class PageState:
    """`at`: (group, slot). `row`: the answers of the current group. `pending`: dictated words that were read back;
    `misheard`: how often those of this answer were wrong."""

    words: RecorderWords
    page: Data
    at: tuple[int, int] = (0, 0)
    row: Data = field(default_factory=dict)
    pending: str = ""
    said: int = 0
    tries: int = 0
    misheard: int = 0
    outcome: str = ""
    listening: Listening | None = None
    rate: int = 0
    volume: int = 0

    waiting: ClassVar[bool] = False

    @property
    def asked(self) -> str:
        return "read back" if self.pending else "field"

    @property
    def closed(self) -> bool:
        return bool(self.outcome)

    @property
    def group(self) -> Group:
        return GROUPS[self.at[0]]

    @property
    def slot(self) -> Slot:
        return self.group.slots[self.at[1]]


class PageTurn(Turn[PageState]):
    def sentence(self, key: str, **values: object) -> str:
        return self.state.words.prompt(key, **values)


def start(words: RecorderWords, page: Data) -> PageState:
    """`page`: what the file says already; its name is in it."""
    return _onward(PageState(words, page), (0, 0))


def advance(state: PageState, happening: events.Stamped) -> tuple[PageState, tuple[Any, ...]]:
    """Effects are those of the journal, and `PageSave`."""
    handle = HANDLERS.get(type(happening.event))
    if handle is None or state.closed:
        return state, ()
    turn = PageTurn(state, QUESTIONS)
    handle(turn, happening.event)
    if not turn.state.closed and (listening := turn.question.hears(turn)) != turn.state.listening:
        turn.change(listening=listening)
        turn.emit(listen_for(listening))
    if not turn.state.closed and turn.question.hears(turn).note:
        turn.emit(events.KeepNote(turn.state.slot.key))
    return turn.state, tuple(turn.effects)


# ---- where it stands ------------------------------------------------------------------------------------------------


def _onward(state: PageState, at: tuple[int, int]) -> PageState:
    """To the first empty slot from there on; closed if there is none. Rows are asked for once more, because there may be
    others."""
    group, slot = at
    while group < len(GROUPS):
        here = GROUPS[group]
        for number in range(slot, len(here.slots) if here.form == "one" else min(slot + 1, len(here.slots))):
            if here.form == "rows" or not is_filled(state.page, here, here.slots[number]):
                return replace(state, at=(group, number), row={}, pending="", tries=0, misheard=0)
        group, slot = group + 1, 0
    return replace(state, row={}, pending="", outcome="finished")


def _next(turn: PageTurn) -> None:
    """After a group is done, or skipped."""
    turn.state = _onward(turn.state, (turn.state.at[0] + 1, 0))
    _ask(turn)


def _ask(turn: PageTurn) -> None:
    if turn.state.closed:
        turn.prompt("page-finished", "notice")
        turn.emit(events.Closed(turn.state.outcome))
    else:
        turn.question.says(turn)


# ---- what is asked --------------------------------------------------------------------------------------------------


def _put(turn: PageTurn) -> str:
    state = turn.state
    more = state.group.form == "rows" and state.at[1] == 0
    text = turn.sentence(f"page-{state.slot.key}", part=state.row.get("part") or state.row.get("named") or "")
    return f"{text} {turn.sentence('page-or-all')}" if more else text


def _hears(turn: PageTurn) -> Listening:
    slot, words = turn.state.slot, turn.state.words
    ways = (*words.ways("stop recording"), *words.ways("that is all"), *words.ways("skip"))
    named = ("say again", "correction", "skip it")
    if slot.kind == "number":
        return Listening(phrases=ways, number=NumberAsked(slot.unit, 0, slot.most), commands=named)
    if slot.kind == "yes":
        return Listening(phrases=ways, commands=named, also=("yes", "no", "affirm", "negative"))
    return Listening(phrases=ways, commands=named, note=True)


def _takes(turn: PageTurn, event: events.Utterance) -> bool:
    slot = turn.state.slot
    if event.sense == Sense.NUMBER and slot.kind == "number" and event.value is not None:
        value = _whole(event.value)
        if slot.key in COUNTS and not isinstance(value, int):
            return False
        if event.verdict == Verdict.PROPOSED:
            turn.change(pending=f"{value:g}")
            _ask(turn)
            return True
        if not event.typed:
            turn.heard(f"{turn.state.words.language.say_number(value)}.")
        _kept(turn, value)
        return True
    if event.sense == Sense.COMMAND and slot.kind == "yes" and event.text in YES_NO:
        if not event.typed:
            turn.heard(turn.sentence("page-yes" if event.text in YES else "page-no"))
        _kept(turn, event.text in YES)
        return True
    return False


def _whole(value: float) -> float:
    return int(value) if value == int(value) else value


def _hears_yes(turn: PageTurn) -> Listening:
    slot = turn.state.slot
    number = NumberAsked(slot.unit, 0, slot.most) if slot.kind == "number" else None
    return Listening(number=number, commands=("say again", "correction"), also=YES_NO, note=number is None)


def _takes_yes(turn: PageTurn, event: events.Utterance) -> bool:
    if event.sense == Sense.NUMBER:
        turn.change(pending="", misheard=turn.state.misheard + 1)
        return _takes(turn, event)
    if event.sense != Sense.COMMAND or event.text not in YES_NO:
        return False
    text, kind = turn.state.pending, turn.state.slot.kind
    turn.change(pending="")
    if event.text in YES:
        _kept(turn, _whole(float(text)) if kind == "number" else text)
    else:
        turn.change(misheard=turn.state.misheard + 1)
        _ask(turn)
    return True


def _read_back(turn: PageTurn) -> str:
    """What was misheard twice is misheard again: then the keyboard is offered."""
    return turn.sentence("page-read-back-again" if turn.state.misheard else "page-read-back", text=turn.state.pending)


QUESTIONS: Mapping[str, Question[Any, Any]] = {
    "field": Question(lambda turn: turn.say(_put(turn), "question"), _hears, _takes, _put, stake=Consequence.ANSWER),
    "read back": Question(
        lambda turn: turn.say(_read_back(turn), "readback"), _hears_yes, _takes_yes, _read_back, stake=Consequence.ANSWER,
    ),
}  # fmt: skip


# ---- what was answered ----------------------------------------------------------------------------------------------


def _kept(turn: PageTurn, value: Any) -> None:
    """An answer of the current group; after its last one the group is put into the page, if it is valid."""
    state = turn.state
    row = {**state.row, state.slot.key: value}
    if state.group.form != "one" and state.at[1] + 1 < len(state.group.slots):
        turn.change(row=row, at=(state.at[0], state.at[1] + 1), pending="", tries=0, misheard=0)
        _ask(turn)
        return
    page = with_row(state.page, state.group, row)
    try:
        cabinet.parse(text_of(page))
    except FileProblems as faults:
        turn.prompt("page-fault", "notice", fault=faults.problems[0].sentence)
        turn.change(row={}, pending="", at=(state.at[0], state.at[1] if state.group.form == "one" else 0))
        _ask(turn)
        return
    turn.change(page=page)
    turn.emit(PageSave(page))
    following = {"one": (state.at[0], state.at[1] + 1), "rows": (state.at[0], 0)}.get(state.group.form, (state.at[0] + 1, 0))
    turn.state = _onward(turn.state, following)
    _ask(turn)


def _free(turn: PageTurn, text: str, *, read_back: bool) -> None:
    words, slot = turn.state.words, turn.state.slot
    if not turn.question.hears(turn).note:
        return
    if turn.state.pending and (answer := _answer(turn, text)):
        if read_back and answer in YES:  # one witness alone wrote it
            _again(turn)
        else:
            turn.question.takes(turn, events.Utterance(Verdict.ACCEPTED, Sense.COMMAND, answer))
        return
    if (found := _order(words, text)) and _ordered(turn, found):
        return
    clean = as_written(slot, text, words)
    if not clean:
        _again(turn)
    elif slot.kind == "refrigerant" and not re.fullmatch(cabinet.REFRIGERANT, clean):
        turn.prompt("page-as-written", "notice", text=clean)  # here, before five more answers are given
        _again(turn)
    elif read_back:
        turn.change(pending=clean, misheard=turn.state.misheard + bool(turn.state.pending))
        _ask(turn)
    else:
        _kept(turn, clean)


def _answer(turn: PageTurn, text: str) -> str:
    """What a text says to what was read back, if it is nothing else."""
    language = turn.state.words.language
    meanings = language.understand(text, replace(turn.question.hears(turn), note=False, own_words=True))
    said, affirms = set(turn.state.words.tokens(text)), " ".join(language.commands["affirm"])
    plain = language.hints["plain"] | language.hints["denying"] | set(turn.state.words.tokens(affirms))
    if any(meaning.sense is Sense.DENIAL for meaning in meanings) or (said & language.hints["denying"] and said <= plain):
        return "negative"
    return next((one.text for one in meanings if one.sense is Sense.COMMAND and one.text in YES_NO), "")


def _order(words: RecorderWords, text: str) -> str:
    """What a text commands, if it is nothing else: to stop, to end rows, to leave out."""
    said = " ".join(words.tokens(text))
    own = next((name for name in ("stop recording", "that is all", "skip") if words.says(text, name)), "")
    commands = words.language.commands
    return own or next((name for name in ("say again", "correction", "skip it") if said in commands[name]), "")


def _ordered(turn: PageTurn, order: str) -> bool:
    state = turn.state
    if order == "stop recording":
        _stop(turn, None)
    elif order == "say again":
        _ask(turn)
    elif order == "correction":
        turn.change(row={}, pending="", at=(state.at[0], state.at[1] if state.group.form == "one" else 0))
        _ask(turn)
    elif order == "that is all" and state.group.form == "rows" and state.at[1] == 0:
        _next(turn)
    elif order in ("skip", "skip it") and state.slot.key != "title":
        if state.group.form == "one":
            turn.state = _onward(state, (state.at[0], state.at[1] + 1))
            _ask(turn)
        else:
            _next(turn)
    else:
        return False
    return True


# ---- happenings -----------------------------------------------------------------------------------------------------


def _opened(turn: PageTurn, event: events.Opened) -> None:
    turn.prompt("page-begin", "notice", name=turn.state.page["cabinet"])
    _ask(turn)


def _utterance(turn: PageTurn, event: events.Utterance) -> None:
    likely = event.verdict == Verdict.PROPOSED and event.sense == Sense.NUMBER
    if event.verdict != Verdict.ACCEPTED and not (likely and turn.question.takes(turn, event)):
        if event.verdict == Verdict.ASKED_AGAIN or event.words:
            _again(turn)
        return
    if event.verdict != Verdict.ACCEPTED:
        return
    if event.sense == "dictated":
        _free(turn, event.text, read_back=True)
        return
    if event.sense == Sense.PHRASE and not _order(turn.state.words, event.text):
        turn.heard(f"{event.text}.")
        _free(turn, event.text, read_back=False)
        return
    order = event.text if event.sense == Sense.COMMAND else _order(turn.state.words, event.text)
    if not (order and _ordered(turn, order)) and not turn.question.takes(turn, event):
        _again(turn)


def _note(turn: PageTurn, event: events.NoteKept) -> None:
    """Typed: the writer sees it while typing, so it needs no reading back."""
    _free(turn, event.text, read_back=False)


def _again(turn: PageTurn) -> None:
    turn.change(tries=turn.state.tries + 1)
    turn.tone("not understood")
    if turn.state.tries > 1:
        turn.prompt("page-help", "help")
    turn.say(turn.question.asks(turn), "question")


def _stop(turn: PageTurn, event: Any) -> None:
    turn.prompt("stopped", "notice")
    turn.change(outcome="stopped")
    turn.emit(events.Closed("stopped"))


HANDLERS: Mapping[type[Any], Callable[[PageTurn, Any], None]] = {
    events.Opened: _opened, events.Utterance: _utterance, events.NoteKept: _note,
    events.StopAsked: _stop, events.FaultMet: _stop,
}  # fmt: skip
