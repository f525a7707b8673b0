"""Every expert's scenario, typed through the real machine by somebody who answers truly."""

from __future__ import annotations

import re
from dataclasses import replace
from random import Random
from typing import Any

import pytest

from handsfree.procedure.model import Ask, Read
from tests.bench.cabinets import FieldSite
from tests.bench.cabinets_people import OFF_SCALE, Technician
from tests.bench.cabinets_physics import Cabinet
from tests.bench.cabinets_topics import UNKNOWN, UNSTEADY, topics
from tests.trade.scenarios import SCENARIOS, Said, Scenario
from tests.trade.scenarios_eighth import EIGHTH
from tests.trade.scenarios_fifth import FIFTH
from tests.trade.scenarios_ninth import NINTH
from tests.trade.scenarios_second import SECOND
from tests.trade.scenarios_seventh import SEVENTH
from tests.trade.scenarios_sixth import SIXTH
from tests.trade.scenarios_third import THIRD

EVERY = (*SCENARIOS, *SECOND, *THIRD, *FIFTH, *SIXTH, *SEVENTH, *EIGHTH, *NINTH)


class Scripted(Technician):
    """Says what the scenario says, and what is so where it says nothing."""

    scenario: Scenario
    told: dict[str, Any]

    def _next(self, name: str) -> Said:
        said, _ = self.told[name]
        if isinstance(said, list):
            return said.pop(0) if len(said) > 1 else said[0]
        return said

    def truth(self, step: Ask) -> str:
        offers = [one.say for one in step.answers] + [other for one in step.answers for other in one.also]
        for name in topics(step.say, numbers=False):
            if name in self.told:
                said, _ = self.told[name]
                if (said[0] if isinstance(said, list) else said) in (*offers, UNKNOWN):
                    return str(self._next(name))
        return super().truth(step)

    def reading(self, step: Read) -> float | str:
        from handsfree.language.quantities import convert, unit_fits

        for name in topics(self._text(step), numbers=True):
            unit = self.told[name][1] if name in self.told else ""
            if name not in self.told or (step.unit and not unit_fits(step.unit, unit)):
                continue
            value = self._next(name)
            if value in (UNSTEADY, UNKNOWN):
                return str(value)
            assert isinstance(value, int | float)
            if value == float("inf"):
                return OFF_SCALE
            return round(convert(value, unit, step.unit) if unit != step.unit else value, 1)
        return super().reading(step)

    def does(self, text: str) -> None:
        for pattern, says in self.scenario.after.items():
            if re.search(pattern, text, re.IGNORECASE):
                self.told.update(says)
        super().does(text)


def visit_of(scenario: Scenario) -> Any:
    cabinet = replace(Cabinet(), **scenario.cabinet)  # type: ignore[arg-type]  # fields by name
    cabinet.settle(scenario.hours)
    if cabinet.filled_warm:
        cabinet.stock = cabinet.air = 22.0
        cabinet.settle(0.7)
    cabinet.minute = cabinet.run_minutes = 0.0
    technician = Scripted(cabinet, Random(1), honest=True)
    technician.scenario = scenario
    told = scenario.says.items()
    technician.told = {name: (list(said) if isinstance(said, list) else said, unit) for name, (said, unit) in told}
    return FieldSite("", scenario.complaint, cabinet, technician).run()


def amiss(scenario: Scenario) -> list[str]:
    visit = visit_of(scenario)
    made = [*visit.findings, visit.outcome]
    found = []
    if scenario.accept and not set(scenario.accept) & set(made):
        found.append(f"none of {scenario.accept}")
    found += [f"none of {group}" for group in scenario.each if not set(group) & set(made)]
    if visit.vain and "inside" not in scenario.says:
        found.append("fixed, and is not")
    found += [f"false: {name}" for name in scenario.never if name in made]
    if scenario.ends and visit.outcome not in scenario.ends:
        found.append(f"ended '{visit.outcome}'")
    if visit.isolations > scenario.isolations:
        found.append(f"{visit.isolations} isolations")
    if visit.utterances > scenario.turns:
        found.append(f"{visit.utterances} turns")
    return [*found, f"({', '.join(made)}; {visit.isolations} isolations, {visit.utterances} turns)"] if found else []


@pytest.mark.parametrize("scenario", EVERY, ids=[one.name for one in EVERY])
def test_an_experts_scenario(scenario: Scenario) -> None:
    assert not amiss(scenario)


def test_there_are_ninety_and_more_and_each_can_fail() -> None:
    assert [len(SCENARIOS) >= 40, len(SECOND) >= 20, len(THIRD) >= 30] == [True, True, True]
    assert len({one.name for one in EVERY}) == len(EVERY)
    assert all(one.accept or one.each or one.never or one.ends for one in EVERY)
