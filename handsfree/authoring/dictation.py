"""The writer's words as text, and which of them are doubtful.

Rules of this file:

- The best engine writes. If it is the only one that writes freely, the witness of sounds tries other words in the place of
  each (`second_ear`).
- Without that witness the model of the trade listens to the same sound. If the two hear different words that sound alike,
  the word is doubtful, and the other's word is the alternative.
- Where two engines write freely, the word is doubtful wherever they differ. On 30 sentences of other trades by three
  synthetic voices (960 words, 47 wrong) that asks about 49 words, 20 of them wrong; if they must sound alike, 29 and 10.
- With PocketSphinx alone the model of the trade writes and everyday language is the second opinion; there a word is also
  doubtful that holds little of the decoder's own probability.
- Nothing is corrected silently: the writer settles every doubt.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handsfree.authoring.draft import STOPS, Doubt
from handsfree.language.tokens import is_number, tokens

if TYPE_CHECKING:
    from handsfree.authoring.trade_ear import HeardWord, TradeEar
    from handsfree.sound.samples import Samples

LIKE = 0.5  # similarity of sound above which one word may be another
SAME = 1.0  # above which no ear can tell them apart ('mains' and "main's"): the writer's spelling is kept, nobody is asked
#: Shares of probability. On 40 sentences by 4 synthetic voices with 28 wrong words of 346, below 0.9 and heard otherwise
#: marked 16 of the wrong ones and 48 right ones; below 0.9 alone 23 and 98; below 0.3 alone 11 and 20.
LITTLE, MOST = 0.3, 0.9
MOST_OTHERS = 2
_MOST_KNOWN = 20  # words: an engine reads only so much beforehand


@dataclass(frozen=True)
class Dictated:
    """`text` with its doubts; places count the text's words from 0. `engine`: who wrote it."""

    text: str
    doubts: tuple[Doubt, ...] = ()
    engine: str = ""


class Dictation:
    """`writer`: free text from the best engine, None if the trade's model is to write. `everyday`: free text from
    PocketSphinx's own language model. `trade`: None for a language without such a model: then nothing is doubted, unless
    `second`, another engine of free text, hears the same sound. `doubting`: the doubts of a text that was written of a
    sound, after what the writer said before. `spelling`: the letters' words of a word that is spelled aloud, '' for any
    other speech. `like`: what the engine is told to expect, where nothing else is asked for."""

    def __init__(
        self, writer: Callable[[Samples, str], str] | None, trade: TradeEar | None,
        everyday: Callable[[Samples], str] | None, name: str = "", second: Callable[[Samples], str] | None = None,
        doubting: Callable[[Samples, str, str], tuple[Doubt, ...]] | None = None,
        spelling: Callable[[Samples], str] | None = None, like: str = "",
    ) -> None:
        self._like = like
        self._second, self._doubting, self._spelling = second, doubting, spelling
        self._writer, self._trade, self._everyday = writer, trade, everyday
        self.name = name or ("pocketsphinx" if writer is None else "engine")

    def spelled(self, samples: Samples) -> Dictated:
        """A word spelled aloud, as the words of its letters; else the word that was said."""
        letters = self._spelling(samples) if self._spelling is not None else ""
        return Dictated(letters, (), self.name) if letters else self.write(samples)

    def write(self, samples: Samples, among: str = "", before: str = "", known: Sequence[str] = ()) -> Dictated:
        """`among`: text like that which is to be written; '' for any of the trade's. `before`: what she said before it.
        `known`: words that she spelled, to be expected again."""
        if known and not among and self._like:
            among = f"{self._like} {', '.join(known[-_MOST_KNOWN:])}."
        if self._writer is not None and self._doubting is not None:
            text = self._writer(samples, among).strip()
            return Dictated(text, self._doubting(samples, text, before) if text else (), self.name)
        if self._writer is not None and self._second is not None:
            text = self._writer(samples, among).strip()
            if text:
                doubts = _differences(text.split(), tokens(self._second(samples)), 0.0)
                return Dictated(text, tuple(doubts), self.name)
        heard = self._trade.words(samples) if self._trade is not None else ()
        if self._writer is not None:
            text = self._writer(samples, among).strip()
            if text:
                other = [word.text for word in heard]
                return Dictated(text, tuple(_differences(text.split(), other)), self.name)
        second = tokens(self._everyday(samples)) if self._everyday is not None and heard else ()
        return Dictated(as_sentences(heard), tuple(_doubtful(heard, second)), self.name)


def _doubtful(heard: tuple[HeardWord, ...], second: Sequence[str]) -> Iterator[Doubt]:
    """Words with little of the probability, and those with less than most of it that were heard differently."""
    differing = _replaced([word.text for word in heard], second)
    for at, word in enumerate(heard):
        if word.sure < LITTLE or (word.sure < MOST and at in differing):
            other = differing.get(at)
            yield Doubt(at, word.text, _others(word.text, other))


def _others(word: str, other: str | None) -> tuple[str, ...]:
    """The second engine's word if it sounds alike, and the common words that sound closest."""
    from handsfree.language.phonetics import nearest

    first = (other,) if other and _similarity(word, other) >= LIKE else ()
    return tuple(dict.fromkeys((*first, *nearest(word, MOST_OTHERS))))[:MOST_OTHERS]


def _replaced(own: Sequence[str], theirs: Sequence[str]) -> dict[int, str]:
    """Place in `own` -> the word that stands there in `theirs`; '' where none does."""
    from rapidfuzz.distance import Levenshtein

    steps = Levenshtein.editops(list(own), list(theirs))
    lost = {step.src_pos: "" for step in steps if step.tag == "delete"}
    return lost | {step.src_pos: theirs[step.dest_pos] for step in steps if step.tag == "replace"}


def as_sentences(words: Iterable[HeardWord]) -> str:
    """'hold your palm here' with its pause -> 'Hold your palm here.'"""
    pieces: list[str] = []
    fresh = True
    for word in words:
        pieces.append((word.text[:1].upper() + word.text[1:] if fresh else word.text) + ("." if word.ends else ""))
        fresh = word.ends
    text = " ".join(pieces)
    return text if not text or text.endswith(".") else f"{text}."


def _similarity(one: str, other: str) -> float:
    from handsfree.language.phonetics import similarity

    return similarity(one, other)


def _differences(text: Sequence[str], theirs: Sequence[str], like: float = LIKE) -> Iterator[Doubt]:
    """Words of the text that the other heard as a word that sounds like it. Numbers are left: they are read back."""
    own = [" ".join(tokens(word)) for word in text]
    for at, other in _replaced(own, theirs).items():
        if own[at] and other and not is_number(own[at]) and like <= _similarity(own[at], other) < SAME:
            yield Doubt(at, text[at].strip(f" {STOPS}"), (other,))
