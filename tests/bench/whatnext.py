"""What next against fixed trees: minutes, isolations and wrong repairs to the right diagnosis.

    python -m tests.bench.whatnext [--visits 500] [--seed 1] [--wrong-minutes 25]

A visit: a cabinet is drawn with one fault and a complaint; a strategy asks checks until it acts on a fault. A
wrong action costs WRONG_MINUTES and an isolation, and the visit goes on; it ends at the right fault. Every
strategy meets the same cabinets, the same answers (an answer belongs to the cabinet, not to the asking), the
same costs of cutting and restoring the power.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache

from handsfree.trade import whatnext
from handsfree.trade.faultmodel import COMPLAINT, Check, FaultModel
from handsfree.trade.whatnext import posterior, ranked
from tests.bench.mirror.answers import mirrored
from tests.bench.whatnext_trees import TREES

ANSWERS = dict[str, str]


@dataclass(frozen=True)
class Cabinet:
    """One cabinet: its true fault, the complaint, and its answer to every check."""

    fault: str
    complaint: str
    answers: ANSWERS


@dataclass
class Visit:
    """What a strategy has spent and seen so far."""

    observed: ANSWERS
    isolated: bool = False
    minutes: float = 0.0
    isolations: int = 0
    asked: int = 0
    tried: list[str] = field(default_factory=list)


# A strategy returns the id of a check to ask, or "act:" and the id of a fault.
Strategy = Callable[[FaultModel, Visit], str]


def _likeliest(model: FaultModel, visit: Visit) -> str:
    return "act:" + ranked(posterior(model, visit.observed, visit.tried))[0][0]


def _enough(model: FaultModel, visit: Visit) -> bool:
    """The program's own rule for when to act, lent to every strategy that has inference."""
    beliefs = posterior(model, visit.observed, visit.tried)
    return whatnext.time_to_act(model, beliefs, visit.observed, visit.isolated)


def what_next(model: FaultModel, visit: Visit) -> str:
    """The strategy under test."""
    key = (model.wrong_minutes, frozenset(visit.observed.items()), visit.isolated, frozenset(visit.tried))
    if key not in _CHOSEN:
        advice = whatnext.next_check(model, visit.observed, visit.isolated, visit.tried)
        _CHOSEN[key] = advice.check.id if advice else _likeliest(model, visit)
    return _CHOSEN[key]


# Many visits begin alike; the models of one run differ in nothing but the cost of a wrong repair.
_CHOSEN: dict[tuple[float, frozenset[tuple[str, str]], bool, frozenset[str]], str] = {}


def fixed_tree(model: FaultModel, visit: Visit) -> str:
    """The plain tree: act on the first answer that accuses a fault; at its end, on the commonest causes left."""
    accused = None
    for step in TREES[visit.observed[COMPLAINT]]:
        if any(visit.observed.get(check) not in allowed for check, allowed in step.when.items()):
            continue
        if step.check not in visit.observed:
            return step.check
        accused = step.accuses.get(visit.observed[step.check])
        if accused and accused not in visit.tried:
            return "act:" + accused
    complaint = {COMPLAINT: visit.observed[COMPLAINT]}
    return "act:" + ranked(posterior(model, complaint, visit.tried))[0][0]


def tree_order(model: FaultModel, visit: Visit) -> str:
    """The tree's order of checks, but with exact inference to say when to act and on what."""
    if not _enough(model, visit):
        for step in TREES[visit.observed[COMPLAINT]]:
            applies = all(visit.observed.get(check) in allowed for check, allowed in step.when.items())
            if applies and step.check not in visit.observed:
                return step.check
    return _likeliest(model, visit)


def best_order(model: FaultModel, visit: Visit) -> str:
    """For each complaint all checks in one computed order (power first, bits a minute), with exact inference."""
    if not _enough(model, visit):
        for check in _static_order(visit.observed[COMPLAINT]):
            if check not in visit.observed:
                return check
    return _likeliest(model, visit)


@lru_cache(maxsize=32)
def _static_order(complaint: str) -> tuple[str, ...]:
    model = mirrored()
    beliefs = posterior(model, {COMPLAINT: complaint})
    told = {c.id: whatnext.information(c, beliefs) / c.minutes for c in model.checks.values()}
    return tuple(sorted(told, key=lambda name: (model.checks[name].needs == "isolation", -told[name])))


STRATEGIES: dict[str, Strategy] = {
    "what next": what_next,
    "fixed tree": fixed_tree,
    "tree + inference": tree_order,
    "best fixed order": best_order,
}


def run(model: FaultModel, cabinet: Cabinet, strategy: Strategy) -> Visit:
    """One visit, to the right diagnosis."""
    visit = Visit({COMPLAINT: cabinet.complaint})
    while True:
        choice = strategy(model, visit)
        if choice == "act:" + cabinet.fault:
            return visit
        if choice.startswith("act:"):
            _act_in_vain(model, visit, choice[4:])
        else:
            _ask(model, visit, model.checks[choice], cabinet.answers[choice])


def _act_in_vain(model: FaultModel, visit: Visit, fault: str) -> None:
    visit.tried.append(fault)
    visit.isolations += not visit.isolated
    visit.minutes += model.wrong_minutes
    visit.isolated = False


