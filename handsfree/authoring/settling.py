"""Settles doubtful words by voice: by choosing one of the alternatives, or by saying or typing another word.

Rules of this file:

- Free words with doubts wait in `pending` until these are settled; then they go to the question that asked. This applies
  to every sentence of a step and to the title.
- Several are shown at once, and may be settled in one reply: 'second, first'.
- Another word is said, typed, or spelled aloud, which no engine must know. Any word of a step can be mended so from its
  review.
- Words whose alternatives change nothing are not asked about.
- What the writer leaves open stays marked on its step, and can be settled later, from the review of the step.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

from handsfree.authoring.draft import STOPS, Doubt, DraftStep, word_put
from handsfree.authoring.slots import hear
from handsfree.authoring.spelling import letters_of
from handsfree.authoring.turn import RecorderRow, RecorderTurn, Reply, row
from handsfree.language.meaning import Listening
from handsfree.procedure.model import text_digest

MOST = 6  # words asked about in one go; the rest stay marked
_AT_ONCE = 4  # words settled in one reply
_CHOICES = 3
_UNSETTLED = frozenset({"settle", "settle-word"})
#: The fields besides its text in which a step has words of the writer's own.
_WORDED = frozenset({"answers", "do", "sources", "because", "checks", "power", "quantity", "finding", "to"})


def doubtful(turn: RecorderTurn, reply: Reply) -> bool:
    """These free words must be settled before they are accepted; a phrase that ends a list need not be."""
    asked = turn.state.at
    doubts = bool(reply.text) and any(_matters(turn, doubt) for doubt in reply.doubts)
    return doubts and asked not in _UNSETTLED and not turn.words.says(reply.text, "that is all")


def _matters(turn: RecorderTurn, doubt: Doubt) -> bool:
    slight = turn.words.ways("slight word")
    return any(word.strip(STOPS).casefold() not in slight for word in (doubt.word, *doubt.others))


def begin(turn: RecorderTurn, reply: Reply) -> None:
    doubts = tuple(doubt for doubt in reply.doubts if _matters(turn, doubt))
    turn.change(pending=(turn.state.at, replace(reply, doubts=doubts[MOST:])), doubts=doubts[:MOST])
    if len(doubts) > 1:
        turn.prompt("unsure-many", n=turn.spoken(len(doubts)))
    turn.ask("settle")


def again(turn: RecorderTurn) -> None:
    """The words of the step in review that stayed marked."""
    turn.change(doubts=turn.step.doubts, pending=None)
    turn.ask("settle")


def mend(turn: RecorderTurn) -> None:
    """A word of the step in review that nobody doubted, and that is wrong."""
    turn.ask("mend-which")


def settled(turn: RecorderTurn) -> Reply | None:
    """The words that waited, once nothing about them is left to ask; the question gets them back."""
    if turn.state.pending is None or turn.state.doubts:
        return None
    asked, reply = turn.state.pending
    turn.change(pending=None, at=asked)
    return reply


# ---- the question -----------------------------------------------------------------------------------------------------


def _words(doubt: Doubt) -> tuple[str, ...]:
    return (doubt.word, *doubt.others)[:_CHOICES]


def _names(turn: RecorderTurn) -> list[str]:
    """'the first one', 'the second one'."""
    ways = turn.words.pairs("ordinal")
    return [next(way for way, tag in ways if tag == str(at)) for at in range(1, _CHOICES + 1)]


def _together(turn: RecorderTurn) -> dict[str, tuple[int, ...]]:
    """What settles all the words asked about in one reply -> which alternative for each; the shortest wording of each
    ordinal."""
    short = {tag: min((way for way, one in turn.words.pairs("ordinal") if one == tag), key=len) for tag in "123"}
    doubts = turn.state.doubts
    if not 1 < len(doubts) <= _AT_ONCE:
        return {}
    every = product(*(range(1, len(_words(doubt)) + 1) for doubt in doubts))
    return {" ".join(short[str(at)] for at in one): one for one in every}


def _ask(turn: RecorderTurn) -> str:
    kept, doubts = turn.state.pending is None, turn.state.doubts
    if together := _together(turn):
        told = [
            turn.words.prompt(
                f"settle-one{'-kept' if kept else ''}", number=turn.spoken(doubt.at + 1),
                choices=turn.words.joined(_words(doubt)),
            ) for doubt in doubts
        ]  # fmt: skip
        return turn.words.prompt("settle-several", words=" ".join(told), example=next(iter(together)).replace(" ", ", "))
    pairs = zip(_names(turn), _words(doubts[0]), strict=False)
    choices = " ".join(turn.words.prompt("settle-way", ordinal=name.capitalize(), word=word) for name, word in pairs)
    key = "settle-kept" if kept else "settle"
    return turn.words.prompt(key, number=turn.spoken(doubts[0].at + 1), choices=choices)


def _hears(turn: RecorderTurn) -> Listening:
    several = len(turn.state.doubts) > 1
    commands = ("another word", "leave it", *(("leave all",) if several else ()))
    return hear(turn, *commands, phrases=(*_together(turn), *turn.words.choice("ordinal")))


def _take(turn: RecorderTurn, reply: Reply) -> bool:
    if turn.words.says(reply.phrase, "another word"):
        turn.ask("settle-word")
    elif turn.words.says(reply.phrase, "leave it"):
        turn.prompt("word-left")
        _leave(turn)
    elif turn.words.says(reply.phrase, "leave all"):
        turn.prompt("words-left")
        for _ in turn.state.doubts:
            _leave(turn)
    else:
        one = int(turn.words.choice("ordinal").get(reply.phrase, "0"))
        chosen = _together(turn).get(reply.phrase) or ((one,) if one else ())
        if not chosen or any(at > len(_words(doubt)) for at, doubt in zip(chosen, turn.state.doubts, strict=False)):
            return False
        for at in chosen:
            _settle(turn, _words(turn.state.doubts[0])[at - 1])
    return True


def _leave(turn: RecorderTurn) -> None:
    if turn.state.pending is not None:
        asked, words = turn.state.pending
        turn.change(pending=(asked, replace(words, doubts=(*words.doubts, turn.state.doubts[0]))))
    _next(turn)


def _take_word(turn: RecorderTurn, reply: Reply) -> bool:
    letters = letters_of(reply.text, turn.words)
    word = "".join(letters) or reply.text.strip(f" {STOPS}")
    if letters:
        turn.change(spelled=tuple(dict.fromkeys((*turn.state.spelled, word))))
        turn.prompt("spelled", letters=", ".join(turn.words.name_of("letter", one) for one in letters).capitalize())
    if word:
        _settle(turn, word)
    return bool(word)


def _settle(turn: RecorderTurn, word: str) -> None:
    doubt = turn.state.doubts[0]
    if turn.state.pending is None:
        left = list(turn.step.doubts)
        if doubt in left and turn.state.purpose != "behind":
            left.remove(doubt)
            turn.change(step=replace(_mended(turn.step, doubt, word), doubts=tuple(left)))
        else:
            turn.change(step=_everywhere(turn, doubt.word, word))
    else:
        asked, reply = turn.state.pending
        more = len(word.split()) - 1  # the words behind it move where one becomes two

        def moved(other: Doubt) -> Doubt:
            return replace(other, at=other.at + more) if other.at > doubt.at else other

        text, left_over = word_put(reply.text, doubt.at, word), tuple(map(moved, reply.doubts))
        turn.change(
            pending=(asked, replace(reply, text=text, doubts=left_over)), doubts=tuple(map(moved, turn.state.doubts))
        )
    _next(turn)


def _next(turn: RecorderTurn) -> None:
    turn.change(doubts=turn.state.doubts[1:])
    turn.ask("settle" if turn.state.doubts else "review" if turn.state.pending is None else turn.state.pending[0])


# ---- a word that nobody doubted ---------------------------------------------------------------------------------------


def _parts(turn: RecorderTurn) -> dict[str, str]:
    """What may be said -> what stands there: each word that the step says, and each two beside one another. A small word
    alone is too easily heard in another."""
    fields = (turn.step.text, *(value for name, value in turn.step.facets.items() if name in _WORDED))
    found: dict[str, str] = {}
    for text in (text for value in fields for text in _texts(value)):
        pieces = text.split()
        said = [" ".join(turn.words.tokens(piece)) for piece in pieces]
        words = zip(pieces, said, strict=True)
        found |= {one: piece.strip(STOPS) for piece, one in words if one and one not in turn.words.small}
        for at, (one, other) in enumerate(pairwise(said)):
            if one and other and pieces[at][-1] not in STOPS:
                found.setdefault(f"{one} {other}", f"{pieces[at]} {pieces[at + 1].strip(STOPS)}")
    return found


def _after(turn: RecorderTurn) -> dict[str, str]:
    """'after upper' -> 'upper', where a word is missing behind it."""
    front = turn.words.taught("behind")
    return {f"{front} {said}": part for said, part in _parts(turn).items() if " " not in said}


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, Mapping):
        yield str(value.get("say", ""))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _texts(one)
    else:
        yield str(value).replace("-", " ")


def _take_which(turn: RecorderTurn, reply: Reply) -> bool:
    part, before = _parts(turn).get(reply.phrase, ""), _after(turn).get(reply.phrase, "")
    if not part and not before:
        return False
    turn.change(doubts=(Doubt(0, part or before, ()),), pending=None, purpose="" if part else "behind")
    turn.ask("settle-word")
    return True


def _everywhere(turn: RecorderTurn, old: str, new: str) -> DraftStep:
    """Once in each field that has it: an answer is often named in the question too. A word that was missing, once."""
    if turn.state.purpose == "behind":
        turn.change(purpose="")
        return _mended(turn.step, Doubt(0, old, ()), f"{old} {new}")
    step = turn.step
    for name in ("say", *(name for name in step.facets if name in _WORDED)):
        step = _mended(step, Doubt(0, old, (), name), new)
    return step


# ---- into the words ---------------------------------------------------------------------------------------------------


def _mended(step: DraftStep, doubt: Doubt, word: str) -> DraftStep:
    """Replaces the doubtful word in its field, or in the first field that contains it."""
    fields = (doubt.field,) if doubt.field else ("say", *step.facets)
    for field in fields:
        if field == "say":
            if (text := _swapped(step.text, doubt.word, word)) is not None:
                spoken = step.facets.get("sound_of") == text_digest(step.text)  # what was said is as it was: now it is right
                return replace(step.having(sound_of=text_digest(text)) if spoken else step, text=text)
        elif (value := _swapped(step.facets.get(field), doubt.word, word)) is not None:
            return step.having(**{field: value})
    return step


def _swapped(value: Any, old: str, new: str) -> Any:
    """The value with the first `old` in it replaced; None if it is not there. A name keeps its '-'."""
    if isinstance(value, Mapping):
        said = _swapped(value.get("say"), old, new)
        return None if said is None else {**value, "say": said}
    if isinstance(value, list | tuple):
        for at, one in enumerate(value):
            if (swapped := _swapped(one, old, new)) is not None:
                return [*value[:at], swapped, *value[at + 1 :]]
        return None
    found = re.search(rf"(?<!\w){re.escape(old)}(?!\w)", value, re.IGNORECASE) if isinstance(value, str) else None
    if found is None:
        return None
    joined = "-".join(new.split()) if "-" in value and " " not in value else new
    mended = joined[:1].upper() + joined[1:] if found[0][:1].isupper() else joined
    return value[: found.start()] + mended + value[found.end() :]


QUESTIONS: dict[str, RecorderRow] = {
    "settle": row(_ask, _hears, _take),
    "mend-which": row(
        lambda turn: turn.words.prompt("mend-which"), lambda turn: hear(turn, phrases=(*_parts(turn), *_after(turn))),
        _take_which,
    ),
    "settle-word": row(
        lambda turn: turn.words.prompt("settle-word", word=turn.state.doubts[0].word),
        lambda turn: hear(turn, note=True), _take_word,
    ),
}
