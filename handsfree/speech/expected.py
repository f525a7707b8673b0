"""What share of answers is heard right the first time, by signal-to-noise, as it was last measured; for the sound check.

`expected.json` is written by `python -m tests.bench.figures --write` from the results of people and of voices with accents
(tests/bench/results/hearing.json); tests/test_figures.py fails where the two differ.
"""

from __future__ import annotations

import json
from pathlib import Path

from handsfree.sound.check import Expected

PLACE = Path(__file__).with_name("expected.json")
TABLE: tuple[Expected, ...] = tuple(Expected(**row) for row in json.loads(PLACE.read_text(encoding="utf-8")))
