"""What share of phrases is heard right the first time, by signal-to-noise, from the last evaluation; for the sound check."""

from __future__ import annotations

from handsfree.sound.check import Expected

#: Choices and commands of the held-out split (MEASURED.md): 27 of 28 clean, 16 of 20 at 20 dB, 57 of 73 at 10 and 5 dB,
#: which are taken together because the clips of each are too few to tell apart. 40 dB stands for clean.
TABLE: tuple[Expected, ...] = (
    Expected(5.0, 57 / 73),
    Expected(10.0, 57 / 73),
    Expected(20.0, 16 / 20),
    Expected(40.0, 27 / 28),
)