def _ask(model: FaultModel, visit: Visit, check: Check, answer: str) -> None:
    if check.needs == "isolation" and not visit.isolated:
        visit.minutes, visit.isolations, visit.isolated = visit.minutes + model.isolate_minutes, visit.isolations + 1, True
    elif check.needs == "power" and visit.isolated:
        visit.minutes, visit.isolated = visit.minutes + model.restore_minutes, False
    visit.minutes += check.minutes
    visit.asked += 1
    visit.observed[check.id] = answer


# --- worlds ----------------------------------------------------------------------------------------------------


def draw(world: FaultModel, rng: random.Random) -> Cabinet:
    """A cabinet drawn from a model."""
    index = rng.choices(range(len(world.faults)), [fault.prior for fault in world.faults])[0]
    pick = {c.id: rng.choices(c.answers, c.rows[index])[0] for c in (world.complaint, *world.checks.values())}
    return Cabinet(world.faults[index].id, pick.pop(COMPLAINT), pick)


def bent(model: FaultModel, rng: random.Random, likelihoods: float, priors: float) -> FaultModel:
    """A wrong model: log shares and log priors each moved by a normal error of this standard deviation."""

    def move(row: tuple[float, ...], by: float) -> tuple[float, ...]:
        moved = [p * math.exp(rng.gauss(0, by)) for p in row]
        return tuple(p / sum(moved) for p in moved)

    def move_check(check: Check) -> Check:
        return replace(check, rows=tuple(move(row, likelihoods) for row in check.rows))

    weights = move(tuple(fault.prior for fault in model.faults), priors)
    return replace(
        model,
        faults=tuple(replace(fault, prior=p) for fault, p in zip(model.faults, weights, strict=True)),
        complaint=move_check(model.complaint),
        checks={name: move_check(check) for name, check in model.checks.items()},
    )


def worlds(seed: int) -> dict[str, Callable[[int], Cabinet]]:
    """Where cabinets come from: the model, wrong models (a new one for every visit), and the simulator."""
    from tests.bench.mirror.answers import simulated_visit

    model = mirrored()

    def wrong(likelihoods: float, priors: float) -> Callable[[int], Cabinet]:
        def cabinet(number: int) -> Cabinet:
            rng = random.Random(f"{seed}/{number}/{likelihoods}/{priors}")
            return draw(bent(model, rng, likelihoods, priors), rng)

        return cabinet

    def physics(number: int) -> Cabinet:
        return Cabinet(*simulated_visit(model, seed * 1_000_003 + number))

    return {
        "the model": wrong(0.0, 0.0),
        "wrong priors (1.0)": wrong(0.0, 1.0),
        "wrong likelihoods (1.0)": wrong(1.0, 0.0),
        "both wrong (1.0)": wrong(1.0, 1.0),
        "both very wrong (2.0)": wrong(2.0, 2.0),
        "the simulator": physics,
    }


# --- the table -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """One line of the table. `saved` is the mean saving of "what next" in minutes, with its standard error."""

    world: str
    strategy: str
    minutes: float
    median: float
    isolations: float
    asked: float
    first_right: float
    saved: float
    saved_error: float


def rows(visits: int, seed: int, only: tuple[str, ...] = (), wrong_minutes: float | None = None) -> list[Row]:
    """Every world by every strategy, on the same cabinets."""
    model = mirrored() if wrong_minutes is None else replace(mirrored(), wrong_minutes=wrong_minutes)
    table = []
    for world, cabinet in worlds(seed).items():
        if only and world not in only:
            continue
        cabinets = [cabinet(number) for number in range(visits)]
        results = {name: [run(model, c, strategy) for c in cabinets] for name, strategy in STRATEGIES.items()}
        table += [_row(world, name, done, results["what next"]) for name, done in results.items()]
    return table


def _row(world: str, name: str, done: list[Visit], ours: list[Visit]) -> Row:
    saved = [a.minutes - b.minutes for a, b in zip(done, ours, strict=True)]
    return Row(
        world,
        name,
        statistics.fmean(v.minutes for v in done),
        statistics.median(v.minutes for v in done),
        statistics.fmean(v.isolations for v in done),
        statistics.fmean(v.asked for v in done),
        statistics.fmean(not v.tried for v in done),
        statistics.fmean(saved),
        statistics.stdev(saved) / math.sqrt(len(saved)),
    )


def markdown(table: list[Row]) -> str:
    """The table, to be pasted."""
    columns = ("cabinets from", "strategy", "mean min", "median min", "isolations", "checks")
    head = "| " + " | ".join((*columns, "first diagnosis right", "min saved by what next")) + " |"
    lines = [head, "|---|---|---:|---:|---:|---:|---:|---:|"]
    for r in table:
        saved = "" if r.strategy == "what next" else f"{r.saved:+.1f} ± {2 * r.saved_error:.1f}"
        lines.append(
            f"| {r.world} | {r.strategy} | {r.minutes:.1f} | {r.median:.1f} | {r.isolations:.2f} "
            f"| {r.asked:.1f} | {100 * r.first_right:.0f} % | {saved} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="What next against fixed trees.")
    parser.add_argument("--visits", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wrong-minutes", type=float, default=None, help="what a wrong repair costs, if not the model's")
    options = parser.parse_args()
    print(markdown(rows(options.visits, options.seed, wrong_minutes=options.wrong_minutes)))


if __name__ == "__main__":
    main()
