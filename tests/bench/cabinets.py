"""Visits at cabinets made from physics, by the real machine, typed: what is concluded against what is so.

    python -m tests.bench.cabinets --visits N --seed S [--show] [--json]

A second opinion beside `tests.bench.simulated_visits`, of another kind: the cabinets are heat balances and circuits
(`cabinets_physics`) and know no procedure; technicians answer by the words they hear, now and then wrongly, vaguely, late
or not at all (`cabinets_people`). The last line is one object:

- `fixed_that_is_not`: ended 'fixed', though the cabinet left alone for 40 hours would not keep its stock, or not rest;
- `sound_part_condemned`: visits with a finding that accuses a part that is sound;
- `right_or_handed_over`: visits in which the true fault was accused, or that end handed over or watched;
- `isolations`, `minutes`: means a visit, on site."""

from __future__ import annotations

import argparse
import json
import statistics
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from random import Random
from typing import Any

from handsfree.journal.events import Opened, Resumed, TimerRang, Utterance
from handsfree.language.meaning import Listening, Verdict
from handsfree.procedure.model import Ask, Read
from handsfree.visit.state import Awaiting
from tests.bench.cabinets_faults import draw
from tests.bench.cabinets_people import Puzzled, Technician
from tests.bench.cabinets_physics import Cabinet, is_well
from tests.bench.cabinets_scoring import ACCUSES, PARTS
from tests.bench.simulated_visits import ENGLISH, MOST_UTTERANCES, Site, Visit
from tests.bench.simulated_visits import by_typing as typed_ear

#: Complaint of a cabinet -> as the site says it.
COMPLAINTS = {
    "too_warm": "too warm", "freezing": "freezing", "dead": "dead", "noisy": "noisy", "iced_up": "iced up",
    "runs_always": "runs all the time",
}  # fmt: skip


def lenient(words: str, listening: Listening, now: float) -> Utterance:
    """As typed; what is not understood is heard, and asked again."""
    from handsfree.dialogue.hearing import typed, utterance_of

    if words in ("cannot tell", "kind of"):
        return utterance_of(typed(ENGLISH, words, listening, now), typed=True)
    return typed_ear(words, listening, now)


class FieldSite(Site):
    """A visit at a cabinet of physics. `technician` here is `cabinets_people.Technician`."""

    def __init__(self, fault: str, complaint: str, cabinet: Cabinet, technician: Technician, ear: Any = lenient) -> None:
        from handsfree.visit.machine import start
        from tests.bench.simulated_visits import book

        self.book = book("service-call")
        self.state = start(self.book, ENGLISH)
        self.visit = Visit(fault, complaint)
        self.technician: Any = technician
        self.ear, self.now, self.away = ear, 0.0, 0.0
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
                self.now = max(self.now, self.state.wait_ends)
                self._tell(TimerRang("wait"))
            else:
                self._speak()
            assert self.visit.utterances < MOST_UTTERANCES, f"{self.book.main} does not end: {self.visit.steps[-20:]}"
        self.visit.minutes = (self.now - self.away) / 60
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
            return str(technician.answer(step, self.state.path[-1]))
        return super()._words()

    def _reading(self, step: Read) -> str:
        value = self.technician.reading(step)
        if isinstance(value, str):
            if step.over_range is not None:
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
    isolations: float
    minutes: float


def accused(visit: Visit) -> frozenset[str]:
    return frozenset().union(*(ACCUSES[name] for name in visit.findings if name in ACCUSES))


def condemned(visit: Visit) -> frozenset[str]:
    """Parts that a finding condemns, and that are sound."""
    parts = frozenset(PARTS[name] for name in visit.findings if name in PARTS)
    return frozenset(faults for faults in parts if visit.fault not in faults)  # type: ignore[misc]


def right(visit: Visit) -> bool:
    open_end = visit.outcome in ("handed over", "watch", "to be continued", "made safe")
    return visit.fault in accused(visit) or open_end or (visit.fault == "none" and not accused(visit))


def visits(seed: int, count: int, show: bool = False) -> Iterable[Visit]:
    for number in range(count):
        fault, complaint, cabinet = draw(seed * 100_000 + number)
        technician = Technician(cabinet, Random(f"person/{seed}/{number}"))
        site = FieldSite(fault, complaint, cabinet, technician)
        try:
            visit = site.run()
        except Puzzled as puzzled:
            print(f"nobody understands: {puzzled}", flush=True)
            continue
        if show:
            wrong = [name for name in visit.findings if name in PARTS and visit.fault not in PARTS[name]]
            flag = "FIXED THAT IS NOT" if visit.vain else "SOUND CONDEMNED" if wrong else "" if right(visit) else "WRONG"
            print(f"{number} {fault} ({complaint}): {visit.outcome}, {visit.isolations} iso, {visit.minutes:.0f} min, "
                  f"{visit.utterances} turns, {' '.join(visit.findings)}  {flag}", flush=True)  # fmt: skip
        yield visit


def counted(made: list[Visit]) -> Count:
    return Count(
        len(made), sum(v.vain for v in made), sum(bool(condemned(v)) for v in made), sum(right(v) for v in made),
        round(statistics.fmean(v.isolations for v in made), 2), round(statistics.fmean(v.minutes for v in made), 1),
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="Whole visits at cabinets made from physics, diagnosis against truth.")
    parser.add_argument("--visits", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="a line a visit")
    parser.add_argument("--json", action="store_true", help="only the object")
    given = parser.parse_args()
    made = list(visits(given.seed, given.visits, given.show))
    if not given.json:
        for what, names in (
            ("fixed that is not", [v.fault for v in made if v.vain]),
            ("sound part condemned", [v.fault for v in made if condemned(v)]),
            ("neither right nor handed over", [v.fault for v in made if not right(v)]),
        ):
            print(f"{what}: {dict(Counter(names).most_common())}")
    print(json.dumps(vars(counted(made))))


__all__ = ["Count", "FieldSite", "Verdict", "accused", "condemned", "counted", "main", "right", "visits"]

if __name__ == "__main__":
    main()
