# ruff: noqa: E501 - tables
"""A fifth table: uses of a formula that the formula does not support, as a site would meet them. Columns as in `scenarios`.

Each was seen to fail before its procedure was mended. Sources beside the demand, from memory but for 4-204.111."""

from __future__ import annotations

from tests.trade.scenarios import COLD, F, Scenario, inside
from tests.trade.scenarios_third import CIRCUIT, FOOD_CABINET, FRESH, NO_DEAD_MOTOR, SUPPLY

EVAPORATOR_FAN = ("evaporator-fan-failed", "evaporator-fan-motor-open")
INF = float("inf")
#: A fan whose circuit nobody saw: its plate was misread, and a meter finds no winding in it.
MISREAD = {"fan kind": ("plain motor", ""), "evaporator ohms": (INF, "ohm"), "spin evaporator": ("freely", "")}

FIFTH: tuple[Scenario, ...] = (
    Scenario("filled ten minutes ago, food 50", "too_warm", "thirty minutes are the air's, never the food's (Food Code 4-204.111; 3-501.16)",
             {**FOOD_CABINET, "air": 12.0, "sensed": 11.0, "stock": 10.0}, {**FRESH, **inside(50, 48, 46, 45, 44, 43), "product": (50.0, F), "minutes cold": (12.0, "minute"), "filled": ("freshly filled", "")},
             accept=("ask-about-fresh-food",), never=("keep-fresh-food", "sale-limit-runs", "discard-fresh-food"), isolations=1, hours=0.0),
    Scenario("112 V at an outlet of 120 V, PTC broken", "too_warm", "108 V are allowed at an outlet (ANSI C84.1 range A, utilization): the start device is at fault",
             {"nominal": 120.0, "plate": 115.0, "volts": 112.0, "source_ohms": 0.1, "start_good": False},
             accept=("start-device-failed",), never=(*SUPPLY, *NO_DEAD_MOTOR, *COLD), turns=140),
    Scenario("112 V at an outlet of 120 V, fuse sound", "dead", "112 V accuse no outlet, and call no electrician (ANSI C84.1 range A, utilization)",
             {"nominal": 120.0, "plate": 115.0, "volts": 112.0, "lit": False}, never=("supply-out-of-band", "no-supply-at-outlet")),
    Scenario("half a megohm, with a heater", "dead", "0.3 megohm is the least with a heating element (EN 50699): nothing leaks",
             {"heater_fitted": True, "lit": False}, {"insulation": (0.5, "megaohm"), "deck insulation": (0.5, "megaohm")},
             never=("deck-leaks-to-frame", "cabinet-leaks-to-frame")),
    Scenario("half a megohm, without a heater", "dead", "1 megohm is the least without one (EN 50699)",
             {"heater_fitted": False, "lit": False}, {"insulation": (0.5, "megaohm"), "deck insulation": (0.5, "megaohm")},
             accept=("deck-leaks-to-frame",)),
    Scenario("stock before the opening, coil iced by it", "iced_up", "no air through the opening says nothing of the fan behind it",
             {"stock_blocks": True, "ice": 0.98, "ec_fans": True, "humidity": 0.6}, MISREAD, accept=("stock-blocks-air",), never=(*EVAPORATOR_FAN, *CIRCUIT), isolations=3, turns=150),
    Scenario("stock before the opening, seen late", "too_warm", "the way of the air is seen before a fan is accused, whoever could not tell at first",
             {"stock_blocks": True, "ice": 0.2, "ec_fans": True}, {**MISREAD, "coil": ("cannot tell", "")}, accept=("stock-blocks-air",), never=(*EVAPORATOR_FAN, *CIRCUIT), isolations=1),
)  # fmt: skip
