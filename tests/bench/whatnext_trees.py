"""Fixed trees, one a complaint, as the plain alternative to "what next".

Written as a careful workshop would write them: cheap looks first, everything that needs power before the power is
cut, then one isolation for all the rest, and branches that skip what earlier answers have made pointless. A step
is (check, {answer: fault to act on}, {earlier check: answers under which the step is done}).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Step:
    """One step of a tree: a check, what its answers accuse, and when it applies."""

    check: str
    accuses: dict[str, str] = field(default_factory=dict)
    when: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


COOL = {"compressor_touch": ("cool",)}
HOT = {"compressor_touch": ("very_hot",)}
RUNS = {"compressor_touch": ("warm", "very_hot")}
STARVED = {"air_flow": ("weak", "none")}

_SUPPLY = (
    Step("display"),
    Step("outlet", {"dead": "no_supply"}, {"display": ("dark",)}),
    Step("mode", {"other": "not_in_cooling"}, {"display": ("lit",)}),
)
_AIR = (
    Step("air_flow"),
    Step("coil_look", {"blocked": "coil_iced", "part": "low_charge"}),
)
_COMPRESSOR_OFF = (
    Step("relay", {"open": "relay_open", "welded": "relay_welded"}, COOL),
    Step("connectors", {"not_home": "connector_loose"}, COOL),
    Step("start_part", {"bad": "start_device"}, {"compressor_touch": ("cool", "very_hot")}),
    Step("overload", {"open": "overload_open"}, COOL),
    Step("windings", {"open": "compressor_winding", "shorted": "compressor_winding"}, COOL),
    Step("insulation", {"leaks": "earth_fault"}, COOL),
)
_FANS = (
    Step("evaporator_fan_spin", {"bad": "evaporator_fan"}, STARVED),
    Step("condenser_fan_spin", {"bad": "condenser_fan"}, HOT),
)

TREES: dict[str, tuple[Step, ...]] = {
    "too_warm": (
        *_SUPPLY,
        Step("setting", {"too_warm": "set_too_warm"}),
        Step("load", {"heavy": "fresh_fill"}),
        *_AIR,
        Step("compressor_touch"),
        Step("condenser_look", {"dirty": "condenser_blocked"}, RUNS),
        Step("condenser_fan_turns", {"still": "condenser_fan"}, RUNS),
        Step("door_strip", {"slips": "door_seal"}, RUNS),
        Step("thermometer", {"shown_colder": "sensor_reads_cold", "shown_warmer": "sensor_reads_warm"}),
        Step("supply", {"low": "supply_low", "dead": "no_supply"}, HOT),
        Step("current", {"locked": "compressor_seized", "low": "low_charge"}, RUNS),
        *_COMPRESSOR_OFF,
        *_FANS,
        Step("defrost_heater_ohms", {"bad": "defrost_heater"}, STARVED),
        Step("sensor_ohms", {"wrong": "sensor_reads_cold"}),
    ),
    "freezing": (
        Step("setting", {"too_cold": "set_too_cold"}),
        Step("thermometer", {"shown_warmer": "sensor_reads_warm", "shown_colder": "sensor_reads_cold"}),
        Step("cycle"),
        Step("relay", {"welded": "relay_welded", "open": "relay_open"}),
        Step("sensor_ohms", {"wrong": "sensor_reads_warm"}),
    ),
    "dead": (
        Step("display"),
        Step("outlet", {"dead": "no_supply"}, {"display": ("dark",)}),
        Step("supply", {"dead": "no_supply", "low": "supply_low"}),
        Step("mode", {"other": "not_in_cooling"}, {"display": ("lit",)}),
        Step("setting", {"too_warm": "set_too_warm"}, {"display": ("lit",)}),
        Step("compressor_touch"),
        Step("insulation", {"leaks": "earth_fault"}),
        Step("connectors", {"not_home": "connector_loose"}),
        Step("relay", {"open": "relay_open"}),
        Step("start_part", {"bad": "start_device"}),
        Step("overload", {"open": "overload_open"}),
        Step("windings", {"open": "compressor_winding", "shorted": "compressor_winding"}),
        Step("sensor_ohms", {"wrong": "sensor_reads_cold"}),
    ),
    "runs_always": (
        Step("setting", {"too_cold": "set_too_cold"}),
        Step("load", {"heavy": "fresh_fill"}),
        Step("condenser_look", {"dirty": "condenser_blocked"}),
        Step("condenser_fan_turns", {"still": "condenser_fan"}),
        Step("door_strip", {"slips": "door_seal"}),
        *_AIR,
        Step("thermometer", {"shown_warmer": "sensor_reads_warm"}),
        Step("current", {"low": "low_charge", "high": "condenser_blocked"}),
        Step("relay", {"welded": "relay_welded"}),
        Step("evaporator_fan_spin", {"bad": "evaporator_fan"}, STARVED),
        Step("defrost_heater_ohms", {"bad": "defrost_heater"}, STARVED),
        Step("sensor_ohms", {"wrong": "sensor_reads_warm"}),
    ),
    "noisy": (
        Step("noise", {"panel": "loose_panel"}),
        Step("air_flow", {"none": "evaporator_fan"}),
        Step("condenser_fan_turns", {"still": "condenser_fan"}),
        Step("coil_look", {"blocked": "coil_iced"}, STARVED),
        Step("condenser_look", {"dirty": "condenser_blocked"}),
        Step("start_drop", {"large": "supply_low"}, {"noise": ("compressor",)}),
        Step("current", {"locked": "compressor_seized"}, {"noise": ("compressor",)}),
        Step("panels", {"loose": "loose_panel"}),
        Step("condenser_fan_spin", {"bad": "condenser_fan"}),
        Step("evaporator_fan_spin", {"bad": "evaporator_fan"}),
        Step("start_part", {"bad": "start_device"}, {"noise": ("compressor",)}),
        Step("connectors", {"not_home": "connector_loose"}),
    ),
    "iced_up": (
        Step("setting", {"too_cold": "set_too_cold"}),
        Step("door_strip", {"slips": "door_seal"}),
        Step("air_flow", {"none": "evaporator_fan"}),
        Step("coil_look", {"part": "low_charge"}),
        Step("thermometer", {"shown_warmer": "sensor_reads_warm"}),
        Step("defrost_heater_ohms", {"bad": "defrost_heater"}),
        Step("evaporator_fan_spin", {"bad": "evaporator_fan"}),
        Step("sensor_ohms", {"wrong": "sensor_reads_warm"}),
    ),
    # What else makes it wet (the drain, the level) these cabinets do not have.
    "wet": (
        Step("door_strip", {"slips": "door_seal"}),
        *_AIR,
    ),
}
