"""The figures that README shows in one small table, the tables of hearing and of recording on the handbook's page, and what
the sound check expects: from what was measured.

python -m tests.bench.figures            prints the small table
python -m tests.bench.figures --write    puts the tables into their pages, and the shares beside the sound check

- Hearing comes from results/hearing.json, which `python -m tests.bench.hearing_table --gather` writes.
- Recording comes from results/recording.json, which `python -m tests.bench.recording --out` writes.
- The rest stands in results/figures.json, a line a figure: what, measured on what, the result, by which command, when.
- In a page, a table stands between `<!-- NAME -->` and `<!-- end of NAME -->`.
- tests/test_figures.py fails where a page and its data have parted.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handsfree.speech import expected
from tests.bench import hearing_table
from tests.bench.hearing_table import LEVELS, share

TOP = Path(__file__).resolve().parents[2]
FIGURES = Path(__file__).with_name("results") / "figures.json"
RECORDING = FIGURES.with_name("recording.json")
README, REACHES = TOP / "README.md", TOP / "handsfree" / "handbook" / "pages" / "reaches.md"
#: What of hearing the small table shows: title, whose clips, kinds, what of them.
HEARD = (
    ("people: an answer in words it was not trained on, right the first time", "people", ("answer",), ("right",)),
    ("… a reading, right the first time", "people", ("reading",), ("right",)),
    ("… an answer or a reading, taken for another", "people", ("answer", "reading"), ("wrong",)),
    ("… a word that is none of the answers, accepted", "people", ("other word",), ("wrong",)),
    ("voices with accents: a gate opened within two attempts", "unlike", ("gate",), ("within_two",)),
    ("… a near miss of a gate phrase or a false proof, accepted", "unlike", ("near", "proof"), ("wrong",)),
)


def small(heard: Mapping[str, Any], rest: list[Mapping[str, str]]) -> str:
    rows = []
    for title, whose, kinds, what in HEARD:
        counts = [[share(heard, whose, kind, level, what) for kind in kinds] for level in LEVELS]
        clips = [sum(of for _, of in level) for level in counts]
        same = len(set(clips)) == 1
        got = ", ".join(str(sum(n for n, _ in level)) for level in counts)
        on = f"{clips[0]} clips at each level" if same else f"{', '.join(map(str, clips))} clips"
        rows.append((title, on, got))
    rows += [(row["what"], row["on"], row["result"]) for row in rest]
    return "\n".join(["| what | measured on | result |", "| --- | --- | --- |", *(f"| {' | '.join(row)} |" for row in rows)])


def put_in(page: str, name: str, table: str) -> str:
    """The page with this table in its place. ValueError where it has no such place."""
    begin, end = f"<!-- {name} -->\n", f"<!-- end of {name} -->"
    new, count = re.subn(f"{begin}.*?{end}", lambda _: f"{begin}\n{table}\n\n{end}", page, flags=re.S)
    if count != 1:
        raise ValueError(f"the page has no one place for {name}")
    return new


def shares(heard: Mapping[str, Any]) -> str:
    """Of answers, by level; 40 dB stands for clean. The noisiest first."""
    rows = []
    for level in reversed(LEVELS):
        counts = [share(heard, *which, level, ("right",)) for which in (("people", "answer"), ("unlike", "choice"))]
        right, clips = (sum(count) for count in zip(*counts, strict=True))
        row = {"snr": 40.0 if level == "clean" else float(level), "accepted": round(right / clips, 3)}
        rows.append(json.dumps(row))
    return "[\n " + ",\n ".join(rows) + "\n]\n"


def recording(runs: list[Mapping[str, Any]]) -> str:
    """A row a run of the bench: what it was given, the most utterances of any voice, the wrong words."""
    heads = ("recorded by", "utterances, at most", "wrong words kept", "answers, numbers, units wrong and not asked about")
    rows = [f"| {' | '.join(heads)} |", "| --- | --- | --- | --- |"]
    for run in runs:
        voices = ", ".join(one["voice"] for one in run["by"])
        how = "the keyboard" if voices == "typed" else f"{voices}{', the trade typed before' if run['words_typed'] else ''}"
        how += ", doubts settled" if "--settle" in run["command"] else ""
        how += ", wrong words spelled aloud" if "--spell" in run["command"] else ""
        wrong = f"{round(run['word_errors'] * run['words'])} of {run['words']} ({run['word_errors']:.1%})"
        rows.append(f"| {how} | {run['utterances']} | {wrong} | {run['undoubted']} |")
    return "\n".join(rows)


def pages() -> dict[Path, str]:
    """Each file that shows figures, as it should be."""
    heard, rest = hearing_table.results(), json.loads(FIGURES.read_text(encoding="utf-8"))
    reaches = put_in(REACHES.read_text(encoding="utf-8"), "hearing", hearing_table.table(heard))
    return {
        README: put_in(README.read_text(encoding="utf-8"), "figures", small(heard, rest)),
        expected.PLACE: shares(heard),
        REACHES: put_in(reaches, "recording", recording(json.loads(RECORDING.read_text(encoding="utf-8")))),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", action="store_true")
    if parser.parse_args().write:
        for page, text in pages().items():
            page.write_text(text, encoding="utf-8")
    print(small(hearing_table.results(), json.loads(FIGURES.read_text(encoding="utf-8"))))


if __name__ == "__main__":
    main()
