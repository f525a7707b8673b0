"""The handbook's page on how much is said, from `results/talk-before.json` and `talk-after.json`.

    python -m tests.bench.talk_page > handsfree/handbook/pages/talk.md
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).parent / "results"
HEAD = """# How much it talks

Ten whole jobs, from "what is wrong?" to the words with the customer, by a simulated technician who answers from the
facts of a cabinet, through the real machine and runner; listening times are those of the real synthesiser at 150 words a
minute. Nothing is misheard here. `python -m tests.bench.talk` measures it again. *Before* is the program before its
dialogue was made anew: there the deck exchange had no arrival, no proof of cold and no close-out. *Known, asked* counts
questions whose answer had been told, and work that was done already. *First question*: prompts before the first question
about the fault.
"""
WANTED = """
Wanted, usual form: dirty condenser 30 utterances and 4 minutes (short form 2.5), wrong mode or setting 15 and 2 minutes,
deck exchange 35 and 4 minutes, the first question about the fault after 4 prompts, nothing known asked. Reached: the
utterances of the wrong setting; the first question, but for freezing stock by one, and the exchange, which has none until
its end; nothing known asked in seven of ten. Not reached: the minutes, the exchange, and by one or two utterances the
condenser and the mode. What costs most now is the isolation and its restore with all that they must ask, and the readings
that prove the cold.
"""
VOICE = """
By voice, a synthetic one in compressor noise at 10 dB, through the real recogniser (`python -m
tests.bench.talk_voice`; both voices are among those that the hearing was fitted on):

| job | voice | the technician speaks | asked again | misheard | typed in the end |
|---|---|---|---|---|---|"""
COLUMNS = ("prompts", "utterances", "listening_min", "known_asked", "first_question")
NAMES = ("prompts", "the technician speaks", "listening, min", "known, asked", "first question")


def cells(row: dict[str, Any]) -> str:
    return " | ".join(f"{row[name]:.1f}" if name == "listening_min" else str(row[name]) for name in COLUMNS)


def main() -> None:
    before, after = (json.loads((RESULTS / f"talk-{name}.json").read_text()) for name in ("before", "after"))
    print(HEAD)
    print(f"| job | form | {' | '.join(NAMES)} |\n|---|---|{'---|' * len(COLUMNS)}")
    for job in before:
        print(f"| {job} | before | {cells(before[job]['usual'])} |")
        for form in ("usual", "short"):
            print(f"| {job} | {form} | {cells(after[job][form])} |")
    print(WANTED + VOICE)
    for voice, jobs in json.loads((RESULTS / "talk-voice.json").read_text()).items():
        for job, row in jobs.items():
            print(f"| {job} | {voice} | {row['utterances']} | {row['asked_again']} | {row['misheard']} | {row['typed']} |")


if __name__ == "__main__":
    main()
