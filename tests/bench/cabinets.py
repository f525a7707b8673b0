"""Visits at cabinets made from physics, by the real machine, typed: what is concluded against what is so.

    python -m tests.bench.cabinets --visits N --seed S [--show] [--json]

A second opinion beside `tests.bench.simulated_visits`, of another kind: the cabinets are heat balances and circuits
(`cabinets_physics`) and know no procedure; technicians answer by the words they hear, now and then wrongly, vaguely, late
or not at all (`cabinets_people`). The last line is one object:

- `fixed_that_is_not`: ended 'fixed', though the cabinet left alone for 40 hours would not keep its stock, or not rest;
- `sound_part_condemned`: visits with a finding that accuses a part that is sound;
- `right_or_handed_over`: visits in which the true fault was accused, or that end handed over or watched;
- `isolations`, `minutes`: means a visit, on site; `minutes_of_work` without what was waited. `expert_isolations`,
  `expert_minutes_of_work`: what an expert needs for the same faults (`cabinets_expert`);
- `accused_wrongly`: visits with a finding that accuses a fault that is not there, condemned or not;
- `endless`: visits that would not end; `puzzled`: visits broken off since nobody at this bench understands a question.
  Neither counts anywhere else."""

from __future__ import annotations

import argparse
import json
import re
import statistics
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from random import Random
from typing import Any

from handsfree.dialogue.hearing import Heard, typed, utterance_of
from handsfree.journal.events import Opened, Resumed, TimerRang, Utterance
from handsfree.language.meaning import Listening, Verdict
from handsfree.procedure.model import Ask, Read
from handsfree.visit.state import Awaiting
from tests.bench.cabinets_expert import EXPERT
from tests.bench.cabinets_faults import draw
from tests.bench.cabinets_people import Puzzled, Technician
from tests.bench.cabinets_physics import Cabinet, is_well
from tests.bench.cabinets_scoring import ACCUSES, PARTS
from tests.bench.cabinets_topics import UNKNOWN, UNSTEADY
from tests.bench.simulated_visits import ENGLISH, MOST_UTTERANCES, Site, Visit

#: Complaint of a cabinet -> as the site says it.
COMPLAINTS = {
    "too_warm": "too warm", "freezing": "freezing", "dead": "dead", "noisy": "noisy", "iced_up": "iced up",
    "runs_always": "runs all the time", "wet": "wet",
}  # fmt: skip


@lru_cache(maxsize=65_536)
def _typed(words: str, listening: Listening) -> Heard:
    return typed(ENGLISH, words, listening, 0.0)


def lenient(words: str, listening: Listening, now: float) -> Utterance:
    """As typed; vague words are heard, and asked again. AssertionError for other words that are not understood."""
    heard = replace(_typed(words, listening), started=now, ended=now)
    vague = words in (UNKNOWN, "kind of")
    assert vague or heard.verdict == Verdict.ACCEPTED, f"'{words}' is not understood here: {heard.reason}"
    return utterance_of(heard, typed=True)


MOST_STEPS = 2000
#: Questions that ask what is so after the work that they name; 'was anything loose?' asks what was so before it.
WORK_FIRST = re.compile(r"strip again|exchange it now", re.IGNORECASE)


class Endless(Exception):
    """A visit that goes round and round: a fault of the program."""


class FieldSite(Site):
    """A visit at a cabinet of physics. `technician` here is `cabinets_people.Technician`."""

    def __init__(self, fault: str, complaint: str, cabinet: Cabinet, technician: Technician, ear: Any = lenient) -> None:
        from handsfree.visit.machine import start
        from tests.bench.simulated_visits import book

        self.book = book("service-call")
        self.state = start(self.book, ENGLISH)
        self.visit = Visit(fault, complaint)
        self.technician: Any = technician
        self.ear, self.now, self.away, self.waited = ear, 0.0, 0.0, 0.0
        self.intended: float | None = None
        self.amiss = ""
        self.doing: Any = None

    def run(self) -> Visit:
        from handsfree.journal.events import NoteKept
        from handsfree.visit.state import Overlay

        known = (("complaint", COMPLAINTS[self.visit.complaint]),)
        self._tell(Opened("v", self.book.main, "en", "", "", "", "t", "simulated", known=known))
        while not self.state.closed or self.state.not_before is not None:
            if self.state.closed:
                later = max(self.now, self.state.not_before or 0.0)
                self.away += later - self.now
                self.now = later
                self._at_the_cabinet()
                self._tell(Resumed("return visit"))
            elif self.state.overlay is Overlay.NOTE:
                self._tell(NoteKept("", "", "misheard"))
            elif self.state.awaiting is Awaiting.WAIT:
                ends = max(self.now, self.state.wait_ends)
                self.waited += ends - self.now
                self.now = ends
                self._tell(TimerRang("wait"))
            else:
                self._speak()
            if self.visit.utterances >= MOST_UTTERANCES or len(self.visit.steps) >= MOST_STEPS:
                raise Endless(f"{self.visit.steps[-6:]}")
        self.visit.minutes = (self.now - self.away) / 60
        self.visit.worked = self.visit.minutes - self.waited / 60
        self.visit.isolations = self.technician.cut
        self.visit.mended = is_well(self.technician.cabinet) if self.visit.outcome == "fixed" else False
        return self.visit

    def _at_the_cabinet(self) -> Any:
        self.technician.arrive(self.now / 60)
        return _Doing(self)

    def _words(self) -> str:
        step, awaiting = self.state.step, self.state.awaiting
        self.doing = step
        technician = self.technician
        technician.arrive(self.now / 60)
        if awaiting in (Awaiting.ANSWER, Awaiting.READING) and step is not None and not self.state.overlay:
            hesitant = technician.hesitates(step, ())
            self.now += 60 * technician.late
            technician.late = 0.0
            if hesitant is not None:
                return hesitant
        if awaiting is Awaiting.ANSWER and isinstance(step, Ask) and not self.state.overlay:
            if WORK_FIRST.search(step.say):
                technician.does(step.say)
            return str(technician.answer(step, self.state.path[-1]))
        return super()._words()

    def _reading(self, step: Read) -> str:
        value = self.technician.reading(step)
        if isinstance(value, str):
            if value in (UNKNOWN, UNSTEADY) or step.over_range is not None:
                return value
            value = step.plausible[1]
        self.intended = min(max(value, step.plausible[0]), step.plausible[1])
        return ENGLISH.say_number(self.intended)


