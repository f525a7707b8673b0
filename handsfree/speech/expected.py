"""What share of phrases is heard right the first time, by signal-to-noise, from the last evaluation; for the sound check."""

from __future__ import annotations

from handsfree.sound.check import Expected

TABLE: tuple[Expected, ...] = ()
