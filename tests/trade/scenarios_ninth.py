# ruff: noqa: E501 - tables
"""A ninth table: settings that people move, defrosts that never begin or never end, what the last service left, food, and proof of cold.

Written by a refrigeration engineer before that hand had read a procedure or another table. Columns as in `scenarios`. What is
demanded is common practice, no source, where none is named. Food: FDA Food Code 2022, 3-501.16 and 3-501.19 (from memory)."""

from __future__ import annotations

from tests.bench.cabinets_topics import UNKNOWN, UNSTEADY
from tests.trade.scenarios import COLD, HUMS, OHM, F, Scenario, V, inside
from tests.trade.scenarios_second import NO_START_PART
from tests.trade.scenarios_seventh import CONDENSER_FAN, EVAPORATOR_FAN, INF, PARTS, RELAY, RUNS, SENSOR
from tests.trade.scenarios_third import CIRCUIT, FOOD_CABINET, FREEZER, FRESH, FROZEN, GOOD_END, NO_DEAD_MOTOR, SUPPLY

BOTH = {"starts and stops": ("both seen", "")}
COLD_DRINKS = {**RUNS, **inside(41, 42, 41, 42, 41, 42), **BOTH}
LEAKS = ("deck-leaks-to-frame", "cabinet-leaks-to-frame")
DOOR = ("door-does-not-seal",)
CONTROLLER = ("controller-does-not-call", "controller-or-wiring")
#: Nothing was mended: it is not called fixed.
NOTHING = ("no fault found", "watch", "to be continued")
DEFROST = ("defrost-does-not-begin", "defrost-does-not-end")

