"""Which wording of the gate's phrase lies farthest from its own denials: each is said, and its denials, by voices that
judge, in noise; the phonetic witness scores the wording against its rivals by meaning.

    python -m tests.bench.wordings [--each 4] [--levels 20,10,5] [--only "WORDING;WORDING"] [--json] [--out FILE]

A wording is worth what it opens where none of its denials opens: `ahead` is how many nats it lies before its best rival when
it is said itself, `behind` how many when a denial is said; `opens` the share said rightly that lies above every denial at
that level, `area` the probability that one said rightly lies above one denied; `better`: by how much the area exceeds that
of today's wording, which the same voices said and denied in the same noise with the same numbers. `from`, `to`: 95 in 100
of what drawing these pairs again gives (bootstrap; Efron, Annals of Statistics 7 (1979), from memory).
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from tests.bench.corpus_texts import DIGITS
from tests.bench.gate_phrases import filled
from tests.bench.reported import arguments, reported
from tests.bench.unlike_voices import NOISES, in_noise, level, names, speak

#: All keep the word 'isolated' and the number.
WORDINGS = (
    "isolated, lock {n}", "lock {n} isolated", "isolated and locked {n}", "isolated, padlock {n}", "isolated, tag {n}",
    "it is isolated, lock {n}", "supply isolated, lock {n}", "all isolated, lock {n}", "isolated, lock number {n}",
    "I have isolated, lock {n}", "isolated, my lock {n}", "confirm isolated, lock {n}",
)  # fmt: skip
#: Around the whole; and in place of 'isolated'.
_AROUND = ("not {}", "is {}", "is it {}", "if {}", "when {}", "he said {}", "no longer {}", "{} I think", "{} in a minute",
           "{} not", "{} is off", "nearly {}", "was {}")  # fmt: skip
_INSTEAD = ("not isolated", "isn't isolated", "isolate", "insulated", "isolation", "never isolated")


def rivals(wording: str, number: Sequence[str]) -> list[str]:
    """What means something else: denied, asked, conditional, later, reported, undone, other numbers, halves."""
    right = wording.replace("{n}", " ".join(number))
    out = [pattern.format(right) for pattern in _AROUND] + [right.replace("isolated", word) for word in _INSTEAD]
    for at in range(len(number)):
        others = [*(d for d in DIGITS if d != number[at]), ""]
        out += [wording.replace("{n}", " ".join([*number[:at], d, *number[at + 1 :]]).strip()) for d in others]
    out += [wording.replace("{n}", " ".join([*number, d])) for d in DIGITS]
    return [*out, wording.replace("{n}", "").strip(" ,"), "isolated", " ".join(number)]


def said_instead(wording: str, number: Sequence[str], luck: random.Random) -> str:
    """A denial to be said: of one of the classes."""
    kind = luck.randrange(4)
    if kind == 0:
        return filled(wording.replace("{n}", "{w}"), number, luck)
    if kind == 1:
        return filled(wording.replace("{n}", "{u}"), number, luck)
    right = wording.replace("{n}", " ".join(number))
    return luck.choice(_AROUND).format(right) if kind == 2 else right.replace("isolated", luck.choice(_INSTEAD))


class Scores:
    """By the phonetic witness: nats of a text's likeliest way of being said."""

    def __init__(self) -> None:
        from handsfree.language.base import load
        from handsfree.speech.phonetic import Phonetic

        self._witness: Any = Phonetic(load("en"))

    def ahead(self, samples: Any, wording: str, others: Sequence[str]) -> float:
        from handsfree.speech.ctc import score

        texts = [wording, *others]
        every = [(at, way) for at, text in enumerate(texts) for way in self._witness.ways(text.replace(",", ""))]
        values = score(self._witness.frames(samples), [way for _, way in every])
        best = np.full(len(texts), -np.inf)
        for (at, _), value in zip(every, values, strict=True):
            best[at] = max(best[at], value)
        return float(best[0] - best[1:].max())


def area(rightly: Any, denials: Any) -> float:
    return float(np.mean(rightly[:, None] > denials[None]))


def drawn(here: Any, there: Any) -> Iterator[tuple[float, float]]:
    """The area, and by how much it is more than the other's, of pairs drawn again; `here`, `there`: (2, pairs)."""
    luck = np.random.default_rng(0)
    for _ in range(1000):
        right, wrong = luck.integers(here.shape[1], size=(2, here.shape[1]))
        one = area(here[0][right], here[1][wrong])
        yield one, one - area(there[0][right], there[1][wrong])


def measured(each: int, seed: int, levels: Sequence[float], wordings: Sequence[str]) -> Iterator[dict[str, Any]]:
    voices, scores = names(), Scores()
    today = dict[float, tuple[list[float], list[float]]]()
    for wording in dict.fromkeys((WORDINGS[0], *wordings)):
        found: dict[float, tuple[list[float], list[float]]] = {snr: ([], []) for snr in levels}
        luck, length = random.Random(seed), 0.0
        for at in range(2 * each):
            number = luck.choices(DIGITS, k=luck.choice((2, 3)))
            right, denied = wording.replace("{n}", " ".join(number)), said_instead(wording, number, luck)
            voice, noise, their = voices[at % len(voices)], NOISES[at % 4], rivals(wording, number)
            length += len(speak(right, voice)) / 16_000 / (2 * each)
            for snr in levels:
                for place, text in enumerate((right, denied)):
                    found[snr][place].append(scores.ahead(in_noise(speak(text, voice), snr, noise, at), right, their))
        for snr, (rightly, denials) in found.items():
            today.setdefault(snr, (rightly, denials))
            a, b = here = np.array((rightly, denials))
            low, high = np.percentile(list(drawn(here, np.array(today[snr]))), (2.5, 97.5), axis=0).round(3)
            better = area(a, b) - area(*np.array(today[snr]))
            yield {
                "wording": wording, "snr": level(snr), "seconds": round(length, 2), "said": len(a), "denied": len(b),
                "ahead": round(float(np.median(a)), 1), "behind": round(float(-np.median(b)), 1),
                "opens": round(float(np.mean(a > b.max())), 3), "area": round(area(a, b), 3),
                "from": float(low[0]), "to": float(high[0]), "better": round(better, 3), "better_from": float(low[1]),
                "better_to": float(high[1]),
            }  # fmt: skip


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--each", type=int, default=4, help="half of how often a wording, and a denial, is said a level")
    parser.add_argument("--levels", default="20,10,5", help="dB")
    parser.add_argument("--only", default=";".join(WORDINGS), help="with ';' between; today's is always there")
    asked = parser.parse_args()
    levels = [float(one) for one in asked.levels.split(",")]
    return reported("tests.bench.wordings", asked, lambda: measured(asked.each, asked.seed, levels, asked.only.split(";")))


if __name__ == "__main__":
    sys.exit(main())
