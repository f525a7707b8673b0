"""The questions of the recorder that are no slot of a step: between steps, the words, settling them, the review."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from handsfree.authoring.draft import LATER, DraftStep, named
from handsfree.authoring.review import kind_name, review
from handsfree.authoring.said import facets_said, punctuated
from handsfree.authoring.slots import ALWAYS_CHANGED, FILLS, SLOTS, hear, hear_step, target_of
from handsfree.authoring.turn import CheckIt, Question, Reply, Turn
from handsfree.journal.events import AnswerTaken, Closed

IDLE = ("new step", "change step", "move before", "delete", "read all", "check it", "finish", "stop recording")
REVIEW = ("keep", "again", "more", "change", "move before", "delete", "stop recording")
MOST_SETTLED = 6  # words asked about in one step; the rest stay marked

Does = dict[str, Callable[[Turn], None]]


def _said(turn: Turn, reply: Reply, commands: Sequence[str]) -> str:
    return next((command for command in commands if reply.phrase in turn.words.ways(command)), "")


def _by_command(does: Does) -> Callable[[Turn, Reply], bool]:
    def take(turn: Turn, reply: Reply) -> bool:
        command = _said(turn, reply, tuple(does))
        if command:
            does[command](turn)
        return bool(command)

    return take


def can_say(turn: Turn, rule: str) -> list[str]:
    """What is in force, one way of each, for people. `rule`: of the question's choices."""
    if turn.state.at in ("idle", "finish", "review"):
        return [turn.words.taught(command) for command in (REVIEW if turn.state.at == "review" else IDLE)]
    if rule:
        return [turn.words.name_of(rule, tag) for tag in dict.fromkeys(tag for _, tag in turn.words.pairs(rule))]
    listening = turn.state.listening
    asked = ("affirm", "negative") if listening and "affirm" in (listening.commands or ()) else ()
    return [*(listening.phrases[:12] if listening else ()), *asked] or [turn.words.taught("stop recording")]


# ---- between steps ----------------------------------------------------------------------------------------------------


def _new(turn: Turn) -> None:
    step = DraftStep(max(turn.state.draft.next_uid, turn.state.chosen + 1))
    turn.change(step=step, chosen=step.uid, done=frozenset(), partial={})
    turn.ask("words")


def _which(purpose: str) -> Callable[[Turn], None]:
    def ask(turn: Turn) -> None:
        if not turn.state.draft.steps:
            turn.prompt("no-steps-yet")
            turn.ask("idle")
            return
        turn.change(purpose=purpose)
        turn.ask("which")

    return ask


def _read_all(turn: Turn) -> None:
    for at, step in enumerate(turn.state.draft.steps, 1):
        turn.prompt("one-of-all", number=turn.spoken(at), kind=kind_name(step, turn.words), text=step.text)
    turn.ask("idle")


def _check(turn: Turn) -> None:
    turn.save()
    turn.effects.append(CheckIt())
    turn.ask("idle")


def _finish(turn: Turn) -> None:
    """First what is open is asked for, then the check is read out, then it closes at the second word."""
    if not turn.state.draft.steps:
        turn.prompt("no-steps-yet")
        turn.ask("idle")
    elif _open_end(turn) is not None:
        turn.ask("open-end")
    else:
        for at, step in enumerate(turn.state.draft.steps, 1):
            if step.unsure:
                turn.prompt("unsettled", "notice", number=turn.spoken(at), words=", ".join(step.unsure))
        _check(turn)
        turn.ask("finish")


def _finish_again(turn: Turn) -> None:
    turn.save()
    turn.prompt("finished", "notice")
    turn.change(outcome="finished")
    turn.effects.append(Closed("finished"))


def _open_end(turn: Turn) -> tuple[DraftStep, int] | None:
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


def _ask_open_end(turn: Turn) -> str:
    found = _open_end(turn)
    assert found is not None
    step, at = found
    number = turn.spoken(turn.state.draft.place(step.uid) + 1)
    if at >= 0 and "answers" in step.facets:
        return turn.words.prompt("open-ends", number=number, answer=step.facets["answers"][at]["say"])
    return turn.words.prompt("open-end-go", number=number)


def _take_open_end(turn: Turn, reply: Reply) -> bool:
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