class _Doing:
    """What `Site` asks of a technician, by step ids, put to one who goes by words."""

    def __init__(self, site: FieldSite) -> None:
        self.site = site

    def __getattr__(self, name: str) -> Any:
        return getattr(self.site.technician, name)

    def does(self, step_id: str) -> None:
        if self.site.doing is not None and self.site.doing.id == step_id:
            self.site.technician.does(self.site.doing.say)


@dataclass(frozen=True)
class Count:
    visits: int
    fixed_that_is_not: int
    sound_part_condemned: int
    right_or_handed_over: int
    accused_wrongly: int
    isolations: float
    expert_isolations: float
    minutes: float
    minutes_of_work: float
    expert_minutes_of_work: float
    endless: int
    puzzled: int


def accused(visit: Visit) -> frozenset[str]:
    return frozenset().union(*(ACCUSES[name] for name in visit.findings if name in ACCUSES))


def condemned(visit: Visit) -> frozenset[str]:
    """Parts that a finding condemns, and that are sound."""
    parts = frozenset(PARTS[name] for name in visit.findings if name in PARTS)
    return frozenset(faults for faults in parts if visit.fault not in faults)  # type: ignore[misc]  # of strings


def accused_wrongly(visit: Visit) -> bool:
    return any(visit.fault not in ACCUSES[name] for name in visit.findings if name in ACCUSES)


def right(visit: Visit) -> bool:
    # A panel that was loose besides is a true finding where it is the noise that the site complained of.
    if visit.complaint == "noisy" and visit.blemish and "loose-panel-or-clip" in visit.findings:
        return True
    open_end = visit.outcome in ("handed over", "watch", "to be continued", "made safe")
    return visit.fault in accused(visit) or open_end or (visit.fault == "none" and not accused(visit))


def visits(seed: int, count: int, show: bool = False) -> Iterable[Visit | Puzzled | Endless]:
    for number in range(count):
        fault, complaint, cabinet = draw(seed * 100_000 + number)
        technician = Technician(cabinet, Random(f"person/{seed}/{number}"))
        site = FieldSite(fault, complaint, cabinet, technician)
        site.visit.blemish = cabinet.panel_loose
        try:
            visit = site.run()
        except (Puzzled, Endless) as broken:
            print(f"{number} {fault} ({complaint}) {type(broken).__name__.upper()}: {broken}", flush=True)
            yield broken
            continue
        if show:
            wrong = [name for name in visit.findings if name in PARTS and visit.fault not in PARTS[name]]
            flag = "FIXED THAT IS NOT" if visit.vain else "SOUND CONDEMNED" if wrong else "" if right(visit) else "WRONG"
            print(f"{number} {fault} ({complaint}): {visit.outcome}, {visit.isolations} iso, {visit.minutes:.0f} min, "
                  f"{visit.worked:.0f} work, {visit.utterances} turns, "
                  f"{' '.join(visit.findings)}  {flag}", flush=True)  # fmt: skip
        yield visit


def counted(made: list[Visit], endless: int = 0, puzzled: int = 0) -> Count:
    mean = lambda values: round(statistics.fmean(values), 2)  # noqa: E731
    return Count(
        len(made), sum(v.vain for v in made), sum(bool(condemned(v)) for v in made), sum(right(v) for v in made),
        sum(accused_wrongly(v) for v in made),
        mean(v.isolations for v in made), mean(EXPERT[v.fault][0] for v in made),
        mean(v.minutes for v in made), mean(v.worked for v in made), mean(EXPERT[v.fault][1] for v in made),
        endless, puzzled,
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="Whole visits at cabinets made from physics, diagnosis against truth.")
    parser.add_argument("--visits", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="a line a visit")
    parser.add_argument("--json", action="store_true", help="only the object")
    given = parser.parse_args()
    every = list(visits(given.seed, given.visits, given.show))
    made = [one for one in every if isinstance(one, Visit)]
    if not given.json:
        for what, names in (
            ("fixed that is not", [v.fault for v in made if v.vain]),
            ("sound part condemned", [v.fault for v in made if condemned(v)]),
            ("neither right nor handed over", [v.fault for v in made if not right(v)]),
        ):
            print(f"{what}: {dict(Counter(names).most_common())}")
    print(json.dumps(vars(counted(made, *(sum(isinstance(one, kind) for one in every) for kind in (Endless, Puzzled))))))


__all__ = ["Count", "FieldSite", "Verdict", "accused", "accused_wrongly", "condemned", "counted", "main", "right", "visits"]

if __name__ == "__main__":
    main()
