# ruff: noqa: E501 - tables
"""An eighth table, of what is rarer and mixed: two faults, what comes and goes, what a repair left behind, the place it stands in.

Written by a refrigeration engineer before that hand had read a procedure or another table. Columns as in `scenarios`. What is
demanded is common practice, no source, where none is named."""

from __future__ import annotations

from tests.bench.cabinets_topics import UNSTEADY
from tests.trade.scenarios import COLD, HUMS, OHM, OPEN_END, F, Scenario, V, inside
from tests.trade.scenarios_second import NO_START_PART
from tests.trade.scenarios_seventh import CONDENSER_FAN, EVAPORATOR_FAN, INF, PARTS, RUNS, SENSOR
from tests.trade.scenarios_third import CIRCUIT, FREEZER, FROZEN, GOOD_END, NO_DEAD_MOTOR, SUPPLY

A = "ampere"
BOTH = {"starts and stops": ("both seen", "")}
#: Circuits with too much in them: little cold, many amperes, a hot condenser that is clean.
STUFFED = {**RUNS, "condenser": ("clean", ""), "coil": ("even frost", ""), "delivery air": ("strongly", ""), "plate current": (2.0, A), **inside(52, 52, 52, 52, 52, 52), "shown": (52.0, F), "beside the sensor": (52.0, F), "delivery temperature": (49.0, F)}
OFFSET = ("sensor-offset-wrong",)
CONTROLLER_PARTS = ("controller-does-not-call", "controller-or-wiring")

