"""Random procedures, proved or not, and random things said in them, judged by `tests.bench.watchman`.

    python -m tests.bench.random_books [--happenings 1000000] [--seed 1] [--most-seconds S]

A book is drawn with its own account of what feeds what, so that the watchman is told by who made it and not by the program.
Steps follow each other in any order and lead anywhere; two sources and a stored charge behind the first. Of what is said,
most answers what is asked (or nothing would ever be isolated), the rest is anything at all. The clock runs; one record in
fifty is replayed from the start."""

from __future__ import annotations

import argparse
import random
import time
from dataclasses import replace
from typing import Any

from handsfree.journal import events as ev
from handsfree.language.meaning import Sense, gate_text
from handsfree.procedure import load
from handsfree.visit.machine import advance, start
from tests.bench.letters import AGED, alphabet, heard
from tests.bench.spread import hurried
from tests.bench.walk import WALL
from tests.bench.watchman import ENGLISH, WORDS, A, B, Small, Watch, broken, hears

SOURCES = {"plug": "mains", "valve": "water", "capacitor": "charge"}
FEEDS = {"mains": ("plug",), "water": ("valve",), "stored charge": ("plug", "capacitor")}
PROOFS = {"plug": ("switch", "switch"), "valve": ("tap", "switch"), "capacitor": ("charge-meter", "meter")}
STEPS_A_BOOK = (4, 14)
HAPPENINGS_A_VISIT = 150


