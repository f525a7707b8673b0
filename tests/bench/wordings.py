"""Which wording of the gate's phrase lies farthest from its own denials: each is said, and its denials, by voices that
judge, in noise; the phonetic witness scores the wording against its rivals by meaning.

    python -m tests.bench.wordings [--each 4] [--levels 20,10,5] [--seed 1] [--json] [--out FILE]

A wording is worth what it opens where none of its denials opens: `ahead` is how many nats it lies before its best rival when
it is said itself, `behind` how many when a denial is said; `opens` the share said rightly that lies above every denial at
that level, `area` the probability that one said rightly lies above one denied.
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
        every = [(at, way) for at, text in enumerate(texts) for way in self._witness._ways(text.replace(",", ""))]
        values = score(self._witness._model.frames(samples), [way for _, way in every])
        best = np.full(len(texts), -np.inf)
        for (at, _), value in zip(every, values, strict=True):
            best[at] = max(best[at], value)
        return float(best[0] - best[1:].max())


def measured(each: int, seed: int, levels: Sequence[float]) -> Iterator[dict[str, Any]]:
    voices, scores = names(), Scores()
    for wording in WORDINGS:
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
            a, b = np.array(rightly), np.array(denials)
            yield {
                "wording": wording, "snr": level(snr), "seconds": round(length, 2), "said": len(a), "denied": len(b),
                "ahead": round(float(np.median(a)), 1), "behind": round(float(-np.median(b)), 1),
                "opens": round(float(np.mean(a > b.max())), 3), "area": round(float(np.mean(a[:, None] > b[None])), 3),
            }  # fmt: skip


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--each", type=int, default=4, help="half of how often a wording, and a denial, is said a level")
    parser.add_argument("--levels", default="20,10,5", help="dB")
    asked = parser.parse_args()
    levels = [float(one) for one in asked.levels.split(",")]
    return reported("tests.bench.wordings", asked, lambda: measured(asked.each, asked.seed, levels))


if __name__ == "__main__":
    sys.exit(main())