EIGHTH: tuple[Scenario, ...] = (
    # ---- nothing is wrong, and somebody complains
    Scenario("warm bottles since two hours, and coming down", "too_warm", "300 warm bottles need hours: no part is accused", {"filled_warm": True},
             {**RUNS, "filled": ("freshly filled", ""), **inside(58, 54, 50, 47, 44, 43, 43, 43), **BOTH}, never=(*PARTS, "will-not-get-cold"), ends=GOOD_END, isolations=0),
    Scenario("door open for filling until just now", "too_warm", "the air is warm and the bottles are cold: it is left alone", {"air": 9.5, "sensed": 9.0, "stock": 4.5},
             {**RUNS, "filled": ("freshly filled", ""), "shown": (48.0, F), "beside the sensor": (48.0, F), **inside(44, 43, 42, 42, 42), **BOTH}, never=PARTS, ends=GOOD_END, isolations=0, hours=0.0),
    Scenario("warm on sunny afternoons, seen in the morning", "too_warm", "41 degF and cycling this morning, the sun comes later: it is told, and nothing is opened", {"sun": 5.0},
             {**RUNS, "sun": ("in the sun", ""), **inside(42, 42, 42, 42), **BOTH}, never=PARTS, ends=("watch", "no fault found", "handed over"), isolations=0),
    Scenario("a freezer just after its defrost", "too_warm", "twelve degrees for twenty minutes, and falling: a freezer that defrosts", {**FREEZER, "air": -11.0, "sensed": -11.0, "stock": -16.0},
             {**FROZEN, **RUNS, "frozen look": ("frozen hard", ""), "product": (2.0, F), "setting": (0.0, F), "shown": (12.0, F), "beside the sensor": (12.0, F), **inside(12, 7, 3, 1, 0, 0), **BOTH},
             never=(*PARTS, "sale-stops", "discard-fresh-food"), ends=GOOD_END, isolations=0, hours=0.0),
    Scenario("restarted too soon by a plug timer", "too_warm", "a compressor that restarts against its pressure stalls once, and starts after its rest: nothing is condemned", {"air": 9.0, "sensed": 9.0, "stock": 9.0},
             {"compressor": (["hums and clicks", "runs smoothly"], ""), "tried to start": ("it starts", ""), **inside(48, 46, 44, 43, 43, 43), **BOTH}, never=(*NO_DEAD_MOTOR, *NO_START_PART), hours=0.0),
    # ---- air that does not get through
    Scenario("only the top shelf is warm", "too_warm", "bottles up to the top stop the air: they are moved, and nothing is opened", {"stock_blocks": True, "ice": 0.1},
             BOTH, accept=("stock-blocks-air",), never=(*PARTS,), ends=GOOD_END, isolations=0, turns=80),
    Scenario("cartons before the return grille, an uneven coil", "runs_always", "little air frosts a coil in part: the circuit is not accused for it", {"stock_blocks": True, "ice": 0.3},
             {**RUNS, "coil": ("part frosted", ""), "delivery air": ("weakly", "")}, accept=("stock-blocks-air",), never=(*CIRCUIT, *EVAPORATOR_FAN), isolations=1),
    Scenario("backed against the wall", "too_warm", "through the grille it is clean; behind it there is no room for air", {"vents_covered": True, "room": 27.0},
             {"condenser": ("clean", "")}, accept=("vents-covered",), never=(*CIRCUIT, *NO_DEAD_MOTOR, *CONDENSER_FAN), ends=GOOD_END, isolations=1, turns=130),
    Scenario("backed against the wall, and never rests", "runs_always", "the same, by another complaint", {"vents_covered": True, "room": 22.0, "setting": 5.0},
             {"condenser": ("clean", "")}, accept=("vents-covered",), never=(*CIRCUIT, *NO_DEAD_MOTOR, *CONDENSER_FAN), ends=GOOD_END, isolations=1, turns=130),
    Scenario("a kitchen at 104 degF, and it never rests", "runs_always", "hotter than it is made for: no part is condemned", {"room": 40.5},
             {"room": (105.0, F)}, never=PARTS, isolations=1),
    Scenario("frozen at the back only", "freezing", "stock against the opening freezes, the rest does not", {},
             {"where frozen": ("near the opening", ""), **inside(40, 41, 42, 43, 43)}, accept=("stock-at-delivery-opening",), never=(*PARTS, "relay-welded"), isolations=0),
    # ---- supply
    Scenario("a long extension lead on 120 V", "too_warm", "118 V at rest, and 96 V as it starts", {"nominal": 120.0, "plate": 115.0, "volts": 118.0, "source_ohms": 1.9},
             HUMS, accept=SUPPLY, never=(*NO_DEAD_MOTOR, *NO_START_PART, *COLD), isolations=1),
    Scenario("a coffee machine on the same circuit", "too_warm", "104 V of 120 V while the water heats: the supply is told, and no start device is bought", {"nominal": 120.0, "plate": 115.0, "volts": 104.0, "source_ohms": 0.9},
             HUMS, accept=SUPPLY, never=(*NO_DEAD_MOTOR, *NO_START_PART, *COLD), isolations=1),
    Scenario("a loose neutral", "too_warm", "97 V, then 134 V: nothing on it is judged", {"nominal": 120.0, "plate": 115.0, "volts": 118.0, "source_ohms": 2.4},
             {**HUMS, "outlet voltage": (UNSTEADY, V), "start volts": (UNSTEADY, V)}, never=(*NO_DEAD_MOTOR, *NO_START_PART, *COLD), ends=OPEN_END, isolations=1),
    Scenario("an earth leakage switch, and a heater that leaks", "dead", "the heater in the frame leaks, the deck is sound", {"earth_leak": True, "leak_in_deck": False, "heater_fitted": True},
             {"insulation": (0.1, "megaohm"), "deck insulation": (180.0, "megaohm")}, accept=("cabinet-leaks-to-frame",), never=("deck-leaks-to-frame", "no-supply-at-outlet", "supply-out-of-band"), isolations=2),
    Scenario("an earth leakage switch that fell in a storm", "dead", "set once, it stays, and nothing leaks", {"breaker_out": True},
             {"insulation": (220.0, "megaohm"), "deck insulation": (220.0, "megaohm")}, accept=("breaker-out",), never=("deck-leaks-to-frame", "cabinet-leaks-to-frame", "no-supply-at-outlet"), isolations=1),
    # ---- controller and sensor
    Scenario("an offset of minus eight", "too_warm", "a sensor that fits its table, and a controller told to subtract: the offset is put right, and no part is bought", {"offset": -4.5},
             BOTH, accept=OFFSET, never=PARTS, ends=GOOD_END, isolations=1, turns=110),
    Scenario("an offset of plus twelve, and it freezes", "freezing", "the same, the other way", {"offset": 6.5},
             BOTH, accept=OFFSET, never=PARTS, ends=GOOD_END, isolations=1, turns=110),
    Scenario("an old offset that hides a sensor", "too_warm", "two at once: an offset set for the sensor before, and a sensor off its table", {"offset": 2.0, "sensor_error": -9.0},
             BOTH, accept=("sensor-wrong",), never=(*CIRCUIT, *NO_DEAD_MOTOR, *CONTROLLER_PARTS), isolations=2),
    Scenario("the sensor fell on the coil", "too_warm", "it tells the truth of a cold place: it is put back, and not bought", {"sensor_home": False},
             BOTH, accept=("sensor-out-of-place",), never=(*SENSOR, *PARTS), ends=GOOD_END, isolations=1, turns=110),
    Scenario("the sensor is off by ten, offset none", "too_warm", "in ice water it is wrong: it is exchanged", {"sensor_error": -6.0}, BOTH, accept=("sensor-wrong",), never=(*CIRCUIT, *OFFSET), isolations=1),
    Scenario("its defrost never ends", "too_warm", "no call after the pause that a defrost takes, and heat from the coil: neither circuit nor compressor is accused", {"controller_calls": False},
             {"compressor": ("silent", ""), "call for cooling": ("idle", ""), "shown": (60.0, F), "beside the sensor": (60.0, F), **inside(60)}, accept=CONTROLLER_PARTS, never=(*CIRCUIT, *NO_DEAD_MOTOR, "relay-does-not-close", *COLD), ends=OPEN_END, isolations=1),
    Scenario("its defrost never starts", "iced_up", "a sound heater that nobody switches on: the ice is thawed, its cause stays open", {"heater_fitted": True, "ice": 1.0},
             {**BOTH, "defrost by itself": ("never starts", "")}, accept=("coil-iced-over",), never=("defrost-heater-bad", *EVAPORATOR_FAN, *CIRCUIT, "fixed"), isolations=2, turns=140),
    # ---- the compressor
    Scenario("a label jams the condenser fan", "too_warm", "minutes of running, hot, and off on its overload: the fan, not the compressor", {"condenser_fan": 0.0},
             {"compressor": ("runs smoothly", ""), "condenser fan": ("stopped", ""), "spin condenser": ("drags", "")}, accept=(*CONDENSER_FAN, "condenser-fan-stopped"), never=(*NO_DEAD_MOTOR, *CIRCUIT, *NO_START_PART), isolations=2, turns=130),
    Scenario("an overload that opens when it is barely warm", "too_warm", "all else is sound, the shell is lukewarm, and cool it closes again: it opened too early, and that is told", {"overload_good": False, "inner_overload": False},
             {"compressor": ("silent", ""), "call for cooling": ("calls for cooling", ""), "compressor touch": ("warm", ""), "condenser": ("clean", ""), "overload ohms": ([INF, 0.3], OHM)},
             after={"part of the same number": RUNS}, accept=("overload-opens-early",), never=("overload-open", *NO_DEAD_MOTOR, "start-device-failed"), isolations=2, turns=150),
    Scenario("the same overload, whose reading jumps", "too_warm", "it closes under the probes: neither sound nor condemned, it is told", {"overload_good": False, "inner_overload": False},
             {"compressor": ("silent", ""), "call for cooling": ("calls for cooling", ""), "compressor touch": ("warm", ""), "condenser": ("clean", ""), "overload ohms": ([UNSTEADY, 0.3], OHM)},
             after={"part of the same number": RUNS}, accept=("overload-opens-early",), never=("overload-open", *NO_DEAD_MOTOR, "start-device-failed"), isolations=2, turns=150),
    # ---- what a repair left behind
    Scenario("filled with too much after a repair", "too_warm", "amperes a third over its plate, a hot clean condenser, little cold: no fan, no dirt, no motor", {},
             {**STUFFED, "current": (2.7, A)}, never=(*NO_DEAD_MOTOR, *CONDENSER_FAN, *EVAPORATOR_FAN, "condenser-restricted", *NO_START_PART, *COLD), ends=OPEN_END, isolations=2),
    Scenario("air left in the circuit", "runs_always", "the same from gas that does not condense", {},
             {**STUFFED, "current": (2.5, A), "minutes on": (INF, "minute")}, never=(*NO_DEAD_MOTOR, *CONDENSER_FAN, *EVAPORATOR_FAN, "condenser-restricted", *NO_START_PART, *COLD), ends=OPEN_END, isolations=2),
    Scenario("filled with too little after a repair", "too_warm", "frost on the first third of the coil, and few amperes", {"charge": 0.2}, {**RUNS, "coil": ("part frosted", "")},
             accept=CIRCUIT, never=(*NO_DEAD_MOTOR, *CONDENSER_FAN, *EVAPORATOR_FAN, "condenser-restricted"), isolations=1),
    Scenario("moisture that freezes shut now and then", "too_warm", "warm yesterday, after a night without power it cools: a good reading mends nothing", {},
             {**RUNS, "since when": ("now and then", ""), **inside(42, 42, 42, 42), **BOTH}, never=(*PARTS, "fixed"), ends=("watch", "handed over", "no fault found"), isolations=0),
    Scenario("the new deck is not seated", "too_warm", "the door seals, the deck cools, and warm air comes in beside it", {"deck_gap": 4.0, "humidity": 0.6},
             BOTH, accept=("deck-does-not-seal",), never=(*PARTS,), isolations=2, turns=150),
    Scenario("iced up, and the deck's gasket is torn", "iced_up", "damp air beside the deck ices the coil: thawing alone mends nothing", {"deck_gap": 5.0, "ice": 0.98, "humidity": 0.7},
             BOTH, accept=("deck-does-not-seal",), never=(*CIRCUIT, *EVAPORATOR_FAN, "defrost-heater-bad"), isolations=3, turns=160),
    # ---- fans
    Scenario("an evaporator fan at a third of its speed", "too_warm", "a worn bearing: it turns, it drags, and the coil frosts evenly", {"evaporator_fan": 0.06},
             {**inside(54, 52, 49, 46, 44, 43, 43), "shown": (53.0, F), "beside the sensor": (53.0, F), "evaporator fan": ("drags", ""), "spin evaporator": ("drags", ""), "coil": ("even frost", ""), "delivery air": ("faint", ""), "air after": ("weakly", "")}, after={"exchange the fan": {"delivery air": ("strongly", ""), "air after": ("moving", "")}}, accept=EVAPORATOR_FAN, never=(*CIRCUIT, *NO_DEAD_MOTOR), isolations=2),
    Scenario("an evaporator fan that was fitted the wrong way round", "too_warm", "it turns freely, and blows weakly: its winding is whole, and it is not called sound", {"evaporator_fan": 0.3},
             {"fan kind": ("plain motor", ""), "evaporator ohms": (210.0, OHM), "spin evaporator": ("freely", ""), "coil": ("even frost", ""), "delivery air": ("faint", ""), "air after": ("weakly", "")},
             never=("evaporator-fan-motor-open", "both-fans-run", *CIRCUIT, *COLD), ends=OPEN_END, isolations=2),
    Scenario("a door switch that sticks", "too_warm", "the fan stands with the door shut and a whole winding: its switch comes before its motor", {"evaporator_fan": 0.0},
             {"fan kind": ("plain motor", ""), "evaporator ohms": (210.0, OHM), "spin evaporator": ("freely", ""), "door switch": ("fitted", ""), "switch ohms": (INF, OHM), "coil": ("bare coil", "")},
             accept=("door-switch-open",), never=(*EVAPORATOR_FAN, *CIRCUIT), isolations=2),
    # ---- two at once: the second is found in the same visit, or handed over by its name
    Scenario("dirt, and an evaporator fan that stands", "too_warm", "both stop the cold", {"dirt": 0.95, "evaporator_fan": 0.0}, BOTH, each=(("condenser-restricted",), EVAPORATOR_FAN), never=(*CIRCUIT, *NO_DEAD_MOTOR), isolations=3, turns=190),
    Scenario("start device, and a torn gasket", "too_warm", "it starts again, and does not come down for the gasket", {"start_good": False, "gap": 6.0, "ice": 0.3, "room": 30.0, "humidity": 0.7},
             {}, each=(("start-device-failed",), ("door-does-not-seal",)), never=(*NO_DEAD_MOTOR, *CIRCUIT), isolations=3, turns=200),
    Scenario("set too warm, and short of charge", "too_warm", "the setting is put right, and it will not get cold: the circuit is found, not left", {"setting": 13.0, "charge": 0.15},
             {"flame symbol": ("plain plate", "")}, each=(("setting-too-warm",), CIRCUIT), never=(*NO_DEAD_MOTOR, *CONDENSER_FAN, *EVAPORATOR_FAN), isolations=2, turns=170),
    Scenario("set too warm, and a dirty condenser", "too_warm", "the setting first, and then what the proof shows", {"setting": 13.0, "dirt": 0.97, "room": 29.0},
             BOTH, each=(("setting-too-warm",), ("condenser-restricted",)), never=(*NO_DEAD_MOTOR, *CIRCUIT, *CONDENSER_FAN), isolations=2, turns=170),
    Scenario("in another mode, and an evaporator fan that stands", "too_warm", "cooling again, and no air", {"mode_cooling": False, "evaporator_fan": 0.0},
             {}, each=(("not-in-cooling-mode",), EVAPORATOR_FAN), never=(*NO_DEAD_MOTOR, *CIRCUIT), isolations=2, turns=170),
    Scenario("sensor off, and short of charge", "too_warm", "the shown temperature is true again, and the cabinet is warm still", {"sensor_error": -7.0, "charge": 0.12},
             {}, each=(("sensor-wrong",), CIRCUIT), never=(*NO_DEAD_MOTOR, *CONDENSER_FAN, *EVAPORATOR_FAN), isolations=3, turns=190),
    Scenario("stock before the opening, and a dirty condenser", "too_warm", "the stock is moved, the condenser is seen too", {"stock_blocks": True, "dirt": 0.95}, BOTH,
             each=(("stock-blocks-air",), ("condenser-restricted",)), never=(*NO_DEAD_MOTOR, *CIRCUIT, *EVAPORATOR_FAN), isolations=2, turns=170),
    # ---- wet
    Scenario("wet from a torn gasket", "wet", "damp air runs down the walls: the drain is free, the cabinet is level, the strip slips", {"gap": 4.0, "ice": 0.3, "humidity": 0.75, "drain_free": True},
             {"where wet": ("water stands", ""), "coil": ("even frost", "")}, accept=("door-does-not-seal",), never=("drain-blocked", *CIRCUIT), isolations=1, turns=80),
    Scenario("wet insulation, and it sweats outside", "wet", "a wall that sweats has wet insulation: it is told, and nothing is cleared", {"wet_walls": True},
             {}, accept=("outside-sweats",), never=("drain-blocked", "cabinet-not-level", *CIRCUIT, "fixed"), ends=OPEN_END, isolations=0, turns=70),
)  # fmt: skip
