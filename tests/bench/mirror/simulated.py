"""The inside of a simulated cabinet: its condition in physical quantities, and what each fault does to them.

All numbers are invented. Temperatures in degrees Celsius, heat capacity in kJ/K, losses and cooling in W/K.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

NOMINAL_VOLTS = 230.0
PLATE_AMPERES, LOCKED_AMPERES = 2.0, 11.0


@dataclass(frozen=True)
class Condition:
    """Everything about a cabinet that a check could find out. The defaults are a healthy one."""

    room: float = 24.0
    heat: float = 300.0
    loss_clean: float = 3.5
    load: float = 60.0
    setting: float = 6.0
    sensor_error: float = 0.0
    mode_cooling: bool = True
    relay: str = "good"
    connectors_home: bool = True
    start_good: bool = True
    overload_closed: bool = True
    run_ohms: float = 8.0
    start_ohms: float = 20.0
    seized: bool = False
    volts: float = 232.0
    source_ohms: float = 0.4
    leak_megohms: float = 200.0
    evaporator_fan: float = 1.0
    condenser_fan: float = 1.0
    ice: float = 0.0
    dirt: float = 0.1
    charge: float = 1.0
    door_gap: float = 0.0
    heater_good: bool = True
    panel_loose: bool = False
    filled_today: bool = False

    @property
    def loss(self) -> float:
        """Heat loss in W/K: the walls, and what a gap at the door adds."""
        return self.loss_clean * (1 + 2.0 * self.door_gap)

    @property
    def air_flow(self) -> float:
        """Evaporator air as a share of a healthy cabinet's."""
        return self.evaporator_fan * (1 - 0.95 * self.ice)

    @property
    def rejection(self) -> float:
        """How well the condenser gives off heat, one for a clean one with its fan."""
        return (1 - 0.7 * self.dirt) * (0.25 + 0.75 * self.condenser_fan)

    @property
    def cooling(self) -> float:
        """Slope of the cooling in W/K while the compressor runs."""
        air = 0.10 + 0.90 * min(1.0, self.air_flow)
        reject = min(1.0, self.rejection / 0.65)
        return 12.0 * air * reject * self.charge**2

    @property
    def floor(self) -> float:
        """The coldest that the deck could make the cabinet with no load at all."""
        return -15.0 + 8.0 * (1 - min(1.0, self.rejection / 0.65)) + 6.0 * (1 - self.charge)

    def tripped(self) -> bool:
        """Whether the protection at the outlet is out, from a leak to the frame or for want of a supply."""
        return self.leak_megohms < 0.05

    def display_lit(self) -> bool:
        """Whether the controller has a supply."""
        return self.volts > 100 and not self.tripped()

    def windings_sound(self) -> bool:
        """Whether both windings conduct and none is short-circuited."""
        return 1 < self.run_ohms < 100 and 1 < self.start_ohms < 200

    def switched_on(self) -> bool:
        """Whether voltage can reach the compressor when the controller asks for cooling."""
        return self.display_lit() and self.mode_cooling and self.relay != "open" and self.connectors_home

    def can_run(self) -> bool:
        """Whether the compressor starts when asked to."""
        strong = self.volts - self.source_ohms * LOCKED_AMPERES > 0.80 * NOMINAL_VOLTS
        sound = self.start_good and self.overload_closed and self.windings_sound() and not self.seized
        return self.switched_on() and strong and sound

    def tries(self) -> bool:
        """Whether the compressor is fed and hums against its overload without starting."""
        return self.switched_on() and not self.can_run() and self.overload_closed and self.windings_sound()

    def fan_runs(self) -> bool:
        """Whether the evaporator fan turns."""
        return self.display_lit() and self.mode_cooling and self.evaporator_fan > 0.05

    def noise_source(self) -> str:
        """Where a noise comes from: none, panel, fan or compressor."""
        if self.panel_loose:
            return "panel"
        if self.display_lit() and (0.05 < self.condenser_fan < 0.7 or 0.05 < self.evaporator_fan < 0.7):
            return "fan"
        return "compressor" if self.tries() else "none"

    def repaired(self) -> Condition:
        """The same cabinet with every fault put right; its room, stock and size stay. Ice stays too: it must thaw."""
        healthy = Condition()
        return replace(healthy, room=self.room, heat=self.heat, load=min(self.load, 80.0), ice=self.ice)


