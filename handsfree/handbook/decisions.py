"""How each decision is made: the rules at the head of the modules that make them, and their present limits."""

from __future__ import annotations

import inspect
from collections.abc import Iterable

from handsfree.handbook.markdown import code, rules_of, table, text
from handsfree.isolation import interlock, people, rules
from handsfree.journal import findings as finding
from handsfree.language.meaning import Denial
from handsfree.procedure import evaluation
from handsfree.speech import bars
from handsfree.speech.acceptance import fitted, set_of
from handsfree.speech.engine import Witness
from handsfree.speech.engines import declarations
from handsfree.speech.reach import settles
from handsfree.speech.weighing import Stake


def interlock_rules() -> str:
    return "\n".join(rules_of(module.__doc__) for module in (rules, people, interlock))


def branching_rules() -> str:
    return rules_of(evaluation.__doc__)


#: How the evidence of an engine is called to a reader.
_EVIDENCE = {
    Witness.TOKENS: "what it writes", Witness.SOUNDS: "the sounds themselves", Witness.GRAMMAR: "the likeliest of a grammar",
}  # fmt: skip
_ACTS = {
    Stake.CHOICE: "answers", Stake.COMMAND: "commands", Stake.READING: "readings", Stake.GATE: "gates",
    Stake.PROOF: "proofs",
}  # fmt: skip


def engines() -> str:
    """Every engine as it declares itself, and the acts for which its evidence alone can be enough."""
    rows = [(code(one.name), _EVIDENCE[one.gives], text(one.does), one.cost, _alone(one.gives)) for one in declarations()]
    return table(("engine", "evidence", "what it does", "processor", "can settle alone"), rows)


def _alone(gives: Witness) -> str:
    enough = listed(_ACTS[stake] for stake in settles([gives]))
    return enough if set_of([gives]) in fitted() else f"{enough}, if its own words mean the same"


def listed(words: Iterable[str]) -> str:
    """'answers, commands and readings'."""
    *some, last = words
    return f"{', '.join(some)} and {last}" if some else last


def thresholds() -> str:
    """Every threshold of the hearing, with its reason and what it costs."""
    rows = [(bar.name, bars.written(bar), text(bar.reason), text(bar.costs)) for bar in bars.EVERY]
    return table(("for", "threshold", "why", "what it costs"), rows)


def denials() -> str:
    """The look-alikes that are never accepted, with an example where the source gives one."""
    source = inspect.getsource(Denial)
    examples = dict(line.strip().split(" = ", 1) for line in source.splitlines() if " = " in line)
    rows = [(str(kind), text(examples[kind.name].partition("#")[2].strip())) for kind in Denial]
    return table(("look-alike", "example"), rows)


def findings() -> str:
    """Every rule of the findings, and their limits."""
    limits = finding.FindingLimits()
    rules = [
        (rule.__name__.strip("_").replace("_", " "), text(rule.__doc__ or "")) for rule in finding.RULES
    ]  # fmt: skip
    known = [
        (code("otherwise"), f"{limits.otherwise:g} s", "the minimum time for an isolation whose step gives none"),
        (code("many_again"), str(limits.many_again), "times the program asks again in one step"),
        (code("silence"), f"{limits.silence:g} s", "silence under isolation"),
    ]  # fmt: skip
    return table(("finding", "when"), rules) + "\n" + table(("limit", "value", "what it limits"), known)
