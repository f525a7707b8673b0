"""The handbook's page on how much the program says, from `results/talk-before.json` and `talk-after.json`.

    python -m tests.bench.talk_page > handsfree/handbook/pages/talk.md
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).parent / "results"
HEAD = """# How much it talks

Ten whole jobs, from "what is wrong?" to the words with the customer. A simulated technician answers from the facts of a
cabinet, through the real machine and runner. Listening times are those of the real synthesiser at 150 words a minute.
In this test nothing is misheard. `python -m tests.bench.talk` measures it again.

*Before* is the program before its dialogue was redesigned; at that time the deck exchange had no arrival, no proof of
cold and no close-out. *Known, asked* counts questions whose answer was already known, and work that was already done.
*First question* counts the prompts before the first question about the fault.
"""
#: The goals: (job, form, column) -> at most.
WANTED = {
    ("dirty-condenser", "usual", "utterances"): 30, ("dirty-condenser", "usual", "listening_min"): 4,
    ("dirty-condenser", "short", "listening_min"): 2.5,
    ("wrong-mode", "usual", "utterances"): 15, ("wrong-mode", "usual", "listening_min"): 2,
    ("wrong-setting", "usual", "utterances"): 15, ("wrong-setting", "usual", "listening_min"): 2,
    ("deck-exchange", "usual", "utterances"): 35, ("deck-exchange", "usual", "listening_min"): 4,
}  # fmt: skip
COMPLAINTS = """
People may say what is wrong in their own words: typed, spoken (then it is read back) or on a call sheet. The test sentences
were written before the list of known words was widened, by the same author. Nobody looked at the *judging* ones while
choosing words (`python -m tests.bench.complaints`):

| way | sentences | right | asked back | taken for another |
|---|---|---|---|---|"""
VOICE = """
By voice: a synthetic voice in compressor noise at 10 dB, through the real recogniser (`python -m
tests.bench.talk_voice`). The hearing was fitted on voices that include slt and awb, and not on the others. awb's "affirm" is
never recognised; when the program asks again, it offers "that is right".

| job | voice | the technician speaks | asked again | misheard | typed in the end |
|---|---|---|---|---|---|"""
KNOWN = """
Whether the controller calls for cooling is asked twice in relay-terminal-off: once before the cabinet is switched off for
the plug-in meter, and once after. The second is a fresh look, so it is not counted: nothing is opened while the controller
rests. In freezing-stock the temperature between the bottles is read once: where the compressor is silent and the reading is
not older than 15 minutes, it is also the first value of the proof of cold, by the time at which it was taken."""
COLUMNS = ("prompts", "utterances", "listening_min", "known_asked", "first_question")
NAMES = ("prompts", "the technician speaks", "listening, min", "known, asked", "first question")


def cells(row: dict[str, Any]) -> str:
    return " | ".join(f"{row[name]:.1f}" if name == "listening_min" else str(row[name]) for name in COLUMNS)


def wanted(after: dict[str, Any]) -> str:
    """Each goal with its result, made from the results alone."""
    of = dict(zip(COLUMNS, NAMES, strict=True))
    rows = [
        (f"{job}, {form} form: {of[column]}", after[job][form][column], most)
        for (job, form, column), most in WANTED.items()
    ]
    first = max(after[job]["usual"]["first_question"] for job in after if job != "deck-exchange")
    known = sum(row["known_asked"] for forms in after.values() for row in forms.values())
    rows.append(("the first question about the fault, except in an exchange, which asks none", first, 4))
    rows.append(("asked though known, in all jobs and forms", known, 0))
    lines = [f"| {what} | {most:g} | {got:g} | {'reached' if got <= most else 'not reached'} |" for what, got, most in rows]
    return "\n".join(("| goal, at most | | result | |", "|---|---|---|---|", *lines))


def rows(name: str) -> dict[str, Any]:
    """Without what a file says of how it was made."""
    found = json.loads((RESULTS / f"{name}.json").read_text(encoding="utf-8"))
    return {key: row for key, row in found.items() if key not in ("command", "date", "machine")}


def page() -> str:
    """The whole page, from the results alone."""
    before, after = rows("talk-before"), rows("talk-after")
    parts = [HEAD, f"| job | form | {' | '.join(NAMES)} |\n|---|---|{'---|' * len(COLUMNS)}"]
    for job in before:
        parts.append(f"| {job} | before | {cells(before[job]['usual'])} |")
        parts += [f"| {job} | {form} | {cells(after[job][form])} |" for form in ("usual", "short")]
    parts += [f"\n{wanted(after)}", KNOWN, COMPLAINTS]
    for way, tables in rows("complaints").items():
        for part, found in sorted(tables.items()):
            counts = " | ".join(str(found.get(kind, 0)) for kind in ("right", "asked", "wrong"))
            parts.append(f"| {way} | {part.replace('judged', 'judging')} | {counts} |")
    parts.append(VOICE)
    parts += [
        f"| {job} | {voice} | {row['utterances']} | {row['asked_again']} | {row['misheard']} | {row['typed']} |"
        for voice, jobs in rows("talk-voice").items() for job, row in jobs.items()
    ]  # fmt: skip
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    print(page(), end="")