NINTH: tuple[Scenario, ...] = (
    # ---- nothing is wrong
    Scenario("one can that stood on the counter", "too_warm", "41 to 42 degF and cycling: the cabinet is left alone", {}, COLD_DRINKS, never=(*PARTS, *DOOR, "condenser-restricted"), ends=NOTHING, isolations=0, turns=60),
    Scenario("it knocked in the night and is still now", "noisy", "nothing is heard, nothing is loose: nothing is exchanged", {}, {"noise": ("silence", ""), **COLD_DRINKS}, never=(*PARTS, "mounts-worn", "fan-noisy", "loose-panel-or-clip"), ends=("no fault found", "watch", "handed over"), isolations=1),
    Scenario("it runs all day in a hot week", "runs_always", "a room of 38 degC costs run time: no part is accused", {"room": 38.0}, {**RUNS, **inside(43, 43, 42, 43), **BOTH}, never=(*PARTS, "condenser-restricted", *DOOR), ends=GOOD_END, isolations=1),
    Scenario("dew on the glass on a close day", "wet", "a damp room sweats on every cold wall", {"humidity": 0.9, "room": 29.0}, {"where wet": ("walls sweat", "")}, never=(*PARTS, "drain-blocked", "cabinet-not-level"), ends=("watch", "no fault found", "handed over", "fixed"), isolations=1),
    Scenario("the bottle at the opening froze", "freezing", "38 degF everywhere but in front of the cold air", {"air": 3.5, "sensed": 3.5, "stock": 3.3, "setting": 3.9}, {"where frozen": ("near the opening", ""), "shown": (39.0, F), "beside the sensor": (38.5, F), **inside(38, 38, 38, 39), **BOTH}, accept=("stock-at-delivery-opening", "stock-blocks-air"), never=(*RELAY, *SENSOR, *CIRCUIT), isolations=0, hours=0.0),
    # ---- what people move
    Scenario("turned down to 28 for a party", "freezing", "the setting is far too cold, and the rest is sound", {"setting": -2.2}, {}, accept=("setting-too-cold",), never=(*RELAY, *SENSOR, *CONTROLLER), isolations=0),
    Scenario("turned up to 52 to save power", "too_warm", "a setting of 52 degF cools to 52 degF", {"setting": 11.1}, {}, accept=("setting-too-warm",), never=(*PARTS, "condenser-restricted"), isolations=0),
    Scenario("delivered, lit, and left in its show mode", "dead", "lit and not cooling: the mode", {"mode_cooling": False}, {}, accept=("not-in-cooling-mode",), never=(*PARTS, *SUPPLY, "no-supply-at-outlet"), isolations=0),
    Scenario("an offset typed by the last hand", "too_warm", "shows 8 K less than is so, by its offset: put to zero, the sensor stays", {"offset": -7.0}, {"shown": (43.0, F), "beside the sensor": (55.5, F), "offset": (-13.0, "")}, after={r"set it to zero": {"shown": (55.5, F)}}, accept=("sensor-offset-wrong",), never=("sensor-wrong", "sensor-open", *CIRCUIT, *CONTROLLER), isolations=1),
    # ---- deliveries and doors
    Scenario("beer came at ten, the door stood open", "too_warm", "47 degF and falling after a delivery: wait", {"air": 8.5, "sensed": 8.5, "stock": 8.5}, {**RUNS, "filled": ("freshly filled", ""), "shown": (47.0, F), "beside the sensor": (47.0, F), **inside(47, 46, 45, 44, 43, 42, 42), **BOTH}, never=PARTS, ends=GOOD_END, isolations=0, hours=0.0),
    Scenario("a gasket that hangs out of its groove", "too_warm", "the strip slips out: the door", {"gap": 4.5, "ice": 0.3}, {}, accept=DOOR, never=(*CIRCUIT, *SENSOR, *EVAPORATOR_FAN), isolations=2),
    # ---- ice and defrost
    Scenario("a defrost that never begins", "iced_up", "heater, drain, door and fan are sound, and no defrost has started for days: the call for it is missing", {"heater_fitted": True, "heater_good": False, "ice": 1.0},
             {"heater ohms": (264.0, OHM), "heater watts": (200.0, "watt"), "heater volts": (230.0, V), "heater done": ("heater sound", ""), "defrost by hand": ("nothing happens", ""), "last defrost": ("days ago", "")},
             accept=("defrost-does-not-begin",), never=("defrost-heater-bad", *DOOR, *CIRCUIT, *EVAPORATOR_FAN, *SENSOR), ends=("handed over", "watch", "to be continued", "not fixed"), turns=150),
    Scenario("a defrost that never ends", "too_warm", "the display stands at defrost for hours, the coil is warm and bare: what ends the defrost has failed", {"heater_fitted": True, "controller_calls": False},
             {"compressor": ("silent", ""), "delivery air": ("warm", ""), "coil": ("bare coil", ""), "call for cooling": ("idle", ""), "defrost shown": ("in defrost", ""), "defrost over": ("still in defrost", "")},
             accept=("defrost-does-not-end",), never=("controller-does-not-call", *RELAY, *NO_DEAD_MOTOR, *NO_START_PART, *CIRCUIT, "sensor-wrong"), ends=("handed over", "watch", "to be continued", "not fixed"), isolations=2),
    Scenario("it was in its defrost when he came", "too_warm", "idle, 52 degF, and twenty minutes later it runs and falls: a defrost", {"heater_fitted": True, "air": 10.0, "sensed": 10.0, "stock": 5.5},
             {"compressor": (["silent", "runs smoothly"], ""), "call for cooling": (["idle", "calls for cooling"], ""), "defrost shown": ("in defrost", ""), "defrost over": ("cools again", ""), "shown": (50.0, F), "beside the sensor": (50.0, F), **inside(49, 46, 44, 43, 42, 42, 42), **BOTH},
             never=(*PARTS, *DEFROST), ends=NOTHING, isolations=0, hours=0.0),
    Scenario("steam of a kitchen", "iced_up", "door, drain, fan and heater are sound: moist air did it, and no part is accused", {"ice": 0.98, "humidity": 0.95, "room": 31.0}, {"door strip": ("holds fast", ""), "drain": ("running free", "")}, accept=("coil-iced-over", "coil-defrosted"), never=(*PARTS, "defrost-heater-bad", "drain-blocked"), isolations=2, turns=150),
    # ---- two at once
    Scenario("dirt and a dead coil fan", "too_warm", "both are found before he leaves", {"dirt": 0.95, "evaporator_fan": 0.0}, {}, each=(("condenser-restricted",), (*EVAPORATOR_FAN, "evaporator-fan-suspected", "handed over", "to be continued", "watch", "not fixed")), never=(*CIRCUIT, "sensor-wrong", *NO_DEAD_MOTOR), isolations=4, turns=260),
    Scenario("dirt and a sensor that reads cold", "too_warm", "whichever comes first, the other is not called fixed", {"dirt": 0.93, "sensor_error": -8.0}, {}, each=(("condenser-restricted", *SENSOR), ("sensor-suspected", "sensor-wrong", "handed over", "to be continued", "watch", "not fixed")), never=(*CIRCUIT, *CONTROLLER, *NO_DEAD_MOTOR), isolations=4, turns=260),
    Scenario("a weak supply and a dead start device", "too_warm", "180 V on 230: the supply comes first, no motor is condemned by it", {"volts": 178.0, "start_good": False}, {}, accept=(*SUPPLY, "handed over"), never=NO_DEAD_MOTOR, isolations=2),
    Scenario("boxes before the vents and a fresh load", "too_warm", "the boxes go, the load needs hours", {"vents_covered": True, "filled_warm": True}, {"filled": ("freshly filled", "")}, accept=("vents-covered", "fresh-fill"), never=(*PARTS, "condenser-restricted"), isolations=1),
    # ---- dead, and trips
    Scenario("dark, with its supply behind the plate", "dead", "230 V at the controller and nothing lit: neither outlet nor cord", {"lit": False}, {"display": ("blank", "")}, never=("no-supply-at-outlet", "breaker-out", "cord-open", "fuse-blown", *LEAKS, *SUPPLY, "voltage-lost-inside", *NO_DEAD_MOTOR), ends=("handed over", "not fixed", "to be continued", "made safe"), isolations=2),
    Scenario("hosed down, and out since", "dead", "water at the terminals behind the plate: the deck is not condemned for it", {"earth_leak": True, "leak_in_deck": False, "breaker_out": True}, {"water or burns": ("wet or burnt", "")}, accept=("water-or-burns", "cabinet-leaks-to-frame", "breaker-out"), never=("deck-leaks-to-frame", *NO_DEAD_MOTOR, "fixed"), isolations=2),
    Scenario("it trips once a week, and not today", "dead", "lit, cold and 200 megohms: nothing is accused", {}, {"display": ("lit up", ""), "insulation": (200.0, "megaohm"), "deck insulation": (200.0, "megaohm"), **COLD_DRINKS}, never=(*PARTS, *LEAKS, "no-supply-at-outlet", *SUPPLY), ends=NOTHING, isolations=1),
    Scenario("1.3 megohms on a damp morning", "dead", "near the limit is no earth fault", {"breaker_out": True}, {"insulation": (1.3, "megaohm"), "deck insulation": (1.3, "megaohm")}, never=LEAKS, isolations=2),
    # ---- supplies and meters
    Scenario("a meter whose battery is low", "too_warm", "a voltage that jumps is the meter's, until another says the same", {"dirt": 0.95}, {"outlet voltage": (UNSTEADY, V), "start volts": (UNSTEADY, V)}, never=(*NO_DEAD_MOTOR, "supply-out-of-band", "supply-low-or-drops", "supply-below-plate"), isolations=2),
    Scenario("a plate of 240 on an old 220", "too_warm", "214 V on a plate of 240: low for the plate, no part is to blame", {"nominal": 220.0, "volts": 214.0, "plate": 240.0, "dirt": 0.95}, {"nominal": (220.0, V)}, never=(*NO_DEAD_MOTOR, *NO_START_PART, "supply-out-of-band"), isolations=2),
    Scenario("long lead in the cellar", "too_warm", "starts need more than the lead gives: 231 V idle, 160 V at its try", {"source_ohms": 6.5}, {}, accept=SUPPLY, never=(*NO_DEAD_MOTOR, *NO_START_PART, *CIRCUIT), isolations=2),
    Scenario("leads that were not zeroed", "too_warm", "0.5 ohms in the leads: a sound winding of a 115 V motor stays sound", {"nominal": 120.0, "plate": 115.0, "volts": 119.0, "source_ohms": 0.1, "kind": "relay", "start_good": False}, {"common run": (2.2, OHM), "common start": (6.9, OHM), "start run": (8.6, OHM)}, accept=("start-device-failed",), never=NO_DEAD_MOTOR, isolations=3, turns=150),
    # ---- motors
    Scenario("an overload that waits for the shell", "too_warm", "both ways through common are open on a very hot shell: it waits, and the fan is the cause", {"condenser_fan": 0.0, "room": 30.0}, {"compressor": ("silent", ""), "compressor touch": ("very hot", ""), "common run": (INF, OHM), "common start": (INF, OHM), "spin condenser": ("drags", "")}, never=NO_DEAD_MOTOR, accept=(*CONDENSER_FAN, "condenser-fan-stopped", "inner-overload-open", "handed over"), isolations=3),
    Scenario("seized, with a good start device", "too_warm", "a known good device does not help: the compressor, not its start parts", {"seized": True}, {**HUMS}, accept=("compressor-seized-suspected",), never=("start-device-failed", "capacitor-failed", *SUPPLY, "winding-open"), isolations=3, turns=150),
    Scenario("a rattling start relay", "too_warm", "a broken start relay, found at its looks and proved", {"kind": "relay", "start_good": False}, {**HUMS, "start looks": ("rattles", "")}, after={r"fit a part of the same number|known.good": {"compressor": ("runs smoothly", "")}}, accept=("start-device-failed",), never=NO_DEAD_MOTOR, isolations=3, turns=150),
    # ---- sensors
    Scenario("two degrees apart", "too_warm", "40 shown and 42 measured is agreement of two honest instruments", {}, {**COLD_DRINKS, "shown": (40.0, F), "beside the sensor": (42.0, F)}, never=(*SENSOR, "sensor-offset-wrong", *PARTS), ends=NOTHING, isolations=0),
    Scenario("a sensor that fell on the coil", "too_warm", "it lies on the coil: back in its clip, no new part", {"sensor_home": False}, {}, accept=("sensor-out-of-place",), never=("sensor-wrong", *CONTROLLER, *CIRCUIT), isolations=2),
    Scenario("water in the plug of the sensor", "too_warm", "ohms that wander at a warm cabinet: the sensor and its plug, not the controller", {"sensor_error": -9.0}, {"sensor ohms": (UNSTEADY, OHM), "ice bath": (UNSTEADY, OHM)}, accept=("sensor-unsteady", "sensor-suspected", "sensor-not-decided"), never=("sensor-open", *CONTROLLER, *CIRCUIT, *NO_DEAD_MOTOR), isolations=2, turns=150),
    # ---- refrigerant
    Scenario("the gas detector speaks", "too_warm", "R-290 in the air: out, air, call; nothing is switched at the cabinet", {"charge": 0.1}, {"flame symbol": ("flame shown", ""), "gas": ("alarm", "")}, never=("fixed", *COLD, "keep-sealed-drinks", "discard-fresh-food"), ends=("made safe", "handed over"), isolations=1),
    Scenario("little charge that still holds 50", "too_warm", "the first rows of the coil are frosted, the condenser is cool and clean: the circuit, and no deck is mended by brushing", {"charge": 0.2}, {}, accept=(*CIRCUIT, "coil-part-frosted", "circuit-not-judged"), never=("condenser-restricted", *SENSOR, *EVAPORATOR_FAN, *DOOR), isolations=2, turns=150),
    # ---- what the last service left
    Scenario("warm since the last service: a terminal", "too_warm", "a lead that was left off: first thing to look for behind the cover", {"terminals_home": False}, {}, accept=("terminal-not-home",), never=(*RELAY, *CONTROLLER, *NO_DEAD_MOTOR, *NO_START_PART), isolations=1),
    Scenario("rattles since the last service: a panel", "noisy", "two screws are missing", {"panel_loose": True}, {}, accept=("loose-panel-or-clip",), never=(*PARTS, "mounts-worn"), isolations=1),
    Scenario("iced since the deck was changed", "iced_up", "moist air comes in beside the deck, the door holds", {"deck_gap": 4.0, "ice": 0.8}, {"door strip": ("holds fast", "")}, accept=("deck-does-not-seal", "deck-gasket-torn"), never=(*DOOR, "defrost-heater-bad", *EVAPORATOR_FAN, *CIRCUIT), isolations=2, turns=150),
    Scenario("a new fan of the wrong blade", "too_warm", "it turns, has its ohms, and moves little: too little air, and not the circuit", {"evaporator_fan": 0.3}, {"delivery air": ("faint", ""), "fan turns": ("turning", ""), "evaporator ohms": (240.0, OHM), "condenser ohms": (240.0, OHM)}, never=(*CIRCUIT, *SENSOR, *RELAY, *NO_DEAD_MOTOR, "evaporator-fan-motor-open"), isolations=3, turns=200),
    # ---- met while the last changes of the procedures were read
    Scenario("idle for one measurement of the relay", "too_warm", "a controller that called, and pauses while the relay is measured, is not accused", {"relay": "open"},
             {"call for cooling": (["calls for cooling", "calls for cooling", "idle"], "")}, never=CONTROLLER, isolations=3, turns=170),
    Scenario("a torn gasket that closes today", "too_warm", "the deck is pushed home and closes, its gasket is torn: not mended before it has a new one", {"deck_gap": 5.0, "humidity": 0.2}, {"deck gasket": ("torn gasket", ""), "coil": ("bare coil", "")}, each=(("deck-gasket-torn",),), never=("fixed",), isolations=3, turns=150),
    Scenario("its feet were set, and it rattles on", "noisy", "a cabinet that stands firmly now is heard again before it is mended", {"panel_loose": True}, {"stands": ("rocking", ""), "noise now": ("as before", "")}, accept=("cabinet-not-level",), never=("fixed", *PARTS), isolations=1),
    Scenario("silent when he listens", "noisy", "what nobody hears is not said to stay: it is watched", {}, {"noise": ("silence", "")}, never=("fixed", *PARTS), ends=("watch",), isolations=0, turns=40),
    Scenario("too cold by its setting and by its sensor", "freezing", "it runs on behind the new setting since its sensor reads warm: no relay is accused", {"setting": 3.8, "sensor_error": 9.0}, {"compressor stops": (["runs onward", "stops"], "")}, each=(("setting-too-cold",), (*SENSOR, "to be continued")), never=(*RELAY, "compressor-not-switched-off"), isolations=2, turns=150),
    # ---- food
    Scenario("salads at 50 since last night", "too_warm", "ten hours above 41 degF: they go", {**FOOD_CABINET, "mode_cooling": False}, {**FRESH, "product": (50.0, F), "minutes cold": (600.0, "minute")}, accept=("discard-fresh-food",), never=("keep-fresh-food", "keep-sealed-drinks", "keep-frozen-food")),
    Scenario("salads at 40 half an hour after a delivery", "too_warm", "food that is at 40 degF and was cold half an hour ago is not thrown away", {**FOOD_CABINET, "air": 7.0, "sensed": 7.0, "stock": 4.0}, {**FRESH, **RUNS, "filled": ("freshly filled", ""), "shown": (44.0, F), "beside the sensor": (44.0, F), "product": (40.0, F), "minutes cold": (30.0, "minute"), **inside(41, 40, 40, 39, 39), **BOTH}, never=("discard-fresh-food", *PARTS), isolations=0, hours=0.0),
    Scenario("salads at 46 and nobody knows since when", "too_warm", "time unknown is no time that food may stay", {**FOOD_CABINET, "mode_cooling": False}, {**FRESH, "product": (46.0, F), "minutes cold": (UNKNOWN, "minute")}, accept=("discard-fresh-food", "ask-about-fresh-food"), never=("keep-fresh-food", "keep-sealed-drinks")),
    Scenario("packs of ice cream that give", "too_warm", "soft packs of a freezer are not called good", {**FREEZER, "mode_cooling": False, "air": -2.0, "sensed": -2.0, "stock": -3.0}, {**FROZEN, "frozen look": ("one thaws", ""), "product": (27.0, F), "minutes cold": (600.0, "minute")}, never=("keep-frozen-food", "keep-sealed-drinks", "keep-fresh-food"), hours=0.0),
    Scenario("hard packs at -4", "too_warm", "frozen hard and cold stays", {**FREEZER, "air": -18.0, "sensed": -18.0, "stock": -20.0, "setting": -18.0}, {**FROZEN, **RUNS, "frozen look": ("frozen hard", ""), "product": (-4.0, F), "shown": (0.0, F), "beside the sensor": (0.0, F), "setting": (0.0, F), "minutes cold": (10.0, "minute"), **inside(0, 0, -1, 0, 0), **BOTH}, never=("discard-fresh-food", "ask-about-frozen-food", *PARTS), isolations=0, hours=0.0),
    Scenario("burst bottles", "freezing", "burst bottles go; what is whole may stay, and is told apart", {"setting": -4.0}, {"drinks whole": ("burst bottles", "")}, accept=("setting-too-cold",), never=("keep-fresh-food", "keep-frozen-food"), isolations=1),
    # ---- proof of cold
    Scenario("clean now, and it rises", "too_warm", "46, 46, 47, 47 after the brush is not cold", {"dirt": 0.93}, {**inside(46, 46, 46.5, 46.8, 47, 47.2, 47.5)}, never=COLD, isolations=3, turns=260),
    Scenario("thirty degrees after the setting was put right", "freezing", "air that stays at 30 freezes drinks", {"setting": -2.0}, {**inside(30, 30, 30, 30, 30, 30), "starts and stops": ("runs onward", "")}, never=COLD, isolations=3, turns=260),
    Scenario("brushed, cold, and it never rests", "runs_always", "who complained that it runs must see it stop", {"dirt": 0.93}, {**inside(42, 42, 42, 42, 42, 42), "starts and stops": ("runs onward", ""), "compressor stops": ("runs onward", ""), "duty": ("never stops", ""), "minutes on": (INF, "minute")}, never=("cold-again", "fixed", "cold-again-late"), isolations=3, turns=260),
)
