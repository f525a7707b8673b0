# ruff: noqa: E501 - tables
"""The technicians of `tests.bench.cabinets`: who looks, measures and works at a cabinet of physics, and is not always right.

A technician answers by the words of the question (`cabinets_topics`). Shares of wrong, vague, late and missing answers are
invented: 3 % another answer than the true one, 3 % vague words first, 4 % cannot tell, 5 % minutes late. A meter is read in
its own steps and ends at its range. What is done to the cabinet follows from the words of the step, too."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from handsfree.language.quantities import convert
from handsfree.procedure.model import Ask, Read, Step
from tests.bench.cabinets_physics import Cabinet
from tests.bench.cabinets_topics import ANSWERS, PLAIN, READINGS, UNKNOWN, topics

WRONG, VAGUE, UNSURE, LATE = 0.03, 0.03, 0.04, 0.05
OFF_SCALE = "off scale"
Work = Callable[[Cabinet], None]


class Puzzled(Exception):
    """A question that nobody at this bench understands: a gap of the bench, not of the program."""


def _set(**fields: object) -> Work:
    def does(c: Cabinet) -> None:
        for name, value in fields.items():
            setattr(c, name, value)

    return does


def _dial(c: Cabinet, text: str) -> None:
    found = re.search(r"to (-?\d+(?:\.\d+)?) ?°F", text)
    c.noted, c.setting = c.setting, (float(found.group(1)) - 32) / 1.8 if found else c.noted


def _new_deck(c: Cabinet) -> None:
    _set(winding="good", seized=False, charge=1.0, restricted=False, dirt=0.05, condenser_fan=1.0, evaporator_fan=1.0,
         start_good=True, capacitor=1.0, overload_good=True, overload_open=False, terminals_home=True, oil=False, ice=0.0,
         shell=c.room)(c)  # fmt: skip
    if c.leak_in_deck:
        c.earth_leak = False


def _fan(c: Cabinet, found: str) -> None:
    which = "evaporator_fan" if c.evaporator_fan < 0.2 or found.startswith("evaporator") else "condenser_fan"
    setattr(c, which, 1.0)


def _part(c: Cabinet, found: str) -> None:
    if found.startswith("overload"):
        c.overload_good, c.overload_open = True, False
    elif "capacitor" in found:
        c.capacitor = 1.0
    else:
        c.start_good = True


#: Words of a step that was done -> what is so afterwards. Each gets the cabinet, the words, and the last finding.
WORK: tuple[tuple[str, Callable[[Cabinet, str, str], None]], ...] = (
    (r"to (its )?cooling( mode)?\b", lambda c, t, f: _set(mode_cooling=True)(c)),
    (r"(set|raise|lower) the (controller|setting).*(°F|noted)", lambda c, t, f: _dial(c, t)),
    (r"offset .*set it to zero", lambda c, t, f: _set(offset=0.0)(c)),
    (r"back into its clip", lambda c, t, f: _set(sensor_home=True)(c)),
    (r"exchange the door switch", lambda c, t, f: _set(evaporator_fan=1.0)(c)),
    (r"turn its feet until", lambda c, t, f: _set(tilted=False)(c)),
    (r"deck home against", lambda c, t, f: _set(deck_gap=0.1)(c)),
    (r"clear the vents", lambda c, t, f: _set(vents_covered=False)(c)),
    (r"brush the condenser", lambda c, t, f: _set(dirt=0.05)(c)),
    (r"terminal.*until it clicks|push the terminal home", lambda c, t, f: _set(terminals_home=True)(c)),
    (r"exchange the relay|new relay as", lambda c, t, f: _set(relay="good")(c)),
    (r"fit the new sensor", lambda c, t, f: _set(sensor_error=0.0, sensor_broken=False)(c)),
    (r"exchange the fan|fit the (new )?fan", lambda c, t, f: _fan(c, f)),
    (r"fit a part of the same number", lambda c, t, f: _part(c, f)),
    (r"fit (a|the) (new )?capacitor", lambda c, t, f: _set(capacitor=1.0)(c)),
    (r"slide it in|slide the (new )?deck|deck .*to its stop", lambda c, t, f: _new_deck(c)),
    (r"clean the gasket", lambda c, t, f: _set(gap=0.15)(c)),
    (r"tighten each", lambda c, t, f: _set(panel_loose=False)(c)),
    (r"clear the drain", lambda c, t, f: _set(drain_free=True)(c)),
    (r"(move|take) .*(stock|bottles).*(away|from the opening|clear)", lambda c, t, f: _set(stock_blocks=False)(c)),
    (r"(curtain|screen|shade).*sun|out of the sun", lambda c, t, f: _set(sun=30.0)(c)),
    (r"set (it|the breaker) once|breaker is set once", lambda c, t, f: _set(breaker_out=c.earth_leak)(c)),
    (r"heater.*exchange it now", lambda c, t, f: _set(heater_good=True)(c)),
)  # fmt: skip


@dataclass
class Technician:
    """`step`: what is asked now. `found`: findings so far. `cut`: times the power was cut. `gaps`: questions not understood."""

    cabinet: Cabinet
    rng: Random
    minute: float = 0.0
    step: Step | None = None
    found: list[str] = field(default_factory=list)
    cut: int = 0
    late: float = 0.0
    gaps: list[str] = field(default_factory=list)
    bias: float = 0.0
    honest: bool = False
    door_open: bool = False
    #: Steps that were answered with "cannot tell" or vaguely once already.
    hesitated: set[str] = field(default_factory=set)
    #: Steps that asked whether it was the first try.
    tried: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.bias = 0.0 if self.honest else self.rng.uniform(-0.4, 0.4)

    def arrive(self, minute: float) -> None:
        """It is this minute now. An unplugged cabinet with its door fixed open thaws."""
        gone = minute - self.minute
        self.cabinet.pass_to(minute)
        if gone > 12 * 60 and not self.cabinet.plug_in:
            self.cabinet.ice, self.cabinet.air, self.cabinet.stock = 0.0, self.cabinet.room, self.cabinet.room
        self.minute = minute

    def power(self, on: bool) -> None:
        if on != self.cabinet.plug_in:
            self.cut += not on
            self.cabinet.power(on)

    # ---- what he says

    def _text(self, step: Step) -> str:
        return step.say + (f" ({step.quantity})" if isinstance(step, Read) else "")

    def hesitates(self, step: Step, offers: tuple[str, ...]) -> str | None:
        """Words before the answer, if any: 'I cannot tell', or vague ones."""
        if self.honest or step.id in self.hesitated:
            return None
        self.hesitated.add(step.id)
        chance = self.rng.random()
        if chance < LATE:
            self.late = self.rng.uniform(1, 6)
        if chance < UNSURE:
            return UNKNOWN
        return "kind of" if chance < UNSURE + VAGUE else None

    def answer(self, step: Ask, procedure: str) -> str:
        says = self.truth(step)
        if not self.honest and self.rng.random() < WRONG:
            return self.rng.choice([one.say for one in step.answers])
        return says

    def truth(self, step: Ask) -> str:
        names = topics(self._text(step), numbers=False)
        if "which try" in names:
            before = step.id in self.tried
            self.tried.add(step.id)
            return "repeated" if before else "first try"
        for name in names:
            for words in PLAIN.get(name) or ANSWERS.get(name, lambda c: ())(self.cabinet):
                if words == UNKNOWN:
                    return UNKNOWN
                for one in step.answers:
                    if words == one.say or words in one.also:
                        return one.say
        self.gaps.append(f"{names} {step.say} {[one.say for one in step.answers]}")
        raise Puzzled(self.gaps[-1])

    def reading(self, step: Read) -> float | str:
        names = topics(self._text(step), numbers=True)
        for name in names:
            if name not in READINGS:
                continue
            law, unit = READINGS[name]
            value = law(self.cabinet, self.rng)
            if math.isnan(value):
                return UNKNOWN
            if math.isinf(value) or value > _RANGE.get(unit, math.inf):
                return OFF_SCALE
            value += self.bias if unit == "degC" else 0.0
            try:
                value = value if not step.unit or unit == step.unit else convert(value, unit, step.unit)
            except Exception:
                continue
            return round(value, 1) if abs(value) < 1000 else float(f"{value:.3g}")
        self.gaps.append(f"{names} {self._text(step)} [{step.unit}]")
        raise Puzzled(self.gaps[-1])

    def does(self, text: str) -> None:
        """The work of a step that is done."""
        for pattern, work in WORK:
            if re.search(pattern, text, re.IGNORECASE):
                work(self.cabinet, text, self.found[-1] if self.found else "")


_RANGE = {"megaohm": 1000.0, "ohm": 40e6, "volt": 600.0}
