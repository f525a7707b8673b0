"""The bars of the speaker witness: set on synthetic voices that judge nothing (30 of them, clean and at 20 dB; a voice
known by four clips has three in a hundred of its own under SAME); tests/bench/voices_apart.py measures them on others."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Bar:
    name: str
    value: float
    unit: str
    reason: str
    costs: str


SAME = Bar(
    "the same voice", 0.30, "likeness",
    "Three in a hundred clips of the right voice lie under it, where the voice is known by four.",
    "The person says the phrase once more.",
)  # fmt: skip
GAP = Bar(
    "less, and it is another's", 0.10, "likeness",
    "Between the two the voice is in doubt, and asked for once more; five in a thousand of the right voice lie under both.",
    "The gate stays shut, and the program says why.",
)  # fmt: skip
FEW = Bar(
    "less for a voice half as well known", 0.07, "likeness",
    "One short clip tells little of a voice: the same person's next is less alike.",
    "More voices pass for one that is known by one clip.",
)  # fmt: skip
QUIET = Bar(
    "quiet", 30.0, "decibels", "What is heard clean tells voices apart better than what is heard at 20 dB.",
    "In quiet a clip must be more alike.",
)  # fmt: skip
MORE = Bar(
    "more in quiet", 0.15, "likeness", "So much more alike are the clips of one voice that three in a hundred lie under.",
    "As at the same voice.",
)  # fmt: skip
KNOWN = Bar("a voice well known", 4, "clips", "More clips change the curve no further.", "A few utterances go by first.")
ADDS = Bar(
    "surely the same voice", 0.45, "likeness",
    "What is added to a voice must not be another's: one clip in fifty of another voice is so alike.",
    "A voice is learnt more slowly.",
)  # fmt: skip
LEAST = Bar(
    "speech to tell a voice by", 0.6, "seconds", "The encoder's window is 0.8 s.", "Of a short word nothing is said.",
)  # fmt: skip
NOISE = Bar(
    "out of the noise", 15.0, "decibels",
    "At 10 dB nine in ten other voices pass where three in a hundred of the right are doubted: it says nothing there.",
    "In loud noise voices are not compared.",
)  # fmt: skip
EVERY: tuple[Bar, ...] = (SAME, GAP, FEW, QUIET, MORE, KNOWN, ADDS, LEAST, NOISE)
