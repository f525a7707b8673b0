"""What to check next: exact inference over the fault model, and the check that tells most per minute.

The rules of this file:

* One fault at a time, and answers that depend on the fault alone. With that, Bayes' rule over the table is exact
  and needs no library: P(fault | answers) is the prior times one column per answer, scaled to one.
* A check is worth the information that it is expected to give about the fault (Shannon, Bell System Technical
  Journal 27 (1948): mutual information, in bits) for each minute that it costs; Lindley, Annals of Mathematical
  Statistics 27 (1956), for choosing experiments so.
* Enough is known when one fault is SURE, or when it is LIKELY and no check left can save its own minutes by
  sparing a wrong repair (the value of one more observation: Raiffa and Schlaifer, Applied Statistical Decision
  Theory, 1961). Acting earlier still saves minutes on average but gets more first diagnoses wrong.
* Cutting the power and restoring it cost minutes too. They are charged to the first check that changes the state,
  so while the power is off the checks that need it off are cheap, and they are done in one isolation.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from handsfree.errors import Trouble
from handsfree.trade import doubts
from handsfree.trade.faultmodel import COMPLAINT, Check, FaultModel

SURE = 0.95  # of one fault: then it is time to act on it
LIKELY = 0.70  # of one fault: then a further check must pay for itself
NOTABLE = 0.10  # of two faults at once, or of none that is known: then it is said
LEAST_BITS = 0.02  # a check that tells less than this is not worth its walk


def posterior(model: FaultModel, observed: Mapping[str, str], ruled_out: Collection[str] = ()) -> dict[str, float]:
    """Probability of every fault, given answers by check id (the complaint under "complaint").

    `ruled_out` names faults that were put right without effect. Raises Trouble for a check, an answer or a fault
    that the model does not have, and when every fault is ruled out.
    """
    gone = {model.fault(name).id for name in ruled_out}
    if len(gone) == len(model.faults):
        raise Trouble("Every fault of the model is ruled out: hand over to the support desk.")
    logs = [math.log(fault.prior) for fault in model.faults]
    for check, answer in observed.items():
        logs = [log + math.log(p) for log, p in zip(logs, model.find(check).column(answer), strict=True)]
    top = max(log for fault, log in zip(model.faults, logs, strict=True) if fault.id not in gone)
    weights = [math.exp(min(log - top, 0.0)) for log in logs]
    weights = [0.0 if f.id in gone else w for f, w in zip(model.faults, weights, strict=True)]
    total = sum(weights)
    return {fault.id: weight / total for fault, weight in zip(model.faults, weights, strict=True)}


def information(check: Check, beliefs: Mapping[str, float]) -> float:
    """Bits that the check is expected to tell about the fault: the mutual information of answer and fault."""
    p = tuple(beliefs.values())
    bits = 0.0
    for index in range(len(check.answers)):
        joint = [b * row[index] for b, row in zip(p, check.rows, strict=True)]
        marginal = sum(joint)
        bits += sum(j * math.log2(row[index] / marginal) for j, row in zip(joint, check.rows, strict=True) if j > 0)
    return max(bits, 0.0)


def switching(model: FaultModel, check: Check, isolated: bool) -> float:
    """Minutes to bring the supply to the state that a check needs, and back where that will be needed."""
    if check.needs == "isolation" and not isolated:
        return model.isolate_minutes + model.restore_minutes
    if check.needs == "power" and isolated:
        return model.restore_minutes + model.isolate_minutes
    return 0.0


def time_to_act(model: FaultModel, beliefs: Mapping[str, float], observed: Mapping[str, str], isolated: bool) -> bool:
    """Whether the likeliest fault is sure enough to act on, given what a wrong repair costs."""
    top = max(beliefs.values())
    if top < LIKELY or top >= SURE:
        return top >= SURE
    left = (check for check in model.checks.values() if check.id not in observed)
    return all(
        model.wrong_minutes * (_foreseen(check, beliefs) - top) <= check.minutes + switching(model, check, isolated)
        for check in left
    )


def _foreseen(check: Check, beliefs: Mapping[str, float]) -> float:
    """Expected probability of the likeliest fault once this check has been answered."""
    p = tuple(beliefs.values())
    return sum(max(b * row[i] for b, row in zip(p, check.rows, strict=True)) for i in range(len(check.answers)))


@dataclass(frozen=True)
class Advice:
    """The next check: its bits, its minutes (switching included), whether it cuts the power, and what goes with it.

    `together` are the further checks to do in the same isolation, best first; empty for a check with power.
    """

    check: Check
    bits: float
    minutes: float
    cuts_power: bool
    restores_power: bool
    together: tuple[str, ...]


def next_check(
    model: FaultModel, observed: Mapping[str, str], isolated: bool = False, ruled_out: Collection[str] = ()
) -> Advice | None:
    """The check that tells most per minute from here, or None when it is time to act or nothing left can tell.

    `isolated` says whether the power is off now and proved dead.
    """
    beliefs = posterior(model, observed, ruled_out)
    if time_to_act(model, beliefs, observed, isolated):
        return None
    useful = {check.id: check for check in model.checks.values() if check.id not in observed}
    told = {name: information(check, beliefs) for name, check in useful.items()}
    useful = {name: check for name, check in useful.items() if told[name] >= LEAST_BITS}
    if not useful:
        return None
    cost = {name: check.minutes + switching(model, check, isolated) for name, check in useful.items()}
    best = useful[max(useful, key=lambda name: (told[name] / cost[name], name))]
    group = _group(list(useful.values()), told) if best.needs == "isolation" else ()
    return Advice(
        best,
        told[best.id],
        best.minutes + _now(model, best, isolated),
        best.needs == "isolation" and not isolated,
        best.needs == "power" and isolated,
        tuple(name for name in group if name != best.id),
    )


def worth(model: FaultModel, observed: Mapping[str, str], names: Collection[str], isolated: bool = False) -> tuple[str, ...]:
    """Those of these checks that tell something new, the one that tells most per minute from here first."""
    beliefs = posterior(model, observed)
    checks = [model.find(name) for name in names if name not in observed]
    told = {check.id: information(check, beliefs) for check in checks}
    cost = {check.id: check.minutes + switching(model, check, isolated) for check in checks}
    left = [check.id for check in checks if told[check.id] >= LEAST_BITS]
    return tuple(sorted(left, key=lambda name: (-told[name] / cost[name], name)))


def _group(useful: list[Check], told: Mapping[str, float]) -> tuple[str, ...]:
    """The checks that need isolation and are worth doing in it, best first."""
    members = [check for check in useful if check.needs == "isolation"]
    return tuple(c.id for c in sorted(members, key=lambda c: (-told[c.id] / c.minutes, c.id)))


def _now(model: FaultModel, check: Check, isolated: bool) -> float:
    """Minutes of switching that happen before this check, without the way back."""
    if check.needs == "isolation" and not isolated:
        return model.isolate_minutes
    return model.restore_minutes if check.needs == "power" and isolated else 0.0


def ranked(beliefs: Mapping[str, float]) -> list[tuple[str, float]]:
    """Faults with their probabilities, most likely first."""
    return sorted(beliefs.items(), key=lambda item: (-item[1], item[0]))


def _percent(share: float) -> str:
    return "over 99 percent" if share > 0.99 else f"{max(1, round(100 * share))} percent"


def why(
    model: FaultModel, observed: Mapping[str, str], isolated: bool = False, ruled_out: Collection[str] = ()
) -> tuple[str, ...]:
    """Sentences to speak for "why": what is likely so far, what the next check would tell, and what it costs."""
    beliefs = posterior(model, observed, ruled_out)
    (first, p1), (second, p2), *_ = ranked(beliefs)
    said = [
        f"Most likely {model.fault(first).says}: {_percent(p1)}.",
        f"After that, {model.fault(second).says}: {_percent(p2)}.",
    ]
    said += _doubts(model, observed, first, beliefs)
    advice = next_check(model, observed, isolated, ruled_out)
    if advice is None:
        enough = time_to_act(model, beliefs, observed, isolated)
        end = "That is enough to act on." if enough else "No check left here can tell more. Ask the support desk."
        return (*said, end)
    said.append(f"The next check takes {_spoken(advice.minutes)} and tells the most for its time.")
    said.append(_splits(model, advice.check, beliefs))
    if advice.cuts_power:
        more = len(advice.together)
        said.append("It needs the power off." + (f" {_count(more)} can follow in the same isolation." if more else ""))
    if advice.restores_power:
        said.append("It needs the power back on. What needed it off has been done.")
    return tuple(said)


def _doubts(model: FaultModel, observed: Mapping[str, str], first: str, beliefs: Mapping[str, float]) -> list[str]:
    """How far the likeliest may be off, and what a table of single faults leaves out, where it is likely."""
    found = doubts.sensitivity(model, observed, first, beliefs)
    said = [f"If one estimate is off by a factor of two, it is {_percent(found.low)} to {_percent(found.high)}."]
    names, share = next(pair for pair in doubts.explanations(model, observed) if len(pair[0]) != 1)
    if share >= NOTABLE and names:
        both = " and ".join(model.fault(name).says for name in names)
        said.append(f"Two at once: {_percent(share)}. That is: {both}.")
    elif share >= NOTABLE:
        said.append(f"None of the known faults: {_percent(share)}.")
    return said


def what_next(
    model: FaultModel, observed: Mapping[str, str], isolated: bool = False, ruled_out: Collection[str] = ()
) -> tuple[str, ...]:
    """Sentences to speak for "what next": the check, or the fault to act on, and what the power must be.

    The words only advise: nothing here isolates, and a check that needs isolation stays behind the interlock.
    """
    advice = next_check(model, observed, isolated, ruled_out)
    if advice is None:
        first, share = ranked(posterior(model, observed, ruled_out))[0]
        return (f"Act on this: {model.fault(first).says}, {_percent(share)}.",)
    said = [advice.check.asks]
    if advice.cuts_power:
        said.insert(0, "Isolate and prove dead first.")
        if advice.together:
            names = ", ".join(name.replace("_", " ") for name in advice.together[:3])
            said.append(f"Stay isolated after it, for: {names}.")
    if advice.restores_power:
        said.insert(0, "Restore the power first.")
    return tuple(said)


def _splits(model: FaultModel, check: Check, beliefs: Mapping[str, float]) -> str:
    """Which fault each of the two most telling answers would raise most."""
    rises: dict[str, tuple[float, str]] = {}
    ids = [fault.id for fault in model.faults]
    for answer in check.answers:
        joint = {f: beliefs[f] * p for f, p in zip(ids, check.column(answer), strict=True)}
        total = sum(joint.values())
        name, share = max(joint.items(), key=lambda item: item[1] / total - beliefs[item[0]])
        rises[answer] = (share / total - beliefs[name], name)
    answer = max(rises, key=lambda a: rises[a][0])
    return f"The answer {answer.replace('_', ' ')} would point to this: {model.fault(rises[answer][1]).says}."


def _spoken(minutes: float) -> str:
    whole = max(1, round(minutes))
    return f"about {whole} minute{'s' if whole > 1 else ''}"


def _count(number: int) -> str:
    return "One more check" if number == 1 else f"{number} more checks"


__all__ = [
    "COMPLAINT",
    "Advice",
    "information",
    "next_check",
    "posterior",
    "ranked",
    "switching",
    "time_to_act",
    "what_next",
    "why",
    "worth",
]