def drawn(die: random.Random) -> Small:
    """A book and its account."""
    names = [f"s{n}" for n in range(die.randint(*STEPS_A_BOOK))]
    rows, needs, isolates, proves, restores, power = [], {}, {}, {}, {}, {}
    pairs: list[str] = []
    plain = die.random() < 0.5  # half of them in the order of a real one
    for n, name in enumerate(names):
        kind = _order(n, die) if plain else die.choice(("isolate", "prove", "hazard", "hazard", "restore", "ask", "plain"))
        source = die.choice(list(SOURCES)) if not plain else ("plug", "valve", "capacitor")[min(n // 2, 2)]
        go = f", go: {die.choice(names)}" if die.random() < 0.15 else ""
        say = f"This is {name} of {kind}."
        match kind:
            case "isolate":
                isolates[name] = (source,)
                rows.append(f"{{id: {name}, kind: isolate, say: {say}, do: [Do it.], sources: [{source}]{go}}}")
            case "prove":
                method, how = PROOFS[source]
                proves[name] = (source, how)
                rows.append(f"{{id: {name}, kind: prove, method: {method}, source: {source}, say: {say}{go}}}")
            case "restore":
                names_ = die.sample(list(SOURCES), die.randint(1, 3))
                restores[name], power[f"Power by {name}."] = tuple(names_), tuple(names_)
                listed = ", ".join(names_)
                rows.append(f"{{id: {name}, kind: restore, sources: [{listed}], say: {say}, "
                            f"checks: [Tools out., Covers on.], power: Power by {name}.{go}}}")  # fmt: skip
            case "hazard":
                met = die.sample(list(FEEDS), die.choice((1, 1, 2)))
                needs[name] = tuple(dict.fromkeys(one for hazard in met for one in FEEDS[hazard]))
                pairs += [name] if die.random() < 0.1 else []
                people = ", people: 2" if name in pairs else ""
                rows.append(f"{{id: {name}, kind: instruct, hazards: [{', '.join(met)}], say: {say}{people}{go}}}")
            case "ask":
                to = die.choice(names)
                rows.append(f"{{id: {name}, kind: ask, say: {say}, answers: {{cool: {{go: {to}}}, warm: }}}}")
            case _:
                pairs += [name] if die.random() < 0.2 else []
                people = ", people: 2" if name in pairs else ""
                rows.append(f"{{id: {name}, kind: instruct, say: {say}{people}{go}}}")
    used = {one for part in (isolates, restores) for many in part.values() for one in many}
    used |= {source for source, _ in proves.values()} | {one for many in needs.values() for one in many}
    if not used:
        return drawn(die)
    declared = ", ".join(f"{name}: {{kind: {kind}}}" for name, kind in SOURCES.items())
    steps = "\n".join(f"  - {row}" for row in rows)
    text = (f"procedure: drawn\ntitle: Drawn\nsources: {{{declared}}}\nsteps:\n{steps}\n"
            "  - {id: end, kind: end, outcome: done, say: The end.}\n")  # fmt: skip
    return Small(
        text, needs, isolates or {"none": ("plug",)}, proves, restores, power, limit=10.0, behind={"capacitor": "plug"},
        unlocked=frozenset({"capacitor"}), returns={"capacitor": 30 * 60.0}, people=(A, B), phrases=("cool", "warm"),
        pairs=tuple(pairs),
    )  # fmt: skip


def _order(n: int, die: random.Random) -> str:
    if n < 6:
        return ("isolate", "prove")[n % 2]
    return die.choice(("hazard", "hazard", "hazard", "restore", "ask", "isolate"))


def helpful(state: Any, die: random.Random) -> Any:
    """An answer to what is asked, most often a good one."""
    asked = str(state.asked)
    lock = state.interlock.lock or A
    number = die.choice((lock, lock, lock, A, B))
    if asked == "lock number":
        return heard(Sense.DIGITS, " ".join(die.choice((A, B))))
    if "phrase" in asked or ("lock" in asked and "affirm" not in asked):
        listening = state.listening
        word = listening.gate if listening is not None and listening.gate else die.choice(("isolated", "clear"))
        return heard(Sense.GATE, gate_text(word, number))
    if "reading of dead" in asked and "affirmed" not in asked:
        return heard(Sense.NUMBER, "0.5", 0.5)
    if asked == "switch tried":
        return heard(Sense.PHRASE, "nothing runs")
    if asked == "answer":
        return heard(Sense.PHRASE, die.choice(("cool", "warm")))
    if state.listening is not None and state.listening.phrases and die.random() < 0.5:
        return heard(Sense.PHRASE, die.choice(state.listening.phrases))
    if state.closed:
        return ev.Resumed("stopped" if state.outcome == "stopped" else "interrupted")
    return heard(Sense.COMMAND, die.choice(("affirm", "affirm", "next step", "next step", "go ahead")))


def visit(small: Small, die: random.Random, letters: list[tuple[Any, float]], replay: bool) -> tuple[int, int, list[str]]:
    """(happenings, times isolated, rules broken) of one visit."""
    book = load.book_of(load.parse_procedure(small.text, "drawn.yaml"))
    WORDS[small.text] = {step.id: step.say for step in book.procedures[book.main].steps}
    opened = ev.Opened("v", book.main, "en", "", "", "", "t", "typed")
    record = [ev.Stamped(0, WALL, 0.0, opened)]
    state, effects = advance(start(book, ENGLISH), record[0])
    watch, now, isolated, wrong = Watch(), 0.0, 0, []
    proved: dict[str, float] = {}
    for effect in effects:
        watch, _ = broken(small, watch, effect)
    for n in range(HAPPENINGS_A_VISIT):
        event, silence = (helpful(state, die), die.uniform(0.5, 20)) if die.random() < 0.8 else die.choice(letters)
        quiet = now + silence - state.interlock.last_heard  # the watchman is told how long nobody spoke
        now += silence
        over = [name for name, seconds in small.returns.items() if now - proved.get(name, now) > seconds]
        stamped = ev.Stamped(n + 1, WALL, now, event)
        record.append(stamped)
        after, effects = advance(state, stamped)
        watch = hears(small, watch, stamped, quiet, over)
        for effect in effects:
            was = watch
            watch, why = broken(small, watch, effect)
            isolated += bool(watch.dead - was.dead)
            proved |= dict.fromkeys(watch.dead - was.dead, now)
            if isinstance(effect, ev.StepEntered) and effect.step in small.proves:  # measured again, it counts from then
                proved[small.proves[effect.step][0]] = now
            if why and not (why.startswith("7") and isinstance(event, ev.FaultMet)):
                wrong.append(why)
        state = after
        if wrong or (state.closed and state.outcome == "done"):
            break
    if replay:
        again = start(book, ENGLISH)
        for stamped in record:
            kept = ev.from_data(type(stamped.event).__name__, ev.to_data(stamped.event))
            again, _ = advance(again, ev.Stamped(stamped.n, WALL, stamped.mono, kept))
        if replace(again, wall="") != replace(state, wall=""):
            wrong.append("7: a replay differs")
    if wrong:
        wrong.append(shown(record))
    return len(record), isolated, wrong


def shown(record: list[ev.Stamped]) -> str:
    return "; ".join(getattr(one.event, "text", "") or type(one.event).__name__ for one in record[-25:])


def main() -> None:
    hurried()
    parser = argparse.ArgumentParser()
    parser.add_argument("--happenings", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most-seconds", type=float, default=1e9)
    parser.add_argument("--show", action="store_true")
    asked = parser.parse_args()
    die, until = random.Random(asked.seed), time.monotonic() + asked.most_seconds
    happened = books = isolated = violations = 0
    while happened < asked.happenings and time.monotonic() < until:
        small = drawn(die)
        letters = [one for one in alphabet(small) if one[1] != AGED]  # the clock runs here
        books += 1
        for _ in range(4):
            many, dead, wrong = visit(small, die, letters, replay=die.random() < 0.02)
            happened, isolated = happened + many, isolated + dead
            if wrong:
                violations += 1
                print(f"book {books}: {wrong[0]}\n  {wrong[-1]}\n{small.text if asked.show else ''}", flush=True)
    counted = f"{books:,} books, {happened:,} happenings, {isolated:,} times isolated"
    print(f"{counted}, {violations} violations, seed {asked.seed}")


if __name__ == "__main__":
    main()
