"""What else may have been said instead of a phrase that must be complete: anything before it, after it, between its words,
at a gate also another word instead of its first or second.

Rules of this file:

- A list of denials ends somewhere; what people may say does not. So each place of the phrase is compared with *anything*:
  the likeliest sounds of its frames, whatever they are.
- Every value is nats by which the phrase itself is likelier than the phrase with that change. Anything is never less likely
  than what is said, so those values are 0 at the best.
- At a gate it is the mean over the sound and its filtered copy, and how quiet it is before the phrase stands beside it.
- The likeliest path represents all: the phrase and its alternatives are measured in the same way.
- Only what the fit counts is looked for. Anything in a figure's place, another number, and at a proof another word told
  nothing that the listed denials had not told: the fit gave them no weight.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from handsfree.language.meaning import Listening, Sense, gate_text, may_prove
from handsfree.language.phonetics import PHONEMES, Phonemes, heard_as
from handsfree.language.tokens import tokens
from handsfree.speech import sounds
from handsfree.speech.borders import spoken_before
from handsfree.speech.ctc import Frames, freely
from handsfree.speech.engine import QUIET_BEFORE, RATE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.language.base import Language
    from handsfree.speech.ctc import Floats, Symbols
    from handsfree.speech.engine import Candidate, Samples

_HEARD, _NEAR, _LONGEST = 40, 20, 16  # words near to what was said, near to what should be; sounds of a word at the most
_NO = -1e9  # log-probability of no path
_SAME = 0.5  # nats within which two places count as equally likely
Ways = Sequence["Symbols"]  # of one word


@dataclass(frozen=True)
class Lattice:
    """The phrase over the frames. `before[j][t]`: log-probability of its first j words over the first t frames,
    `after[j][t]` of all words but the first j over the frames from t on. `free[t]`: of anything over the first t."""

    frames: Frames
    before: Floats
    after: Floats
    free: Floats

    @property
    def whole(self) -> float:
        return float(self.before[-1, -1])

    def inserted(self, at: int) -> float:
        """Compared with anything between its first `at` words and the rest."""
        return self.whole - self._with_anything(self.before[at], self.after[at])

    def replaced(self, at: int) -> float:
        """Compared with anything instead of word `at`."""
        return self.whole - self._with_anything(self.before[at], self.after[at + 1])

    def instead(self, at: int, words: Ways) -> float:
        """Compared with one of these words instead of word `at`; the maximum if there are none."""
        if not words:
            return -2 * _NO
        ends = _ends(np.broadcast_to(self.before[at], (len(words), len(self.free))), words, self.frames)
        return self.whole - float((ends + self.after[at + 1]).max())

    def span(self, at: int) -> tuple[int, int]:
        """The frames of word `at`."""
        first = int((self.before[at] + self.after[at]).argmax())
        return first, max(first + 1, int((self.before[at + 1] + self.after[at + 1]).argmax()))

    @property
    def ends(self) -> tuple[int, int]:
        """The frames at which its first and its last sound are written."""
        begun, done = self.before[0] + self.after[0], self.before[-1] + self.after[-1]
        return int(np.flatnonzero(begun >= begun.max() - _SAME)[-1]), int(np.flatnonzero(done >= done.max() - _SAME)[0])

    def _with_anything(self, before: Floats, after: Floats) -> float:
        return float((np.maximum.accumulate(before - self.free) + self.free + after).max())


def lattice(frames: Frames, words: Sequence[Ways]) -> Lattice:
    """`words`: of each word of the phrase the ways to say it."""
    backwards = [tuple(way[::-1] for way in ways) for ways in reversed(words)]
    likeliest = np.log(np.maximum(frames.symbols.max(1), frames.blank))
    return Lattice(
        frames, _walked(frames, words), _walked(frames.reversed(), backwards)[::-1, ::-1],
        np.concatenate([[0.0], np.cumsum(likeliest)]),
    )  # fmt: skip


def _walked(frames: Frames, words: Sequence[Ways]) -> Floats:
    rows = [np.concatenate([[0.0], np.cumsum(np.log(frames.blank))])]
    for ways in words:
        rows.append(_said(rows[-1], ways, frames))
    return np.array(rows)


def _said(before: Floats, ways: Ways, frames: Frames) -> Floats:
    """(frames + 1,) log-probability of what came before and one of these ways, the likeliest."""
    best: Floats = _ends(np.broadcast_to(before, (len(ways), len(before))), ways, frames).max(0)
    return best


def _ends(before: Floats, ways: Ways, frames: Frames) -> Floats:
    """(ways, frames + 1) log-probability of each way after what came before it. `before`: (ways, frames + 1)."""
    columns, last = _padded(ways)
    sounding = np.full(columns.shape, _NO)
    silent, arriving = sounding.copy(), sounding.copy()
    apart = columns[:, 1:] != columns[:, :-1]
    emitted, none = np.log(frames.symbols), np.log(frames.blank)
    out = np.full(before.shape, _NO)
    ends = (np.arange(len(ways)), last)
    for at in range(len(none)):
        ended = np.maximum(silent, sounding)
        arriving[:, 0] = before[:, at]
        arriving[:, 1:] = np.where(apart, ended[:, :-1], silent[:, :-1])
        silent = ended + none[at]
        sounding = np.maximum(sounding, arriving) + emitted[at][columns]
        out[:, at + 1] = np.maximum(sounding[ends], silent[ends])
    return out


def _padded(ways: Ways) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    columns = np.zeros((len(ways), max(map(len, ways))), np.int64)
    for row, way in enumerate(ways):
        columns[row, : len(way)] = way
    return columns, np.array([len(way) - 1 for way in ways])


@dataclass
class Shapes:
    """Evidence on the phrases that must be complete: a gate's, and answers that may prove works dead."""

    language: Language
    unknown: Callable[[str], Phonemes]

    def evidence(
        self, copies: Sequence[Frames], scored: Sequence[Candidate], listening: Listening, samples: Samples, around: float
    ) -> Iterator[tuple[str, float]]:
        """(value's name and the act's text, nats; of `QUIET_BEFORE` a share). `copies`: of the sound, at a gate also of the
        sound filtered. `samples`: the last of these, to which the frames add `around` seconds before and after."""
        if listening.gate is not None:
            text = gate_text(listening.gate.word, listening.gate.lock)
            ways = [c for c in scored if c.meaning.sense is Sense.GATE]
            said = max(ways, key=lambda c: c.score).meaning.spoken if ways else text.replace(",", "")
            yield from named(text, self._gate(copies, said.split(), samples, around))
        for phrase in (*listening.phrases, *listening.also) if listening.proof else ():
            own = [c for c in scored if may_prove(c.meaning, listening) and c.meaning.text == phrase]
            if own:
                said = max(own, key=lambda c: c.score).meaning.spoken
                yield from named(phrase, self._phrase(copies[0], tokens(said)))

    def _gate(self, copies: Sequence[Frames], words: Sequence[str], samples: Samples, around: float) -> dict[str, float]:
        """`words`: the gate's word, 'lock', digits. The mean over the copies. Nothing if a word has no sounds: then no gate
        opens."""
        own = [self._ways(word, accented=True) for word in words]
        if len(own) < 3 or not all(own):
            return {}
        every = [lattice(frames, own) for frames in copies]
        values = [self._in_place_of(found, words[0], own[0]) for found in every]
        seconds = (len(samples) / RATE + 2 * around) / len(copies[0].blank)
        first, last = (at * seconds - around for at in every[0].ends)
        mean = {name: sum(one[name] for one in values) / len(values) for name in values[0]}
        return {QUIET_BEFORE: 1.0 - spoken_before(samples, first, last), **mean}

    def _in_place_of(self, found: Lattice, word: str, own: Ways) -> dict[str, float]:
        """`word`: the gate's, `own`: its ways."""
        count = len(found.before) - 1
        return {
            "before": found.inserted(0), "behind": found.inserted(count),
            "between": min(found.inserted(at) for at in range(1, count)),
            "another": found.instead(0, self._others(found, 0, word, own)), "second": found.replaced(1),
        }  # fmt: skip

    def _phrase(self, frames: Frames, words: Sequence[str]) -> dict[str, float]:
        own = [self._ways(word) for word in words]
        if not own or not all(own):
            return {}
        found, count = lattice(frames, own), len(own)
        return {
            "before": found.inserted(0), "behind": found.inserted(count),
            "between": min((found.inserted(at) for at in range(1, count)), default=0.0),
        }  # fmt: skip

    def _ways(self, word: str, accented: bool = False) -> Ways:
        return sounds.word_ways(word, self.unknown, accented)

    def _others(self, found: Lattice, at: int, word: str, own: Ways) -> Ways:
        """Words of the language near to what was said there, and near to the word itself."""
        first, last = found.span(at)
        said = freely(Frames(found.frames.symbols[first:last], found.frames.blank[first:last]))
        near = heard_as(tuple(PHONEMES[symbol] for symbol in said), _HEARD) if 0 < len(said) <= _LONGEST else ()
        words = dict.fromkeys((*near, *self.language.nearest(word, _NEAR)))
        return tuple(way for other in words if other != word for way in self._ways(other) if way not in own)


def named(act: str, values: Mapping[str, float]) -> Iterator[tuple[str, float]]:
    return ((f"{name} of {act}", value) for name, value in values.items())
