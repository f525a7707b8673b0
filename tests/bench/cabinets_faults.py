# ruff: noqa: E501 - tables
"""What can be wrong with a cabinet of `cabinets_physics`, how often it is drawn, and what the site then complains of.

Shares are common practice, no source. A cabinet is left alone for two days in its fault before anybody comes, so that the
complaint is what the cabinet shows, not what a table says."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import copy
from dataclasses import replace
from random import Random

from tests.bench.cabinets_physics import Cabinet

SUPPLIES = (  # nominal of the system, voltages on plates found on it
    (100.0, (100.0,)), (120.0, (115.0, 120.0)), (208.0, (208.0, 220.0)), (230.0, (220.0, 230.0, 240.0)), (240.0, (230.0, 240.0)),
)  # fmt: skip
Change = Callable[[Cabinet, Random], Cabinet]


def sound(rng: Random) -> Cabinet:
    """A cabinet with nothing wrong but the blemishes that lead astray."""
    nominal, plates = rng.choice(SUPPLIES)
    kind = rng.choice(("ptc", "relay", "capacitor"))
    made = Cabinet(
        room=rng.uniform(18, 29), humidity=rng.uniform(0.3, 0.7), nominal=nominal, plate=rng.choice(plates),
        volts=nominal * rng.uniform(0.975, 1.035), source_ohms=rng.uniform(0.15, 0.5) * (nominal / 230.0) ** 2,
        kind=kind, start_below_run=kind == "ptc" and nominal > 200 and rng.random() < 0.3,
        inner_overload=rng.random() < 0.5, stock_joules=rng.uniform(200e3, 700e3), drinks=rng.random() < 0.7,
        setting=rng.uniform(5.0, 6.7), sensor_error=rng.gauss(0, 0.3), dirt=0.3 * rng.betavariate(1.5, 4),
        ec_fans=rng.random() < 0.4, gap=0.15 * rng.random(), heater_fitted=rng.random() < 0.4,
        panel_loose=rng.random() < 0.02, oil=rng.random() < 0.05,
    )  # fmt: skip
    # One for fresh food is set 3 K colder: what it holds must stay at 5 degrees (FDA Food Code 2022, 3-501.16).
    return made if made.drinks else replace(made, setting=made.setting - 3.0)


def _supply_low(c: Cabinet, r: Random) -> Cabinet:
    return replace(c, volts=c.nominal * r.uniform(0.74, 0.84))


FAULTS: dict[str, tuple[float, Change]] = {
    "condenser_blocked": (14, lambda c, r: replace(c, dirt=r.uniform(0.85, 1.0))),
    "condenser_fan": (6, lambda c, r: replace(c, condenser_fan=0.0)),
    "evaporator_fan": (6, lambda c, r: replace(c, evaporator_fan=0.0)),
    "door_seal": (8, lambda c, r: replace(c, gap=r.uniform(2.0, 5.0), ice=r.uniform(0.2, 0.9))),
    "coil_iced": (6, lambda c, r: replace(c, ice=r.uniform(0.97, 1.0))),
    "defrost_heater": (3, lambda c, r: replace(c, heater_fitted=True, heater_good=False, ice=r.uniform(0.95, 1.0))),
    "drain": (2, lambda c, r: replace(c, drain_free=False, ice=r.uniform(0.95, 1.0))),
    "sensor_reads_warm": (4, lambda c, r: replace(c, sensor_error=r.uniform(6, 10))),
    "sensor_reads_cold": (4, lambda c, r: replace(c, sensor_error=-r.uniform(5, 12))),
    "set_too_cold": (4, lambda c, r: replace(c, setting=r.uniform(-3, 0.5))),
    "set_too_warm": (4, lambda c, r: replace(c, setting=r.uniform(11, 15))),
    "not_in_cooling": (4, lambda c, r: replace(c, mode_cooling=False)),
    "controller": (3, lambda c, r: replace(c, controller_calls=False)),
    "relay_open": (4, lambda c, r: replace(c, relay="open")),
    "relay_welded": (3, lambda c, r: replace(c, relay="welded")),
    "connector_loose": (4, lambda c, r: replace(c, terminals_home=False)),
    "start_device": (4, lambda c, r: replace(c, start_good=False)),
    "capacitor": (3, lambda c, r: replace(c, kind="capacitor", capacitor=r.uniform(0.1, 0.6))),
    "overload_open": (2, lambda c, r: replace(c, overload_good=False, inner_overload=False)),
    "compressor_winding": (2, lambda c, r: replace(c, winding=r.choice(("open", "short")))),
    "compressor_seized": (2, lambda c, r: replace(c, seized=True)),
    "low_charge": (4, lambda c, r: replace(c, charge=r.uniform(0.1, 0.35), oil=r.random() < 0.7)),
    "restriction": (2, lambda c, r: replace(c, restricted=True)),
    "no_supply": (3, lambda c, r: replace(c, supply_on=False)),
    "breaker_out": (2, lambda c, r: replace(c, breaker_out=True)),
    "earth_fault": (3, lambda c, r: replace(c, earth_leak=True, leak_in_deck=r.random() < 0.6)),
    "supply_low": (2, _supply_low),
    "supply_low_at_start": (2, lambda c, r: replace(c, source_ohms=r.uniform(5.5, 8) * (c.nominal / 230) ** 2)),
    "stock_blocks_air": (4, lambda c, r: replace(c, stock_blocks=True, ice=r.uniform(0.0, 0.3))),
    "room_too_hot": (3, lambda c, r: replace(c, room=r.uniform(45, 51))),
    "sun": (2, lambda c, r: replace(c, sun=r.uniform(300, 420))),
    "fresh_fill": (5, lambda c, r: replace(c, filled_warm=True)),
    "vents_covered": (4, lambda c, r: replace(c, vents_covered=True)),
    "sensor_offset": (2, lambda c, r: replace(c, offset=r.choice((-1, 1)) * r.uniform(4.5, 8))),
    "sensor_out_of_place": (2, lambda c, r: replace(c, sensor_home=False)),
    "deck_seat": (2, lambda c, r: replace(c, deck_gap=r.uniform(2.5, 5.0), ice=r.uniform(0.2, 0.9))),
    "drain_runs_over": (2, lambda c, r: replace(c, drain_free=False, ice=r.uniform(0.0, 0.3))),
    "cabinet_leans": (2, lambda c, r: replace(c, tilted=True)),
    "defrost_no_start": (2, lambda c, r: replace(c, defrost_starts=False, ice=r.uniform(0.95, 1.0))),
    "defrost_no_end": (1, lambda c, r: replace(c, in_defrost=True)),
    "damp_walls": (1, lambda c, r: replace(c, wet_walls=True)),
    "loose_panel": (3, lambda c, r: replace(c, panel_loose=True)),
    "none": (3, lambda c, r: c),
}  # fmt: skip


def noticed(c: Cabinet, left: Cabinet) -> Iterator[str]:
    """What a site can see of it: `left` is the cabinet a quarter of a day before."""
    ran = (c.run_minutes - left.run_minutes) / max(1.0, c.minute - left.minute)
    if not c.display:
        yield "dead"
    if c.stock > 9.5:
        yield "too_warm"
    if c.stock < -0.5:
        yield "freezing"
    if ran > 0.97 and c.stock < 12:
        yield "runs_always"
    if c.ice > 0.7:
        yield "iced_up"
    if c.wet_walls or c.tilted or (not c.drain_free and c.ice < 0.6):
        yield "wet"
    if c.panel_loose or c.humming:
        yield "noisy"


def draw(seed: int) -> tuple[str, str, Cabinet]:
    """(fault, complaint, the cabinet as it stands)."""
    rng = Random(f"cabinets/{seed}")
    names, shares = list(FAULTS), [share for share, _ in FAULTS.values()]
    for _ in range(200):
        fault = rng.choices(names, shares)[0]
        made = FAULTS[fault][1](sound(rng), rng)
        made.settle(44)
        if made.filled_warm:
            made.stock = rng.uniform(19, 25)
        left = copy(made)
        made.settle(1 if made.filled_warm else 4)
        complaints = list(noticed(made, left))
        if fault == "none":
            complaints = complaints or ["too_warm"]
        if complaints:
            made.run_minutes, made.minute, made.stopped_at = 0.0, 0.0, -1e9  # a stop before the visit was seen by nobody
            return fault, rng.choice(complaints), made
    raise AssertionError("no cabinet with a complaint was found")
