"""What share of phrases is heard right the first time, by signal-to-noise, from the last evaluation; for the sound check."""

from __future__ import annotations

from handsfree.sound.check import Expected

#: Choices and commands of the clips made afresh (MEASURED.md). 40 dB stands for clean.
TABLE: tuple[Expected, ...] = (
    Expected(5.0, 98 / 136),
    Expected(10.0, 112 / 136),
    Expected(20.0, 117 / 136),
    Expected(40.0, 127 / 136),
)
