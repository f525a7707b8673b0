"""A drinks cabinet that can be asked: one thermal mass, the faults in it, and meters with noise.

The thermal law is of the first order. With T the cabinet, A the room, and while the compressor runs a cooling that
falls off in proportion as the cabinet nears the coldest the deck can do,

    C dT/dt = UA (A - T) + load - g (T - floor)        (the last term only while it runs)

so every stretch between two switchings is one exponential, and a trace is exact: no step size, no drift.
Every number is invented and gives a plausible cabinet; none describes a real model.

Nothing here knows the fault model's likelihoods. A fault changes physical quantities (`Condition`), and readings
and answers follow from these, which makes the simulator a third opinion when "what next" is judged.

Everything is a pure function of the cabinet, the seed and the minute: the same question at the same minute gets
the same answer, and a later minute gets fresh noise.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

from handsfree.errors import Trouble
from handsfree.trade import possible
from tests.bench.mirror.simulated import FAULTS, Condition, background

AIR_HEAT = 1006.0  # J / (kg K), dry air: ASHRAE Fundamentals
DEFROST_MINUTES = 24 * 60.0  # a wholly iced coil, unplugged: common practice, no source
DIFFERENTIAL = 1.5  # kelvin either side of the setting


@dataclass(frozen=True)
class Event:
    """Something done to the cabinet at a minute: "off", "on", "repair", or "set" with a value in degrees Celsius."""

    minute: float
    kind: str
    value: float = 0.0


@dataclass(frozen=True)
class State:
    """The cabinet at a minute: degrees Celsius inside, whether the compressor runs, and its condition."""

    minute: float
    celsius: float
    running: bool
    powered: bool
    condition: Condition


@dataclass(frozen=True)
class SimulatedCabinet:
    """A cabinet with its true fault. Grow a visit with `after`; ask it with `tests.bench.mirror.answers`.

    `celsius` is the temperature inside at minute zero.
    """

    fault: str
    condition: Condition
    seed: int
    celsius: float
    history: tuple[Event, ...] = ()

    def after(self, event: Event) -> SimulatedCabinet:
        """The same cabinet with one more thing done to it. Events come in order of time."""
        possible.not_negative(event.minute, "minute of the event")
        if event.kind not in ("off", "on", "repair", "set"):
            raise Trouble(f"The cabinet knows off, on, repair and set, not {event.kind!r}.")
        if self.history and event.minute < self.history[-1].minute:
            raise Trouble("Events happen in order: this one is earlier than the last.")
        return replace(self, history=(*self.history, event))

    def noise(self, what: str, now: float) -> random.Random:
        """A source of noise of its own for each question at each minute."""
        return random.Random(f"{self.seed}/{what}/{now:.3f}")

    def state(self, now: float) -> State:
        """The cabinet at a minute."""
        possible.not_negative(now, "minute")
        state = State(0.0, self.celsius, False, True, self.condition)
        for event in (*self.history, Event(now, "")):
            if event.minute > now:
                break
            state = _run(state, event.minute)
            state = _apply(state, event, self.history)
        return _run(state, now)


def _apply(state: State, event: Event, history: tuple[Event, ...]) -> State:
    if event.kind == "off":
        return replace(state, powered=False, running=False)
    if event.kind == "on":
        return replace(state, powered=True, condition=_thawed(state.condition, event, history))
    if event.kind == "repair":
        return replace(state, condition=state.condition.repaired())
    if event.kind == "set":
        return replace(state, condition=replace(state.condition, setting=event.value))
    return state


def _thawed(condition: Condition, on: Event, history: tuple[Event, ...]) -> Condition:
    """Ice melts while the power is off: all of it in a day."""
    offs = [event.minute for event in history if event.kind == "off" and event.minute <= on.minute]
    hours_off = (on.minute - offs[-1]) / DEFROST_MINUTES if offs else 0.0
    return replace(condition, ice=max(0.0, condition.ice - hours_off))


def _law(condition: Condition, running: bool, powered: bool = True) -> tuple[float, float]:
    """Where this regime would settle (degrees Celsius) and its time constant (minutes)."""
    g = condition.cooling if running else 0.0
    total = condition.loss + g
    # Lamps and fans warm a cabinet that stands idle a little; one without a supply drifts to the room's temperature.
    load = condition.load if running else 0.3 * condition.load if powered and condition.fan_runs() else 0.0
    settle = (condition.loss * condition.room + load + g * condition.floor) / total
    return settle, condition.heat * 1000 / total / 60


def _run(state: State, until: float) -> State:
    """Carry a state forward, switching the compressor on the way."""
    for _ in range(100_000):
        state = replace(state, running=_switched(state))
        if state.minute >= until:
            return state
        settle, tau = _law(state.condition, state.running, state.powered)
        wait = min(until - state.minute, _to_switch(state, settle, tau))
        celsius = settle + (state.celsius - settle) * math.exp(-wait / tau)
        state = replace(state, minute=state.minute + wait, celsius=celsius)
    raise Trouble("The simulated cabinet switches too often: check its numbers.")


def _switched(state: State) -> bool:
    condition = state.condition
    if not state.powered or not condition.can_run():
        return False
    if condition.relay == "welded":
        return True
    sensed = state.celsius + condition.sensor_error
    if sensed >= condition.setting + DIFFERENTIAL - 1e-9:
        return True
    return state.running and sensed > condition.setting - DIFFERENTIAL + 1e-9


def _to_switch(state: State, settle: float, tau: float) -> float:
    """Minutes until the controller switches; infinite when it never will."""
    condition = state.condition
    if not state.powered or not condition.can_run() or condition.relay == "welded":
        return math.inf
    edge = condition.setting - condition.sensor_error + (-DIFFERENTIAL if state.running else DIFFERENTIAL)
    ratio = (state.celsius - settle) / (edge - settle) if edge != settle else 0.0
    return tau * math.log(ratio) if ratio > 1 else math.inf


def settled(condition: Condition) -> tuple[float, str]:
    """Where a condition ends after days (degrees Celsius), and "never", "always" or "cycles"."""
    if not condition.can_run():
        return _law(condition, False)[0], "never"
    cold = _law(condition, True)[0]
    low_edge = condition.setting - condition.sensor_error - DIFFERENTIAL
    if condition.relay == "welded" or cold > low_edge:
        return cold, "always"
    warm = _law(condition, False)[0]
    if warm < low_edge + 2 * DIFFERENTIAL:
        return warm, "never"
    return low_edge + DIFFERENTIAL, "cycles"


def cabinet(fault: str, seed: int) -> SimulatedCabinet:
    """A cabinet with this fault (an id of the shipped model), long settled. Raises Trouble for another name."""
    if fault not in FAULTS:
        raise Trouble(f"The simulator has no fault {fault!r}: it has {', '.join(FAULTS)}.")
    rng = random.Random(f"cabinet/{fault}/{seed}")
    condition = FAULTS[fault](background(rng), rng)
    return SimulatedCabinet(fault, condition, seed, settled(condition)[0])


def complaints(simulated: SimulatedCabinet) -> tuple[str, ...]:
    """What a customer could notice, as complaints of the fault model; empty when nothing shows."""
    return tuple(_noticed(simulated.condition))


def _noticed(condition: Condition) -> Iterator[str]:
    celsius, runs = settled(condition)
    if not condition.display_lit() or (runs == "never" and not condition.fan_runs()):
        yield "dead"
    if celsius > 9.0:
        yield "too_warm"
    if celsius < 1.5:
        yield "freezing"
    if runs == "always" and celsius <= 12.0:
        yield "runs_always"
    if condition.ice > 0.6:
        yield "iced_up"
    if condition.noise_source() != "none":
        yield "noisy"
