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
from tests.bench.cabinets_topics import topics
from tests.trade.scenarios import SCENARIOS, Scenario


class Scripted(Technician):
    """Says what the scenario says, and what is so where it says nothing."""

    scenario: Scenario
    told: dict[str, Any]

    def _told(self, text: str, numbers: bool, unit: str = "") -> tuple[Any, str] | None:
        from handsfree.language.quantities import unit_fits

        for name in topics(text, numbers):
            if name in self.told and (not unit or unit_fits(unit, self.told[name][1])):
                said, unit = self.told[name]
                if isinstance(said, list):
                    return (said.pop(0) if len(said) > 1 else said[0]), unit
                return said, unit
        return None

    def truth(self, step: Ask) -> str:
        told = self._told(step.say, numbers=False)
        offers = [one.say for one in step.answers] + [other for one in step.answers for other in one.also]
        if told is not None and told[0] in offers:
            return str(told[0])
        return super().truth(step)

    def reading(self, step: Read) -> float | str:
        from handsfree.language.quantities import convert

        told = self._told(self._text(step), numbers=True, unit=step.unit)
        if told is None:
            return super().reading(step)
        value, unit = told
        if value == float("inf"):
            return OFF_SCALE
        return round(convert(value, unit, step.unit) if unit != step.unit else value, 1)

    def does(self, text: str) -> None:
        for pattern, says in self.scenario.after.items():
            if re.search(pattern, text, re.IGNORECASE):
                self.told.update(says)
        super().does(text)


def visit_of(scenario: Scenario) -> Any:
    cabinet = replace(Cabinet(), **scenario.cabinet)  # type: ignore[arg-type]
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
    found += [f"false: {name}" for name in scenario.never if name in made]
    if scenario.ends and visit.outcome not in scenario.ends:
        found.append(f"ended '{visit.outcome}'")
    if visit.isolations > scenario.isolations:
        found.append(f"{visit.isolations} isolations")
    if visit.utterances > scenario.turns:
        found.append(f"{visit.utterances} turns")
    return [*found, f"({', '.join(made)}; {visit.isolations} isolations, {visit.utterances} turns)"] if found else []


@pytest.mark.parametrize("scenario", SCENARIOS, ids=[one.name for one in SCENARIOS])
def test_an_experts_scenario(scenario: Scenario) -> None:
    assert not amiss(scenario)


def test_there_are_forty_and_more_and_each_can_fail() -> None:
    assert len(SCENARIOS) >= 40
    assert len({one.name for one in SCENARIOS}) == len(SCENARIOS)
    assert all(one.accept or one.never or one.ends for one in SCENARIOS)
