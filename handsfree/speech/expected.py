"""What share of phrases is heard right the first time, by signal-to-noise, from the last evaluation; for the sound check."""

from __future__ import annotations

from handsfree.sound.check import Expected

#: Choices and commands of the held-out clips of both corpora (MEASURED.md). 40 dB stands for clean.
TABLE: tuple[Expected, ...] = (
    Expected(5.0, 127 / 170),
    Expected(10.0, 139 / 170),
    Expected(20.0, 143 / 170),
    Expected(40.0, 154 / 170),
)
