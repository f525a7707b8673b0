"""Which written words may be others: the witness of sounds listens to what the writing engine wrote.

Rules of this file:

- For each word, words of the dictionary that sound as what was heard there, and words of the writer's own, are tried in its
  place. Both witnesses give their evidence on the whole sentence with it: the one the sounds of all of it, the other how
  readily it would have written it.
- A word is doubtful where another is nearly as likely by both together, or likelier. The likeliest others are offered.
- The bars are chosen on the lines `learn` of tests/bench/dictated_steps.txt, and so that nine steps take no more than the 30
  utterances aimed at (tests/bench/results/log.md).
- Figures are left, for numbers are read back, and words with a figure in them ('25mm', '10:30'). So are small words that
  change nothing, except in an answer: there each counts.
- The longer the text, the fewer others are weighed: she waits meanwhile.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from handsfree.authoring.draft import STOPS, Doubt, word_put
from handsfree.language.phonetics import PHONEMES, Phonemes, distance, heard_as, letters, nearest, spelled
from handsfree.language.tokens import is_number, tokens
from handsfree.speech.ctc import Frames, Symbols, freely, score

if TYPE_CHECKING:
    from handsfree.sound.samples import Samples
    from handsfree.speech.phonetic import Phonetic

#: How readily the writing engine would have written each of these texts: log-probability; [] if it cannot read so much.
Weigh = Callable[["Samples", Sequence[str]], "list[float]"]
SOUNDS = 0.7  # nats of the writing engine that a nat of the sounds is worth
BAR = -2.0  # nats by both together, against what was written
WORSE = -1.5  # nats by the sounds alone: what sounds less like it is not tried
OFFERED = 2
#: Words looked at: by the sound of what was written, of what was heard, and of most of that.
_AS_WRITTEN, _AS_HEARD, _CUT = 12, 20, 6
_COMMON, _EXACT = 4, 2  # that are weighed in the place of a word: common ones, and rare ones exactly as heard
_IN_ALL, _FEWEST = 36, 4  # that are weighed in a text: at most, and of the longest
_WEIGHED = 1_200  # words, of all the texts that are weighed: up to 33 words in a text that is no limit
_LOST = 2  # sounds heard between two words from which a word may be missing there
_ANSWER = 3  # words at most
_NEAR_OWN = 0.5  # distance in sound up to which a word of the writer's own is tried
_OWN, _RARE, _SAID = 1e-4, 1e-7, 1e-6  # how often a word is used at least: the writer's own, any other, a common one
_FREQUENCY = 0.25  # of a nat of how often a word is used, in choosing what is weighed


@dataclass(frozen=True)
class _Other:
    """`gain`: nats by the sounds against what was written."""

    at: int
    word: str
    gain: float


class SecondEar:
    """`weigh`: the engine that wrote. `often`: the share of a word among all that is said, 0 for a rare one."""

    def __init__(self, sounds: Phonetic, weigh: Weigh, often: Callable[[str], float]) -> None:
        self._sounds, self._weigh, self._often = sounds, weigh, often

    def doubts(self, samples: Samples, text: str, slight: Sequence[str] = (), own: Sequence[str] = ()) -> tuple[Doubt, ...]:
        """Of the words of `text`, but for the `slight`. `own`: words that the writer has used before."""
        pieces = text.split()
        words = [" ".join(tokens(piece)) for piece in pieces]
        passed = slight if len(words) > _ANSWER else ()
        places = [at for at, word in enumerate(words) if word and not _holds_figure(word) and word not in passed]
        tried = self.others(samples, words, places, own)
        if not tried:
            return ()
        weights = self._weigh(samples, [" ".join(pieces), *(word_put(text, one.at, one.word) for one in tried)])
        if not weights:
            return ()
        plain, *weighed = weights
        likely: dict[int, list[tuple[float, str]]] = {}
        for one, weight in zip(tried, weighed, strict=True):
            both = weight - plain + SOUNDS * one.gain
            likely.setdefault(one.at, []).append((both, one.word))
        return tuple(
            Doubt(at, pieces[at].strip(f" {STOPS}"), tuple(word for _, word in sorted(found, reverse=True)[:OFFERED]))
            for at, found in sorted(likely.items()) if max(found)[0] > BAR
        )  # fmt: skip

    def others(self, samples: Samples, words: Sequence[str], places: Sequence[int], own: Sequence[str]) -> list[_Other]:
        """What is worth weighing: of each word those that sound best, of all no more than can be weighed while she waits."""
        frames = self._sounds.frames(samples)
        ways = [self._sounds.ways(word) if word else ((),) for word in words]
        if not all(ways):
            return []
        said = freely(frames)
        heard = list(_heard([way[0] for way in ways], said))
        tried = [
            (at, word) for at in places for word in self._candidates(words[at], *heard[at], own)
            # no ear can tell them apart: the spelling is kept, but for one that hardly anybody writes
            if self._rare(words[at]) or distance(word, words[at]) > 0.0
        ]  # fmt: skip
        gains = _gains(frames, ways, [(at, self._sounds.ways(word)) for at, word in tried])
        found = [_Other(at, word, gain) for (at, word), gain in zip(tried, gains, strict=True) if gain > WORSE]

        def rank(one: _Other) -> float:
            known = _OWN if one.word in own else _RARE
            return one.gain + _FREQUENCY * math.log(max(self._often(one.word.split()[-1]), known))

        best: list[_Other] = []
        for at in places:
            here = sorted((one for one in found if one.at == at), key=rank, reverse=True)
            rare = [one for one in here if self._rare(one.word) and one.word not in own]
            best += [*[one for one in here if one not in rare][:_COMMON], *rare[:_EXACT]]
        return sorted(best, key=rank, reverse=True)[: min(_IN_ALL, max(_FEWEST, _WEIGHED // max(1, len(words))))]

    def _rare(self, words: str) -> bool:
        return min(map(self._often, words.split())) < _SAID

    def _candidates(self, word: str, heard: Phonemes, after: Phonemes, own: Sequence[str]) -> list[str]:
        """`heard`: freely, in the place of the word; `after`: between it and the next."""
        found = dict.fromkeys((*nearest(word, _AS_WRITTEN), *(heard_as(heard, _AS_HEARD) if heard else ())))
        found |= dict.fromkeys(spelled(heard))
        for cut in (heard[1:], heard[:-1]) if len(heard) > 2 else ():
            found |= dict.fromkeys((*heard_as(cut, _CUT), *spelled(cut)))
        if heard[-1:] in (("Z",), ("S",)):
            some = (*spelled(heard[:-1]), *heard_as(heard[:-1], _CUT))
            found |= dict.fromkeys(f"{one}s" for one in some if not one.endswith("s"))
        found |= dict.fromkeys(one for one in own if distance(one, word) <= _NEAR_OWN)
        lost = (*spelled(after), *heard_as(after, _CUT)) if len(after) >= _LOST else ()
        every = [one for one in found if one != word and one.isalpha() and (len(one) > 1 or one == "a")]
        return [*every, *(f"{word} {one}" for one in dict.fromkeys(lost) if one.isalpha())]


def _holds_figure(word: str) -> bool:
    return any(is_number(part) for part in word.split())


def _phonemes(span: Symbols) -> Phonemes:
    return tuple(PHONEMES[symbol] for symbol in span)


def _heard(ways: Sequence[Symbols], said: Symbols) -> Iterator[tuple[Phonemes, Phonemes]]:
    """What was heard freely in the place of each word, and between it and the next."""
    from rapidfuzz.distance import Levenshtein

    written = letters(_phonemes(tuple(sound for way in ways for sound in way)))
    steps = Levenshtein.opcodes(written, letters(_phonemes(said)))
    cuts = list(accumulate((len(way) for way in ways), initial=0))

    def there(place: int, last: bool) -> int:
        for step in steps:
            if step.src_start <= place <= step.src_end:
                if step.tag == "equal" or step.src_end - step.src_start == step.dest_end - step.dest_start:
                    return step.dest_start + place - step.src_start
                if place == step.src_end and (last or step is steps[-1]):
                    return step.dest_end
                if place == step.src_start:
                    return step.dest_start
        return len(said)

    between = {step.src_start: said[step.dest_start : step.dest_end] for step in steps if step.tag == "insert"}
    for begin, end in pairwise(cuts):
        yield _phonemes(said[there(begin, False) : there(end, True)]), _phonemes(between.get(end, ()))


def _gains(frames: Frames, ways: Sequence[Sequence[Symbols]], tried: Sequence[tuple[int, Sequence[Symbols]]]) -> list[float]:
    """Nats that each of `tried`, (place, ways it may sound), gains by sound over what was written; the best of its ways."""
    first = [way[0] for way in ways]
    texts, owner = [], []
    written = tuple((at, ways[at]) for at in range(len(ways)))
    for number, (at, some) in enumerate((*written, *tried)):
        for way in some:
            texts.append(tuple(sound for part in (*first[:at], way, *first[at + 1 :]) for sound in part))
            owner.append(number)
    scores = score(frames, texts)
    best = [-math.inf] * (len(written) + len(tried))
    for number, value in zip(owner, scores, strict=True):
        best[number] = max(best[number], float(value))
    return [best[len(written) + number] - best[at] for number, (at, _) in enumerate(tried)]
