"""What share of phrases is heard right the first time, by signal-to-noise, from the last evaluation; for the sound check."""

from __future__ import annotations

from handsfree.sound.check import Expected

#: Answers of people and of voices with accents (tests/bench/results/hearing.json, to which a test holds it). 40 dB stands
#: for clean.
TABLE: tuple[Expected, ...] = (
    Expected(5.0, 46 / 51),
    Expected(10.0, 47 / 51),
    Expected(20.0, 47 / 51),
    Expected(40.0, 47 / 51),
)
