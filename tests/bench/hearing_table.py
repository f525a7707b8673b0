"""The README's table of hearing, from what was measured (results/hearing.json): python -m tests.bench.hearing_table"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).with_name("results") / "hearing.json"
LEVELS = ("clean", "20", "10", "5")
#: What a row shows: title, whose clips, kind, what of it.
ROWS = (
    ("people: answers in words nobody taught, right the first time", "people", "answer", ("right",)),
    ("… or rightly proposed", "people", "answer", ("right", "proposed_right")),
    ("people: readings, right the first time", "people", "reading", ("right",)),
    ("… or rightly proposed", "people", "reading", ("right", "proposed_right")),
    ("voices with accents: answers", "unlike", "choice", ("right",)),
    ("… or rightly proposed", "unlike", "choice", ("right", "proposed_right")),
    ("voices with accents: readings", "unlike", "reading", ("right",)),
    ("… or rightly proposed", "unlike", "reading", ("right", "proposed_right")),
    ("voices with accents: gates at the first saying", "unlike", "gate", ("right",)),
    ("near misses of a gate taken", "unlike", "near", ("wrong",)),
)


def results() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(RESULTS.read_text(encoding="utf-8"))
    return found


def share(found: dict[str, Any], whose: str, kind: str, level: str, what: tuple[str, ...]) -> tuple[int, int]:
    """(how many, of how many)."""
    row = next(row for row in found[whose] if row["kind"] == kind and row["snr"] == level)
    return sum(row[name] for name in what), row["clips"]


def table(found: dict[str, Any]) -> str:
    lines = ["| | clean | 20 dB | 10 dB | 5 dB |", "| --- | --- | --- | --- | --- |"]
    for title, whose, kind, what in ROWS:
        cells = ("{} of {}".format(*share(found, whose, kind, level, what)) for level in LEVELS)
        lines.append(f"| {title} | {' | '.join(cells)} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(results()))
