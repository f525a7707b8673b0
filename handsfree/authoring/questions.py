"""The recorder's questions that are not slots of a step: between steps, the words, the review."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from handsfree.authoring import settling
from handsfree.authoring.breath import SILENT, after_one_of, breath
from handsfree.authoring.draft import LATER, DraftStep, with_id
from handsfree.authoring.review import kind_name, review
from handsfree.authoring.said import as_sentence, facets_said, without_signal
from handsfree.authoring.slots import ALWAYS_CHANGED, FILLS, SLOTS, hear, hear_step, target_of, to_come
from handsfree.authoring.turn import CheckIt, RecorderRow, RecorderTurn, Reply, row
from handsfree.journal.events import AnswerTaken, Closed
from handsfree.language.tokens import capital

IDLE = ("new step", "change step", "move before", "delete", "read all", "check it", "finish", "stop recording")
REVIEW = ("keep", "again", "more", "mend", "change", "move before", "delete", "finish", "stop recording")

Does = dict[str, Callable[[RecorderTurn], None]]


def _said(turn: RecorderTurn, reply: Reply, commands: Sequence[str]) -> str:
    """Which command it is, chosen among those in force or found among free words; '' for none."""
    words = reply.phrase or reply.text
    return next((command for command in commands if words and turn.words.says(words, command)), "")


def _by_command(does: Does) -> Callable[[RecorderTurn, Reply], bool]:
    """Or a step in one breath; said at the review, the step that is reviewed is kept by it."""

    def take(turn: RecorderTurn, reply: Reply) -> bool:
        command = _said(turn, reply, tuple(does))
        if command:
            does[command](turn)
            return True
        return _in_a_breath(turn, reply)

    return take


def can_say(turn: RecorderTurn) -> list[str]:
    """What is in force, one way of each, for people."""
    if turn.state.at in ("idle", "finish", "review"):
        return [turn.words.taught(command) for command in (_in_review(turn) if turn.state.at == "review" else IDLE)]
    if mays := turn.question.mays(turn):
        return list(mays)
    listening = turn.state.listening
    asked = ("affirm", "negative") if listening and "affirm" in (listening.commands or ()) else ()
    number = [turn.words.prompt("a-number")] if listening and listening.number is not None else []
    phrases = [phrase for phrase in listening.phrases if phrase not in to_come(turn)][:12] if listening else []
    return [*number, *phrases, *asked] or [turn.words.taught("stop recording")]


def _in_review(turn: RecorderTurn) -> tuple[str, ...]:
    return (*REVIEW, "settle") if turn.step.doubts else REVIEW


# ---- between steps ----------------------------------------------------------------------------------------------------


def _new(turn: RecorderTurn) -> None:
    step = DraftStep(max(turn.state.draft.next_uid, turn.state.chosen + 1))
    turn.change(step=step, chosen=step.uid, done=frozenset(), partial={})
    turn.ask("words")


def _in_a_breath(turn: RecorderTurn, reply: Reply) -> bool:
    """Fewer than three words are not a step: more likely a misheard command."""
    if len(turn.words.tokens(reply.text)) < _LEAST_WORDS:
        return False
    purpose = after_one_of(reply.text, turn.words.ways("cue_purpose"), turn.words)
    if purpose and turn.state.step is None:
        told = as_sentence(purpose, turn.words, bool(reply.clip))
        turn.change(draft=replace(turn.state.draft, header={**turn.state.draft.header, "purpose": told}))
        turn.save()
        turn.prompt("purpose-kept")
        turn.ask("idle")
        return True
    if turn.state.step is not None:
        _keep(turn)
    _new(turn)
    numbers = {at: one.uid for at, one in enumerate(turn.state.draft.steps, 1)}
    text, facets = breath(as_sentence(reply.text, turn.words, bool(reply.clip)), turn.words, numbers)
    if facets.get("kind") == "caution":
        text = without_signal(text, turn.words)
    step = replace(turn.step, text=capital(text), facets=facets, clips=(reply.clip,) if reply.clip else ())
    turn.change(step=step, done=SILENT)
    turn.unsure("say", reply.doubts)
    turn.ask("")
    return True


_LEAST_WORDS = 3


def _which(purpose: str) -> Callable[[RecorderTurn], None]:
    def ask(turn: RecorderTurn) -> None:
        if not turn.state.draft.steps:
            turn.prompt("no-steps-yet")
            turn.ask("idle")
            return
        turn.change(purpose=purpose)
        turn.ask("which")

    return ask


def _read_all(turn: RecorderTurn) -> None:
    for at, step in enumerate(turn.state.draft.steps, 1):
        turn.prompt("one-of-all", number=turn.spoken(at), kind=kind_name(step, turn.words), text=step.text)
    turn.ask("idle")


def _check(turn: RecorderTurn) -> None:
    turn.save()
    turn.emit(CheckIt())
    turn.ask("idle")


def _finish(turn: RecorderTurn) -> None:
    """First it asks for what is open, then it reads the check aloud, then the second 'finish' closes it."""
    if not turn.state.draft.steps:
        turn.prompt("no-steps-yet")
        turn.ask("idle")
    elif _open_end(turn) is not None:
        turn.ask("open-end")
    else:
        if turn.state.draft.doubts:
            turn.prompt("unsettled-title", "notice", words=", ".join(doubt.word for doubt in turn.state.draft.doubts))
        for at, step in enumerate(turn.state.draft.steps, 1):
            if step.unsure:
                turn.prompt("unsettled", "notice", number=turn.spoken(at), words=", ".join(step.unsure))
        _check(turn)
        turn.ask("finish")


def _finish_again(turn: RecorderTurn) -> None:
    turn.save()
    turn.prompt("finished", "notice")
    turn.change(outcome="finished")
    turn.emit(Closed("finished"))


def _keep_and_finish(turn: RecorderTurn) -> None:
    _keep(turn)
    _finish(turn)


def _open_end(turn: RecorderTurn) -> tuple[DraftStep, int] | None:
    """The first step with a target to come, and which of its answers it is (-1: the step itself)."""
    for step in turn.state.draft.steps:
        for at, answer in enumerate(step.facets.get("answers", ())):
            if answer.get("go") == LATER:
                return step, at
        if LATER in (step.facets.get("go"), step.facets.get("otherwise")):
            return step, -1
        for at, case in enumerate(step.facets.get("cases", ())):
            if case.get("go") == LATER:
                return step, at
    return None


def _ask_open_end(turn: RecorderTurn) -> str:
    found = _open_end(turn)
    assert found is not None
    step, at = found
    number = turn.spoken(turn.state.draft.place(step.uid) + 1)
    if at >= 0 and "answers" in step.facets:
        return turn.words.prompt("open-ends", number=number, answer=step.facets["answers"][at]["say"])
    return turn.words.prompt("open-end-go", number=number)


def _take_open_end(turn: RecorderTurn, reply: Reply) -> bool:
    understood, to = target_of(turn, reply)
    found = _open_end(turn)
    if not understood or found is None:
        return False
    step, at = found
    if at < 0:
        facet = "go" if step.facets.get("go") == LATER else "otherwise"
        step = step.having(**{facet: to})
    else:
        facet = "answers" if "answers" in step.facets else "cases"
        items = list(step.facets[facet])
        items[at] = {**items[at], "go": to}
        step = step.having(**{facet: items})
    turn.change(draft=turn.state.draft.with_step(step))
    turn.save()
    _finish(turn)
    return True


# ---- the words --------------------------------------------------------------------------------------------------------


def _ask_words(turn: RecorderTurn) -> str:
    key = {"again": "words-again", "more": "words-more"}.get(turn.state.purpose, "words")
    return turn.words.prompt(key, **({} if key == "words-more" else {"number": turn.spoken(turn.number)}))


def _take_words(turn: RecorderTurn, reply: Reply) -> bool:
    text = as_sentence(reply.text, turn.words, bool(reply.clip))
    if not text:
        turn.prompt("heard-no-words", "question")
        return True
    step, more = turn.step, turn.state.purpose == "more"
    clips = ((*step.clips, reply.clip) if more and step.clips else (reply.clip,)) if reply.clip else ()
    whole = f"{step.text} {text}" if more else text
    facets = {key: value for key, value in step.facets.items() if key not in ("sound", "sound_of")}
    said = facets_said(whole, turn.words)
    if facets.get("kind") not in (None, said.get("kind")):
        said = {key: value for key, value in said.items() if key == "hazards"}
    if {**said, **facets}.get("kind") == "caution":
        whole = without_signal(whole, turn.words)
    kept = step.doubts if more else tuple(doubt for doubt in step.doubts if doubt.field not in ("", "say"))
    turn.change(step=replace(step, text=whole, clips=clips, facets={**said, **facets}, doubts=kept), purpose="")
    turn.unsure("say", reply.doubts)
    turn.ask("")
    return True


# ---- the review -------------------------------------------------------------------------------------------------------


def _keep(turn: RecorderTurn) -> None:
    draft = turn.state.draft
    taken = [one.id for one in draft.steps if one.uid != turn.step.uid]
    step = with_id(turn.step, taken, turn.words.small)
    draft = draft.with_step(step)
    turn.change(draft=draft, step=None, done=frozenset(), partial={})
    turn.emit(AnswerTaken((draft.name,), step.id, "kept"))
    turn.save()
    turn.prompt("kept", number=turn.spoken(draft.place(step.uid) + 1))
    turn.ask("idle")


def _again(turn: RecorderTurn) -> None:
    """From the words on; it remains the same step."""
    turn.change(step=DraftStep(turn.step.uid, id=turn.step.id), done=frozenset(), partial={}, purpose="again")
    turn.ask("words")


def _more(turn: RecorderTurn) -> None:
    turn.change(purpose="more")
    turn.ask("words")


def _move_this(turn: RecorderTurn) -> None:
    """It is kept first: only steps in the procedure have a place in it."""
    uid = turn.step.uid
    _keep(turn)
    turn.change(chosen=max(uid, turn.state.chosen), purpose=f"move {uid}")
    turn.ask("move-where")


def _delete_this(turn: RecorderTurn) -> None:
    turn.change(purpose=f"delete {turn.step.uid}")
    turn.ask("delete-once")


def _changeable(turn: RecorderTurn) -> dict[str, str]:
    """Way to say it -> slot."""
    own = {FILLS.get(slot, slot) for slot in SLOTS.get(turn.step.kind, ())} | set(ALWAYS_CHANGED)
    return {way: tag for way, tag in turn.words.pairs("what") if tag in own}


def _take_change(turn: RecorderTurn, reply: Reply) -> bool:
    what = _changeable(turn).get(reply.phrase)
    if what is None:
        return False
    if what == "say":
        turn.change(purpose="again")
        turn.ask("words")
        return True
    slots = [slot for slot in SLOTS.get(turn.step.kind, ()) if FILLS.get(slot, slot) == what] or [what]
    left = tuple(doubt for doubt in turn.step.doubts if doubt.field != what)
    turn.change(done=turn.state.done - set(slots), partial={}, step=replace(turn.step, doubts=left))
    if what == "leads":
        answers = [{key: value for key, value in one.items() if key != "go"} for one in turn.step.facets.get("answers", ())]
        turn.facets(answers=answers)
    else:
        turn.facets(**{what: None})
    turn.ask(what if what in ("kind", "go") else "")
    return True


def _ask_change(turn: RecorderTurn) -> str:
    names = dict.fromkeys(_changeable(turn).values())
    choices = turn.words.joined([turn.words.name_of("what", slot) for slot in names])
    return turn.words.prompt("change-what", choices=choices)


def _take_title(turn: RecorderTurn, reply: Reply) -> bool:
    title = reply.text.strip(" .?!")
    if not title:
        return False
    draft = turn.state.draft
    header = {**draft.header, "title": capital(title)}
    turn.change(draft=replace(draft, header=header, doubts=reply.doubts))
    turn.save()
    turn.ask("idle")
    return True


_DOES_IDLE: Does = {
    "new step": _new, "change step": _which("change"), "move before": _which("move"), "delete": _which("delete"),
    "read all": _read_all, "check it": _check, "finish": _finish,
}  # fmt: skip
_DOES_REVIEW: Does = {
    "keep": _keep, "again": _again, "more": _more, "change": lambda turn: turn.ask("change-what"), "move before": _move_this,
    "delete": _delete_this, "settle": settling.again, "mend": settling.mend,
    "finish": _keep_and_finish,
}  # fmt: skip
MAIN: dict[str, RecorderRow] = {
    "title": row(lambda turn: turn.words.prompt("title"), lambda turn: hear(turn, note=True), _take_title),
    "idle": row(lambda turn: turn.words.prompt("ready"), lambda turn: hear(turn, *IDLE, note=True), _by_command(_DOES_IDLE)),
    "finish": row(
        lambda turn: turn.words.prompt("finish"), lambda turn: hear(turn, *IDLE, note=True),
        _by_command({**_DOES_IDLE, "finish": _finish_again}),
    ),
    "open-end": row(_ask_open_end, lambda turn: hear_step(turn, "following"), _take_open_end),
    "words": row(_ask_words, lambda turn: hear(turn, note=True), _take_words),
    "review": row(
        lambda turn: review(turn.step, turn.number, turn.state.draft, turn.words),
        lambda turn: hear(turn, *_in_review(turn), note=True), _by_command(_DOES_REVIEW),
    ),
    "change-what": row(_ask_change, lambda turn: hear(turn, phrases=tuple(_changeable(turn))), _take_change),
}  # fmt: skip
