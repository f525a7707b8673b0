"""What a simulated cabinet answers: meter readings with noise, and the words of each check.

For whoever runs whole visits: a step of a procedure that takes a reading maps to a quantity of `READINGS`, one
that asks a question maps to a check of `CHECKS`, both by name. `reply` takes either.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from handsfree.errors import Trouble
from handsfree.trade import cooling, electrical
from handsfree.trade.faultmodel import Check, FaultModel
from handsfree.trade.sensors import Beta, which_is_wrong
from handsfree.trade.uncertain import reading as uncertain
from tests.bench.mirror.simulated import LOCKED_AMPERES, NOMINAL_VOLTS, PLATE_AMPERES
from tests.bench.mirror.simulator import AIR_HEAT, SimulatedCabinet, State, cabinet, complaints, settled

SENSOR = Beta(10_000.0, 25.0, 3435.0)
SLIP = 0.02  # how often the simulated technician sees or says the wrong thing
FLOW = 0.035  # kg/s of air over a healthy evaporator


def _split(state: State) -> float:
    """Air-side drop over the evaporator in kelvin, after ten minutes of running."""
    c = state.condition
    if not (state.powered and c.can_run()):
        return 0.0
    watts = c.cooling * max(0.0, state.celsius - c.floor)
    return min(watts / (FLOW * AIR_HEAT * max(0.05, c.air_flow)), max(0.0, state.celsius - c.floor))


def _condensing(state: State) -> float:
    c = state.condition
    if not (state.powered and c.can_run()):
        return c.room
    return c.room + 8.5 * (0.6 + 0.4 * min(2.0, c.load / 60)) * (0.5 + 0.5 * c.charge) / max(0.2, c.rejection)


def _amperes(state: State) -> float:
    """Mean current while the controller asks for cooling."""
    c = state.condition
    if not state.powered or not c.display_lit():
        return 0.0
    small = 0.15 + 0.25 * (c.fan_runs())
    if c.tries():
        return small + LOCKED_AMPERES * c.volts / NOMINAL_VOLTS
    if not c.can_run():
        return small
    work = 0.55 + 0.45 * c.charge + 0.35 * max(0.0, 1 / max(c.rejection, 0.2) - 1.6)
    return small + 1.5 * work * NOMINAL_VOLTS / c.volts


def _start_volts(state: State) -> float:
    c = state.condition
    fed = state.powered and c.switched_on() and c.overload_closed and c.windings_sound()
    return c.volts - (c.source_ohms * LOCKED_AMPERES * c.volts / NOMINAL_VOLTS if fed else 0.0)


def _shell(state: State) -> float:
    """Compressor shell in degrees Celsius."""
    c = state.condition
    if c.tries():
        return c.room + 75.0
    if not c.can_run() or settled(c)[1] == "never":
        return c.room
    return c.room + 32 + 16 * max(0.0, 1 / max(c.rejection, 0.2) - 1) + 25 * (1 - c.charge)


def _ohms(state: State) -> float:
    return SENSOR.ohms(state.celsius + state.condition.sensor_error)


@dataclass(frozen=True)
class Quantity:
    """A quantity that a meter shows: its true value, unit, noise (one standard deviation) and display step."""

    true: Callable[[State], float]
    unit: str
    noise: float
    step: float
    relative: bool = False


READINGS: dict[str, Quantity] = {
    "cabinet_temperature": Quantity(lambda s: s.celsius, "degC", 0.2, 0.1),
    "shown_temperature": Quantity(lambda s: s.celsius + s.condition.sensor_error, "degC", 0.1, 0.5),
    "room_temperature": Quantity(lambda s: s.condition.room, "degC", 0.2, 0.1),
    "product_temperature": Quantity(lambda s: s.celsius, "degC", 0.3, 0.1),
    "setting": Quantity(lambda s: s.condition.setting, "degC", 0.0, 0.1),
    "return_air": Quantity(lambda s: s.celsius, "degC", 0.2, 0.1),
    "delivery_air": Quantity(lambda s: s.celsius - _split(s), "degC", 0.2, 0.1),
    "condenser_air": Quantity(lambda s: s.condition.room, "degC", 0.3, 0.1),
    "condenser_bend": Quantity(_condensing, "degC", 0.5, 0.1),
    "compressor_shell": Quantity(_shell, "degC", 1.0, 0.1),
    "supply_voltage": Quantity(lambda s: s.condition.volts if s.powered else 0.0, "V", 0.005, 0.1, True),
    "start_voltage": Quantity(_start_volts, "V", 0.005, 0.1, True),
    "running_current": Quantity(_amperes, "A", 0.02, 0.01, True),
    "sensor_resistance": Quantity(_ohms, "ohm", 0.005, 1.0, True),
    "common_to_run": Quantity(lambda s: s.condition.run_ohms, "ohm", 0.008, 0.1, True),
    "common_to_start": Quantity(lambda s: s.condition.start_ohms, "ohm", 0.008, 0.1, True),
    "start_to_run": Quantity(lambda s: s.condition.run_ohms + s.condition.start_ohms, "ohm", 0.008, 0.1, True),
    "insulation": Quantity(lambda s: s.condition.leak_megohms, "megaohm", 0.05, 0.01, True),
}


def reading(cabinet: SimulatedCabinet, quantity: str, now: float) -> float:
    """What a meter shows at a minute. Infinite is over-range. Raises Trouble for a quantity not in `READINGS`."""
    if quantity not in READINGS:
        raise Trouble(f"The simulated cabinet has no quantity {quantity!r}: it has {', '.join(READINGS)}.")
    q = READINGS[quantity]
    value = q.true(cabinet.state(now))
    if math.isinf(value):
        return value
    scatter = q.noise * abs(value) if q.relative else q.noise
    noisy = value + cabinet.noise(quantity, now).gauss(0, scatter)
    return round(round(noisy / q.step) * q.step, 6)


Reader = Callable[[str], float]
Answer = Callable[[State, Reader], str]


def _pick(yes: bool, first: str, second: str) -> str:
    return first if yes else second


def _mode(state: State, read: Reader) -> str:
    return _pick(state.condition.mode_cooling and state.condition.display_lit(), "cooling", "other")


def _setting(state: State, read: Reader) -> str:
    return {"too cold": "too_cold", "too warm": "too_warm"}.get(cooling.setting_advice(read("setting")), "normal")


def _thermometer(state: State, read: Reader) -> str:
    if not state.condition.display_lit():
        return "agrees"
    gap = read("shown_temperature") - read("cabinet_temperature")
    return "agrees" if abs(gap) < 2.0 else _pick(gap > 0, "shown_warmer", "shown_colder")


def _air_flow(state: State, read: Reader) -> str:
    flow = state.condition.air_flow if state.condition.fan_runs() else 0.0
    return "none" if flow < 0.12 else _pick(flow < 0.6, "weak", "strong")


def _touch(state: State, read: Reader) -> str:
    shell = read("compressor_shell")
    return "cool" if shell < state.condition.room + 8 else _pick(shell > 85, "very_hot", "warm")


def _sound(state: State, read: Reader) -> str:
    c = state.condition
    if c.tries():
        return "hums"
    return _pick(c.can_run() and settled(c)[1] != "never", "runs", "silent")


def _condenser_fan(state: State, read: Reader) -> str:
    c = state.condition
    turning = c.condenser_fan > 0.05 and (c.can_run() or c.tries()) and settled(c)[1] != "never"
    return _pick(turning, "turning", "still")


def _coil(state: State, read: Reader) -> str:
    c = state.condition
    if c.ice > 0.6:
        return "blocked"
    if c.can_run() and c.charge < 0.7:
        return "part"
    return _pick(c.can_run() and settled(c)[1] != "never" and (c.ice > 0.07 or settled(c)[1] == "always"), "even", "clear")


def _supply(state: State, read: Reader) -> str:
    c = state.condition
    volts = 0.0 if c.tripped() else read("supply_voltage") - c.source_ohms * read("running_current")
    if volts < 50:
        return "dead"
    verdict = electrical.supply(volts, NOMINAL_VOLTS).verdict
    return _pick(verdict == "pass", "in_band", "low")


def _drop(state: State, read: Reader) -> str:
    rest = read("supply_voltage")
    if rest < 50:
        return "small"
    verdict = electrical.start_drop(rest, min(rest, read("start_voltage"))).verdict
    return _pick(verdict == "pass", "small", "large")


def _current(state: State, read: Reader) -> str:
    c = state.condition
    if c.can_run() and settled(c)[1] == "never":
        return "low"
    name = str(electrical.running_current(max(0.0, read("running_current")), PLATE_AMPERES))
    return {"locked rotor": "locked"}.get(name, name)


def _evaporator_split(state: State, read: Reader) -> str:
    return str(cooling.evaporator_split(read("return_air"), read("delivery_air")))


def _condenser_split(state: State, read: Reader) -> str:
    return cooling.condenser_state(read("condenser_bend"), read("condenser_air"))


def _sensor(state: State, read: Reader) -> str:
    true = uncertain(read("cabinet_temperature"), "0.5 degC")
    accused = which_is_wrong(true, true, uncertain(read("sensor_resistance"), "1 %"), SENSOR, tolerance=1.0)
    return _pick(accused.suspect.value.startswith("sensor"), "wrong", "fits")


def _windings(state: State, read: Reader) -> str:
    three = [read(name) for name in ("common_to_start", "common_to_run", "start_to_run")]
    if any(math.isinf(value) for value in three):
        return "open"
    return _pick(min(three) < 1.0, "shorted", "sound")


CHECKS: dict[str, Answer] = {
    "display": lambda s, r: _pick(s.condition.display_lit(), "lit", "dark"),
    "outlet": lambda s, r: _pick(s.condition.volts > 100 and not s.condition.tripped(), "works", "dead"),
    "mode": _mode,
    "setting": _setting,
    "thermometer": _thermometer,
    "air_flow": _air_flow,
    "air_cold": lambda s, r: _pick(_split(s) > 2.5 and settled(s.condition)[1] != "never", "cold", "not_cold"),
    "compressor_touch": _touch,
    "compressor_sound": _sound,
    "condenser_look": lambda s, r: _pick(s.condition.dirt > 0.45, "dirty", "clean"),
    "condenser_fan_turns": _condenser_fan,
    "coil_look": _coil,
    "door_strip": lambda s, r: _pick(s.condition.door_gap > 0.3, "slips", "holds"),
    "load": lambda s, r: _pick(s.condition.filled_today, "heavy", "ordinary"),
    "supply": _supply,
    "start_drop": _drop,
    "current": _current,
    "noise": lambda s, r: s.condition.noise_source(),
    "cycle": lambda s, r: settled(s.condition)[1],
    "evaporator_split": _evaporator_split,
    "condenser_split": _condenser_split,
    "sensor_ohms": _sensor,
    "relay": lambda s, r: s.condition.relay,
    "connectors": lambda s, r: _pick(s.condition.connectors_home, "home", "not_home"),
    "windings": _windings,
    "start_part": lambda s, r: _pick(s.condition.start_good, "good", "bad"),
    "overload": lambda s, r: _pick(s.condition.overload_closed, "closed", "open"),
    "evaporator_fan_spin": lambda s, r: _pick(s.condition.evaporator_fan > 0.8, "good", "bad"),
    "condenser_fan_spin": lambda s, r: _pick(s.condition.condenser_fan > 0.8, "good", "bad"),
    "insulation": lambda s, r: _pick(electrical.insulation(max(0.0, r("insulation"))).verdict == "pass", "good", "leaks"),
    "defrost_heater_ohms": lambda s, r: _pick(s.condition.heater_good, "fits", "bad"),
    "panels": lambda s, r: _pick(s.condition.panel_loose, "loose", "tight"),
}


def mirrored() -> FaultModel:
    """The shipped model, of the faults and checks that these cabinets have."""
    from handsfree.trade.faultmodel import shipped
    from tests.bench.mirror.simulated import FAULTS

    whole = shipped()
    kept = [at for at, fault in enumerate(whole.faults) if fault.id in FAULTS]
    total = sum(whole.faults[at].prior for at in kept)
    faults = tuple(replace(whole.faults[at], prior=whole.faults[at].prior / total) for at in kept)

    def less(check: Check) -> Check:
        return replace(check, rows=tuple(check.rows[at] for at in kept))

    checks = {name: less(check) for name, check in whole.checks.items() if name in CHECKS}
    return replace(whole, faults=faults, complaint=less(whole.complaint), checks=checks)


def answer(cabinet: SimulatedCabinet, check: str, now: float) -> str:
    """What the technician at this cabinet answers to a check, in the words of the shipped fault model.

    Now and then (`SLIP`) the answer is one of the check's others. Raises Trouble for a check not in `CHECKS`.
    """
    from handsfree.trade.faultmodel import shipped

    if check not in CHECKS:
        raise Trouble(f"The simulated cabinet has no check {check!r}: it has {', '.join(CHECKS)}.")
    told = CHECKS[check](cabinet.state(now), lambda quantity: reading(cabinet, quantity, now))
    rng = cabinet.noise(check, now)
    return rng.choice(shipped().checks[check].answers) if rng.random() < SLIP else told


def reply(cabinet: SimulatedCabinet, name: str, now: float) -> str | float:
    """A reading (float) or an answer (str), whichever the name belongs to."""
    return reading(cabinet, name, now) if name in READINGS else answer(cabinet, name, now)


def simulated_visit(model: FaultModel, seed: int) -> tuple[str, str, dict[str, str]]:
    """A fault drawn by the model's priors, a complaint that it causes, and the simulator's answer to every check."""
    rng = random.Random(f"visit/{seed}")
    fault = rng.choices([f.id for f in model.faults], [f.prior for f in model.faults])[0]
    for attempt in range(200):  # a mild fault that nobody notices brings no visit: draw it again
        simulated = cabinet(fault, seed * 200 + attempt)
        noticed = complaints(simulated)
        if noticed:
            return fault, rng.choice(noticed), {check: answer(simulated, check, 0.0) for check in model.checks}
    raise Trouble(f"The simulator cannot make the fault {fault!r} noticeable: check its numbers.")
