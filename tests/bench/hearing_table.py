"""The handbook's table of hearing, from what was measured (results/hearing.json).

python -m tests.bench.hearing_table                                       prints the table
python -m tests.bench.hearing_table --gather PEOPLE NEAR EXCHANGES        writes results/hearing.json anew from what these
                                                                          benches wrote with --out, and prints the table

`python -m tests.bench.figures --write` then puts it, and README's small one, into their pages.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).with_name("results") / "hearing.json"
LEVELS = ("clean", "20", "10", "5")
OUTCOMES = ("right", "proposed_right", "proposed_wrong", "wrong", "asked_again", "silent")
#: What a row shows: title, whose clips, kind, what of it.
ROWS = (
    ("people: answers in words it was not trained on, right the first time", "people", "answer", ("right",)),
    ("… or rightly proposed", "people", "answer", ("right", "proposed_right")),
    ("people: readings, right the first time", "people", "reading", ("right",)),
    ("… or rightly proposed", "people", "reading", ("right", "proposed_right")),
    ("people: words that are none of the answers, accepted", "people", "other word", ("wrong",)),
    ("… or wrongly proposed", "people", "other word", ("wrong", "proposed_wrong")),
    ("people: unrelated sentences and shouts, accepted", "people", "unrelated", ("wrong",)),
    ("voices with accents: answers", "unlike", "choice", ("right",)),
    ("… or rightly proposed", "unlike", "choice", ("right", "proposed_right")),
    ("voices with accents: readings", "unlike", "reading", ("right",)),
    ("… or rightly proposed", "unlike", "reading", ("right", "proposed_right")),
    ("voices with accents: gates opened at the first attempt", "unlike", "gate", ("right",)),
    ("… within two attempts", "unlike", "gate", ("within_two",)),
    ("near misses of a gate phrase, by what they mean, accepted", "unlike", "near", ("wrong",)),
    ("false proofs that the works are dead, accepted", "unlike", "proof", ("wrong",)),
)
Row = dict[str, Any]


def results() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(RESULTS.read_text(encoding="utf-8"))
    return found


def share(found: Mapping[str, Any], whose: str, kind: str, level: str, what: tuple[str, ...]) -> tuple[int, int]:
    """(how many, of how many)."""
    row = next(row for row in found[whose] if row["kind"] == kind and row["snr"] == level)
    return sum(row[name] for name in what), row["clips"]


def table(found: Mapping[str, Any]) -> str:
    lines = ["| | clean | 20 dB | 10 dB | 5 dB |", "| --- | --- | --- | --- | --- |"]
    for title, whose, kind, what in ROWS:
        cells = ("{} of {}".format(*share(found, whose, kind, level, what)) for level in LEVELS)
        lines.append(f"| {title} | {' | '.join(cells)} |")
    return "\n".join(lines)


def gathered(people: Mapping[str, Any], near: Mapping[str, Any], exchanges: Mapping[str, Any]) -> dict[str, Any]:
    """What results/hearing.json holds. `wrong`: of clips on which nothing in force was said, what was acted on."""
    return {
        "machine": people["machine"],
        "commands": [one["command"] for one in (people, near, exchanges)],
        "people": [_of_people(row) for row in people["by"] if row["speaker"] == "everybody"],
        "unlike": [*_of_exchanges(exchanges["by"]), *_of_near(near["by"])],
    }


def _of_people(row: Row) -> Row:
    counts = {name: row[name] for name in OUTCOMES} | {"wrong": row["wrong"] + row["accepted"]}
    return {"kind": row["kind"], "snr": row["snr"], "clips": row["clips"], **counts}


def _of_exchanges(rows: Iterable[Row]) -> Iterator[Row]:
    for row in rows:
        if row["kind"] != "gate":  # of gates `near` has more
            kind = {"answer": "choice"}.get(row["kind"], row["kind"])
            yield {"kind": kind, "snr": row["snr"], "clips": row["exchanges"], **row["first"]}


def _of_near(rows: Iterable[Row]) -> Iterator[Row]:
    """The classes of a kind together; of the right phrase what opened at once, and within two sayings."""
    rows = list(rows)
    for kind in ("gate", "near", "proof", "proves", "accent"):
        right = kind in ("gate", "proves", "accent")
        for snr in LEVELS:
            some = [row for row in rows if (row["kind"], row["snr"]) == (kind, snr)]
            count = {name: sum(row[name] for row in some) for name in ("clips", "opened", "second", "asked_again", "silent")}
            out = dict.fromkeys(OUTCOMES, 0) | {
                "right" if right else "wrong": count["opened"], "asked_again": count["asked_again"] + count["second"],
                "silent": count["silent"], "within_two": count["opened"] + count["second"],
                "proposed_wrong": sum(row["proposed"] for row in some),
            }  # fmt: skip
            yield {"kind": kind, "snr": snr, "clips": count["clips"], **out}


def written(found: Mapping[str, Any]) -> str:
    """A line for each row: a change of the results can be read."""
    parts = []
    for name, value in found.items():
        lines = ",\n  ".join(json.dumps(row) for row in value) if isinstance(value, list) else ""
        parts.append(f"{json.dumps(name)}: [\n  {lines}\n ]" if lines else f"{json.dumps(name)}: {json.dumps(value)}")
    return "{\n " + ",\n ".join(parts) + "\n}\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--gather", type=Path, nargs=3, metavar=("PEOPLE", "NEAR", "EXCHANGES"))
    asked = parser.parse_args()
    if asked.gather:
        files = [json.loads(path.read_text(encoding="utf-8")) for path in asked.gather]
        RESULTS.write_text(written(gathered(*files)), encoding="utf-8")
    print(table(results()))


if __name__ == "__main__":
    main()