def background(rng: random.Random) -> Condition:
    """A sound cabinet with the ordinary blemishes that lead a diagnosis astray."""
    return Condition(
        room=rng.uniform(18, 30),
        heat=rng.uniform(120, 450),
        loss_clean=rng.uniform(3.0, 4.2),
        load=rng.uniform(35, 75),
        setting=rng.uniform(5.0, 6.5),
        sensor_error=rng.gauss(0, 0.3),
        volts=rng.gauss(231, 3),
        source_ohms=rng.uniform(0.2, 0.8),
        run_ohms=rng.uniform(5, 10),
        start_ohms=rng.uniform(14, 28),
        leak_megohms=10 ** rng.uniform(1.3, 3),
        dirt=rng.betavariate(1.5, 5),
        door_gap=0.15 * rng.random(),
        ice=0.15 * rng.random(),
        panel_loose=rng.random() < 0.02,
        filled_today=rng.random() < 0.15,
    )


Change = Callable[[Condition, random.Random], Condition]


def _evaporator_fan(c: Condition, rng: random.Random) -> Condition:
    speed = 0.0 if rng.random() < 0.7 else rng.uniform(0.1, 0.4)
    return replace(c, evaporator_fan=speed, ice=min(1.0, c.ice + rng.uniform(0.0, 0.8)))


def _winding(c: Condition, rng: random.Random) -> Condition:
    broken = rng.choice(("run open", "start open", "run short"))
    return {
        "run open": replace(c, run_ohms=float("inf")),
        "start open": replace(c, start_ohms=float("inf")),
        "run short": replace(c, run_ohms=rng.uniform(0.1, 0.6)),
    }[broken]


def _low_supply(c: Condition, rng: random.Random) -> Condition:
    if rng.random() < 0.5:
        return replace(c, source_ohms=rng.uniform(3.0, 6.0))
    return replace(c, volts=rng.uniform(180, 204), source_ohms=rng.uniform(1.0, 3.0))


def _no_supply(c: Condition, rng: random.Random) -> Condition:
    return replace(c, volts=0.0)


# What a fault of the shipped model does to a cabinet, with its severity drawn.
FAULTS: dict[str, Change] = {
    "condenser_blocked": lambda c, r: replace(c, dirt=r.uniform(0.75, 0.98)),
    "condenser_fan": lambda c, r: replace(c, condenser_fan=0.0 if r.random() < 0.7 else r.uniform(0.1, 0.3)),
    "evaporator_fan": _evaporator_fan,
    "coil_iced": lambda c, r: replace(c, ice=r.uniform(0.75, 1.0)),
    "defrost_heater": lambda c, r: replace(c, heater_good=False, ice=r.uniform(0.65, 1.0)),
    "door_seal": lambda c, r: replace(c, door_gap=r.uniform(0.6, 2.0), ice=r.uniform(0.2, 0.8)),
    "sensor_reads_warm": lambda c, r: replace(c, sensor_error=r.uniform(3.5, 10.0)),
    "sensor_reads_cold": lambda c, r: replace(c, sensor_error=-r.uniform(3.5, 12.0)),
    "set_too_cold": lambda c, r: replace(c, setting=r.uniform(-2.0, 1.5)),
    "set_too_warm": lambda c, r: replace(c, setting=r.uniform(10.0, 14.0)),
    "not_in_cooling": lambda c, r: replace(c, mode_cooling=False),
    "relay_open": lambda c, r: replace(c, relay="open"),
    "relay_welded": lambda c, r: replace(c, relay="welded"),
    "connector_loose": lambda c, r: replace(c, connectors_home=False),
    "start_device": lambda c, r: replace(c, start_good=False),
    "overload_open": lambda c, r: replace(c, overload_closed=False),
    "compressor_winding": _winding,
    "compressor_seized": lambda c, r: replace(c, seized=True),
    "low_charge": lambda c, r: replace(c, charge=r.uniform(0.25, 0.65)),
    "no_supply": _no_supply,
    "supply_low": _low_supply,
    "earth_fault": lambda c, r: replace(c, leak_megohms=r.uniform(0.0005, 0.04)),
    "loose_panel": lambda c, r: replace(c, panel_loose=True),
    "fresh_fill": lambda c, r: replace(c, filled_today=True, load=r.uniform(190, 320)),
}