def _ask_words(turn: Turn) -> str:
    key = {"again": "words-again", "more": "words-more"}.get(turn.state.purpose, "words")
    return turn.words.prompt(key, **({} if key == "words-more" else {"number": turn.spoken(turn.number)}))


def _take_words(turn: Turn, reply: Reply) -> bool:
    text = " ".join(reply.text.split())
    if not text:
        turn.prompt("heard-no-words", "question")
        return True
    text = text[0].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")
    text = punctuated(text, turn.words) if reply.clip else text
    step, more = turn.step, turn.state.purpose == "more"
    shift = len(step.text.split()) if more else 0
    clips = ((*step.clips, reply.clip) if more and step.clips else (reply.clip,)) if reply.clip else ()
    whole = f"{step.text} {text}" if more else text
    doubts = tuple(replace(doubt, at=doubt.at + shift) for doubt in reply.doubts)
    facets = {key: value for key, value in step.facets.items() if key not in ("sound", "sound_of")}
    said = facets_said(whole, turn.words)
    if facets.get("kind") not in (None, said.get("kind")):
        said = {key: value for key, value in said.items() if key == "hazards"}
    unsure = (*(step.unsure if more else ()), *(doubt.word for doubt in doubts))
    step = replace(step, text=whole, clips=clips, facets={**said, **facets}, unsure=unsure)
    turn.change(step=step, doubts=doubts[:MOST_SETTLED], purpose="")
    if len(doubts) > 1:
        turn.prompt("unsure-many", n=turn.spoken(len(doubts)))
    turn.ask("settle" if doubts else "")
    return True


def _ask_settle(turn: Turn) -> str:
    doubt = turn.state.doubts[0]
    ways = turn.words.pairs("ordinal")
    names = [next(way for way, tag in ways if tag == str(at)) for at in range(1, 4)]
    words = (doubt.word, *doubt.others)[:3]
    pairs = zip(names, words, strict=False)
    choices = " ".join(turn.words.prompt("settle-way", ordinal=name.capitalize(), word=word) for name, word in pairs)
    return turn.words.prompt("settle", number=turn.spoken(doubt.at + 1), choices=choices)


def _take_settle(turn: Turn, reply: Reply) -> bool:
    doubt = turn.state.doubts[0]
    if turn.words.says(reply.phrase, "another word"):
        turn.ask("settle-word")
    elif turn.words.says(reply.phrase, "leave it"):
        turn.prompt("word-left")
        _next_doubt(turn)
    else:
        at = int(turn.words.choice("ordinal").get(reply.phrase, "0"))
        words = (doubt.word, *doubt.others)
        if not 0 < at <= len(words):
            return False
        _settle(turn, doubt.at, words[at - 1])
    return True


def _take_settle_word(turn: Turn, reply: Reply) -> bool:
    word = reply.text.strip(" .?!,")
    if not word:
        return False
    _settle(turn, turn.state.doubts[0].at, word)
    return True


def _settle(turn: Turn, at: int, word: str) -> None:
    """The word in its place, with the capital and the stop that stood there."""
    doubt, pieces = turn.state.doubts[0], turn.step.text.split()
    old = pieces[at]
    tail = old[len(old.rstrip(".,?!;:")) :]
    pieces[at] = (word[:1].upper() + word[1:] if old[:1].isupper() else word) + tail
    left = list(turn.step.unsure)
    if doubt.word in left:
        left.remove(doubt.word)
    text = " ".join(pieces)
    facets = {**facets_said(text, turn.words), **turn.step.facets}
    turn.change(step=replace(turn.step, text=text, unsure=tuple(left), facets=facets))
    _next_doubt(turn)


def _next_doubt(turn: Turn) -> None:
    turn.change(doubts=turn.state.doubts[1:])
    turn.ask("settle" if turn.state.doubts else "")


# ---- the review -------------------------------------------------------------------------------------------------------


def _keep(turn: Turn) -> None:
    draft = turn.state.draft
    taken = [one.id for one in draft.steps if one.uid != turn.step.uid]
    step = named(turn.step, taken, turn.words.small)
    draft = draft.with_step(step)
    turn.change(draft=draft, step=None, done=frozenset(), partial={})
    turn.effects.append(AnswerTaken((draft.name,), step.id, "kept"))
    turn.save()
    turn.prompt("kept", number=turn.spoken(draft.place(step.uid) + 1))
    turn.ask("idle")


