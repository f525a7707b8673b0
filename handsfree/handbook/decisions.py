"""How each decision is made: the rules at the head of the modules that make them, and their present limits."""

from __future__ import annotations

import inspect

from handsfree.handbook.markdown import code, rules_of, table, text
from handsfree.isolation import interlock, people, rules
from handsfree.journal import findings as finding
from handsfree.language.meaning import Denial
from handsfree.procedure import evaluation
from handsfree.speech import bars


def interlock_rules() -> str:
    return "\n".join(rules_of(module.__doc__) for module in (rules, people, interlock))


def branching_rules() -> str:
    return rules_of(evaluation.__doc__)


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