def _again(turn: Turn) -> None:
    """From the words on; it stays the step that it is."""
    turn.change(step=DraftStep(turn.step.uid, id=turn.step.id), done=frozenset(), partial={}, purpose="again")
    turn.ask("words")


def _more(turn: Turn) -> None:
    turn.change(purpose="more")
    turn.ask("words")


def _move_this(turn: Turn) -> None:
    """Kept first: only what is in the procedure has a place in it."""
    uid = turn.step.uid
    _keep(turn)
    turn.change(chosen=max(uid, turn.state.chosen), purpose=f"move {uid}")
    turn.ask("move-where")


def _delete_this(turn: Turn) -> None:
    turn.change(purpose=f"delete {turn.step.uid}")
    turn.ask("delete-once")


def _changeable(turn: Turn) -> dict[str, str]:
    """Way to say it -> slot."""
    own = {FILLS.get(slot, slot) for slot in SLOTS.get(turn.step.kind, ())} | set(ALWAYS_CHANGED)
    return {way: tag for way, tag in turn.words.pairs("what") if tag in own}


def _take_change(turn: Turn, reply: Reply) -> bool:
    what = _changeable(turn).get(reply.phrase)
    if what is None:
        return False
    if what == "say":
        turn.change(purpose="again")
        turn.ask("words")
        return True
    slots = [slot for slot in SLOTS.get(turn.step.kind, ()) if FILLS.get(slot, slot) == what] or [what]
    turn.change(done=turn.state.done - set(slots), partial={})
    if what == "leads":
        answers = [{key: value for key, value in one.items() if key != "go"} for one in turn.step.facets.get("answers", ())]
        turn.facets(answers=answers)
    else:
        turn.facets(**{what: None})
    turn.ask(what if what in ("kind", "go") else "")
    return True


def _ask_change(turn: Turn) -> str:
    names = dict.fromkeys(_changeable(turn).values())
    choices = turn.words.joined([turn.words.name_of("what", slot) for slot in names])
    return turn.words.prompt("change-what", choices=choices)


def _take_title(turn: Turn, reply: Reply) -> bool:
    title = reply.text.strip(" .?!")
    if not title:
        return False
    draft = turn.state.draft
    turn.change(draft=replace(draft, header={**draft.header, "title": title[0].upper() + title[1:]}))
    turn.save()
    turn.ask("idle")
    return True


_DOES_IDLE: Does = {
    "new step": _new, "change step": _which("change"), "move before": _which("move"), "delete": _which("delete"),
    "read all": _read_all, "check it": _check, "finish": _finish,
}  # fmt: skip
_DOES_REVIEW: Does = {
    "keep": _keep, "again": _again, "more": _more, "change": lambda turn: turn.ask("change-what"), "move before": _move_this,
    "delete": _delete_this,
}  # fmt: skip
MAIN: dict[str, Question] = {
    "title": Question(lambda turn: turn.words.prompt("title"), lambda turn: hear(turn, note=True), _take_title),
    "idle": Question(lambda turn: turn.words.prompt("ready"), lambda turn: hear(turn, *IDLE), _by_command(_DOES_IDLE)),
    "finish": Question(
        lambda turn: turn.words.prompt("finish"), lambda turn: hear(turn, *IDLE),
        _by_command({**_DOES_IDLE, "finish": _finish_again}),
    ),
    "open-end": Question(_ask_open_end, lambda turn: hear_step(turn, "following"), _take_open_end),
    "words": Question(_ask_words, lambda turn: hear(turn, note=True), _take_words),
    "settle": Question(
        _ask_settle,
        lambda turn: hear(turn, "another word", "leave it", phrases=tuple(turn.words.choice("ordinal"))), _take_settle,
    ),
    "settle-word": Question(
        lambda turn: turn.words.prompt("settle-word"), lambda turn: hear(turn, note=True), _take_settle_word
    ),
    "review": Question(
        lambda turn: review(turn.step, turn.number, turn.state.draft, turn.words), lambda turn: hear(turn, *REVIEW),
        _by_command(_DOES_REVIEW),
    ),
    "change-what": Question(_ask_change, lambda turn: hear(turn, phrases=tuple(_changeable(turn))), _take_change),
}  # fmt: skip
