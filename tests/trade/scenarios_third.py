# ruff: noqa: E501 - tables
"""A third table of an expert's scenarios, by another hand: a mechanic of small hermetic cabinets and a food inspector.

Written before any procedure, the fault model or the second table was read by that hand. Known were the columns, the names
of topics, answers and findings, and the laws of `cabinets_physics`. Columns as in `scenarios` (`each` too). Demands are from
the trade, from memory, where no source is named. Read were:

- Food Code: FDA Food Code 4-204.111 (as adopted in WAC 246-215-04246): 41 degF in the air of a vending machine, and thirty
  minutes above it after it was filled. 3-501.16 and 3-501.19 (41 degF; four hours): from memory.
- Outage: the rules of foodsafety.gov for a power cut, as newspapers print them: four hours with the door shut; frozen food
  with ice crystals, or at 40 degF or below, may be frozen again.
- Maker's note: a compressor maker's note of fault location (PTC and current relay): five minutes without voltage before a
  test, as a PTC must cool; a protector can take an hour to close; a short loss of supply keeps a compressor from starting.
- Start gear: a maker's service manual: a capacitor is not good for its looks; try a relay that is known to be good.
- Short supply: a training text of refrigerator repair: 108 to 115 V equipment does badly below 98 V.
- Capillary: a trade article: a restricted capillary tube and a low charge look alike from outside.

After they had run once, what is answered was put right where the bench could not act what was meant: cabinets for food got a
setting and a state of their own (readings that their own controller contradicted, before), a torn gasket is `gap` 1, and
where no fix was meant to be at hand there is no spare deck. No demand was changed but one, made harder: the lag of a
display accuses no controller either."""

from __future__ import annotations

from tests.trade.scenarios import COLD, OPEN_END, F, Scenario, inside

NO_DEAD_MOTOR = ("compressor-seized-suspected", "winding-open", "winding-shorted", "winding-to-frame", "windings-do-not-add-up")
NO_FAN = ("evaporator-fan-failed", "evaporator-fan-motor-open", "condenser-fan-failed", "condenser-fan-motor-open")
NO_CONDENSER = ("condenser-restricted", "condenser-fan-failed", "condenser-fan-motor-open")
CIRCUIT = ("sealed-circuit-suspected",)
SHARP = ("sensor-wrong", "relay-welded", "compressor-not-switched-off", "controller-or-wiring")
SUPPLY = ("supply-low-or-drops", "supply-below-plate", "supply-out-of-band")
GOOD_END = ("fixed", "watch", "no fault found", "to be continued")
FRESH = {"product kind": ("fresh food", "")}
FROZEN = {"product kind": ("frozen food", ""), "stock kind": ("frozen food", "")}
NO_DECK = {"spare": ("order one", "")}
NIGHT = 600.0
#: Cabinets for food, as they stand when the site calls (`hours` 0): of a setting that fits what they hold.
FOOD_CABINET = {"drinks": False, "setting": 3.0, "wall": 14.0}
FREEZER = {"drinks": False, "setting": -15.0, "wall": 2.0, "coil": -5.0, "gap": 0.02, "room": 18.0, "humidity": 0.3}

THIRD: tuple[Scenario, ...] = (
    # ---- food
    Scenario("door ajar all night", "too_warm", "over 41 degF for longer than four hours is discarded, however cold the air is again (Food Code)",
             {**FOOD_CABINET, "air": 9.0, "sensed": 9.0, "stock": 10.5}, {**FRESH, "product": (51.0, F), "minutes cold": (NIGHT, "minute")},
             accept=("discard-fresh-food",), never=("keep-fresh-food", *CIRCUIT), isolations=1, hours=0.0),
    Scenario("air cold, food warm, nobody knows since when", "too_warm", "air answers in minutes, food in hours: the food is judged by itself (Food Code)",
             {"drinks": False}, {**FRESH, **inside(38, 37, 38, 39, 38), "product": (49.0, F), "minutes cold": (NIGHT, "minute")},
             accept=("discard-fresh-food", "ask-about-fresh-food"), never=("keep-fresh-food",), isolations=1),
    Scenario("filled ten minutes ago, air 50", "too_warm", "thirty minutes above 41 degF are allowed after filling (Food Code 4-204.111)",
             {**FOOD_CABINET, "air": 12.0, "sensed": 11.0, "stock": 3.5}, {**FRESH, **inside(50, 46, 42, 40, 39, 39), "product": (38.0, F), "minutes cold": (12.0, "minute"), "filled": ("freshly filled", "")},
             accept=("keep-fresh-food",), never=("discard-fresh-food", *CIRCUIT, *NO_FAN), isolations=1, hours=0.0),
    Scenario("ice cream after a cut overnight", "too_warm", "at 30 degF it has thawed in part: not kept as fact, and not fresh food either (Outage)",
             {**FREEZER, "air": 0.5, "sensed": 0.5, "stock": -1.0}, {**FROZEN, "frozen look": ("one thaws", ""), "product": (30.0, F), "minutes cold": (NIGHT, "minute")},
             never=("keep-frozen-food", "keep-fresh-food", "keep-sealed-drinks"), isolations=1, hours=0.0),
    Scenario("frozen meals at 12, hard", "too_warm", "frozen hard is safe; it is not sold off nor discarded for an hour (Outage)",
             {**FREEZER, "air": -9.0, "sensed": -9.0, "stock": -11.0}, {**FROZEN, "frozen look": ("frozen hard", ""), "product": (12.0, F), "minutes cold": (60.0, "minute")},
             accept=("keep-frozen-food",), never=("discard-fresh-food", "sale-stops"), isolations=1, hours=0.0),
    Scenario("water and cola at 72 after the weekend", "too_warm", "sealed drinks need no cold to be safe; the cabinet still must be mended",
             {"dirt": 0.97}, {"product kind": ("sealed drinks", ""), "product": (72.0, F), "minutes cold": (2400.0, "minute")},
             accept=("condenser-restricted",), never=("discard-fresh-food", "sale-stops", *CIRCUIT)),
    # ---- proofs of cold
    Scenario("full of warm drinks, slow to come down", "too_warm", "tons of heat in the stock, no fault: hours are the remedy (heat balance)",
             {"filled_warm": True, "stock_joules": 1.2e6, "room": 27.0}, {"filled": ("freshly filled", "")},
             accept=("fresh-fill",), never=("will-not-get-cold", *CIRCUIT, *NO_FAN, *NO_CONDENSER), ends=GOOD_END, isolations=0),
    Scenario("cycles between 39 and 46 as it should", "too_warm", "a needless call: setting and differential say what is normal", {},
             {**inside(42, 45, 40, 44, 41, 45), "starts and stops": ("both seen", "")},
             never=("setting-too-warm", "sensor-wrong", *CIRCUIT, *NO_FAN, *NO_CONDENSER), ends=("fixed", "watch", "no fault found"), isolations=0, turns=80),
    Scenario("cold, and never stops", "runs_always", "it holds only with all that it has: nothing is left for a hot day",
             {"charge": 0.35}, NO_DECK, accept=CIRCUIT, never=("fixed",), ends=("handed over", "watch", "not fixed", "to be continued")),
    Scenario("outdoors at 7 degF", "freezing", "heat flows out of a cabinet, too; nothing in it is broken", {"room": -14.0},
             accept=("room-too-cold",), never=("setting-too-cold", *SHARP), isolations=1),
    Scenario("warm kitchen at night", "too_warm", "tests of cabinets end at 40 degC (EN 23953-2 class 5, from memory): above, it is the room",
             {"room": 47.0, "gap": 0.4}, {**inside(49, 49, 49, 48, 49), "room": (117.0, F)}, accept=("room-too-hot",), never=(*CIRCUIT, *NO_FAN), ends=OPEN_END, isolations=1),
    # ---- supply
    Scenario("long thin cord, 120 V at rest", "too_warm", "voltage is measured while it tries: the cord takes a third of it (Ohm)",
             {"nominal": 120.0, "plate": 115.0, "volts": 120.0, "source_ohms": 1.5, "kind": "relay"},
             accept=("supply-low-or-drops",), never=(*NO_DEAD_MOTOR, "start-device-failed", *COLD), turns=140),
    Scenario("97 V where 100 V is right", "too_warm", "101 V and 6 V either way are the law on a 100 V system (Japan's rules of supply, from memory)",
             {"nominal": 100.0, "plate": 100.0, "volts": 97.0, "source_ohms": 0.1, "stock_blocks": True},
             accept=("stock-blocks-air",), never=(*SUPPLY, *CIRCUIT), isolations=1),
    Scenario("131 V on a plate of 115 V, PTC broken", "too_warm", "right for 127 V systems and 14 % over the plate: both must be told",
             {"nominal": 127.0, "plate": 115.0, "volts": 131.0, "source_ohms": 0.1, "start_good": False},
             each=(("start-device-failed",), ("supply-out-of-band", "supply-above-plate")), never=NO_DEAD_MOTOR, turns=150),
    Scenario("204 V of a 208 V system, plate 230 V", "too_warm", "11 % under the plate, and less in the try: the motor is not to blame (plate, 10 %)",
             {"nominal": 208.0, "plate": 230.0, "volts": 204.0, "source_ohms": 1.6}, accept=SUPPLY, never=(*NO_DEAD_MOTOR, "start-device-failed", *COLD), turns=140),
    # ---- start gear
    Scenario("current relay that never closes", "too_warm", "hum, click and rest with whole windings: another relay first (Start gear)",
             {"nominal": 120.0, "plate": 115.0, "volts": 119.0, "source_ohms": 0.1, "kind": "relay", "start_good": False},
             accept=("start-device-failed",), never=(*NO_DEAD_MOTOR, *SUPPLY, *CIRCUIT), turns=140),
    Scenario("start capacitor at 60 %, looks new", "too_warm", "it is measured, not looked at (Start gear)", {"kind": "capacitor", "capacitor": 0.6},
             accept=("capacitor-failed",), never=(*NO_DEAD_MOTOR, "start-device-failed", *SUPPLY), turns=140),
    Scenario("plug pulled and put back a minute ago", "too_warm", "a hot PTC needs five minutes (Maker's note): it starts by itself then",
             {}, {"compressor": (["hums and clicks", "runs smoothly"], ""), **inside(45, 44, 43, 42, 41, 40)},
             never=("start-device-failed", "overload-open", *NO_DEAD_MOTOR), ends=(*GOOD_END, "handed over"), turns=140),
    # ---- controllers
    Scenario("sensor reads 14 degF too high", "freezing", "it is asked for more cold than anybody set", {"sensor_error": 8.0},
             accept=("sensor-wrong", "sensor-suspected"), never=("setting-too-cold", "relay-welded", "compressor-not-switched-off"), isolations=2, turns=140),
    Scenario("sensor reads 11 degF too low", "too_warm", "satisfied at 50 to 57: the deck is as good as new", {"sensor_error": -6.0},
             accept=("sensor-wrong", "sensor-suspected"), never=("setting-too-warm", *CIRCUIT, *NO_DEAD_MOTOR, "relay-does-not-close"), turns=140),
    Scenario("display lags after the door was shut", "too_warm", "a sensor in its sleeve follows in minutes: lag is no offset", {"air": 9.5, "sensed": 6.6, "stock": 8.0},
             never=("sensor-wrong", "controller-or-wiring", "controller-does-not-call", *CIRCUIT, *NO_FAN), ends=GOOD_END, isolations=1, hours=0.0),
    Scenario("somebody left it in another mode", "too_warm", "first what it is told to do, then what is broken", {"mode_cooling": False},
             accept=("not-in-cooling-mode",), never=("controller-does-not-call", "relay-does-not-close", *NO_FAN, *NO_DEAD_MOTOR), isolations=0, turns=100),
    # ---- air, frost, water, door
    Scenario("torn gasket in a damp hall", "iced_up", "ice is what came in by the door: melted alone, it is back in a week", {"gap": 1.0, "humidity": 0.8, "ice": 0.95},
             each=(("coil-iced-over", "coil-part-frosted"), ("door-does-not-seal",)), never=(*CIRCUIT, "evaporator-fan-failed", "evaporator-fan-motor-open")),
    Scenario("meltwater stands behind the divider", "iced_up", "what cannot drain freezes again", {"drain_free": False, "ice": 0.97, "humidity": 0.8, "gap": 0.2},
             accept=("drain-blocked",), never=(*CIRCUIT, "evaporator-fan-failed", "evaporator-fan-motor-open")),
    Scenario("defrost heater without current", "iced_up", "a coil with a heater, iced all over, has a heater to be measured",
             {"heater_fitted": True, "heater_good": False, "gap": 0.2, "humidity": 0.7, "ice": 0.9}, accept=("defrost-heater-bad",), never=CIRCUIT, turns=140),
    # ---- the circuit
    Scenario("capillary tube all but shut", "too_warm", "restriction or low charge: from outside nobody can tell, and the circuit stays shut (Capillary)",
             {"restricted": True}, NO_DECK, accept=CIRCUIT, never=(*COLD, *NO_FAN, *NO_CONDENSER, "door-does-not-seal"), ends=("handed over", "not fixed", "to be continued")),
    Scenario("worn valves, film of frost all over", "too_warm", "even frost, little cold, little heat, no rest: it pumps no more",
             {"charge": 0.25}, {"coil": ("even frost", "")}, accept=CIRCUIT, never=(*NO_FAN, *NO_CONDENSER, "coil-iced-over", "coil-part-frosted")),
    # ---- people, pairs, what comes and goes
    Scenario("he hears the fan and says it runs", "too_warm", "a fan is heard and the compressor is dead: touch and current tell",
             {"start_good": False}, {"compressor": (["runs smoothly", "hums and clicks"], "")}, accept=("start-device-failed",), never=(*CIRCUIT, *NO_DEAD_MOTOR, *COLD), turns=150),
    Scenario("frozen cans on some mornings, now well", "freezing", "what is not seen is not mended, and nobody is accused", {},
             {**inside(42, 44, 41, 43, 42), "starts and stops": ("both seen", "")}, never=("fixed", "setting-too-cold", *SHARP), isolations=1),
    Scenario("lint in the condenser and a torn gasket", "runs_always", "the first find is not the last: too much heat in, too little out",
             {"dirt": 0.9, "gap": 1.0, "room": 27.0}, each=(("condenser-restricted",), ("door-does-not-seal",)), never=(*CIRCUIT, *NO_FAN)),
    # ---- seen on the way when the thirty above first ran, and written before their mending
    Scenario("rests at 44, set to 43, bottles at 49", "too_warm", "within its differential a controller may rest: that accuses nothing", {"air": 6.6, "sensed": 6.6, "stock": 8.0},
             {**inside(49, 47, 45, 44, 43, 44), "shown": (44.0, F), "beside the sensor": ([46.0, 45.0, 44.0], F), "call for cooling": ("idle", ""), "compressor": (["silent", "runs smoothly"], "")},
             never=("controller-does-not-call", "controller-or-wiring", "sensor-wrong", *NO_DEAD_MOTOR, *CIRCUIT), ends=GOOD_END, isolations=1, hours=0.0),
    Scenario("silent, as it is cold at its sensor", "too_warm", "a silent compressor whose controller rests is not taken apart",
             {"setting": 6.1, "air": 6.5, "sensed": 6.5, "stock": 9.5}, {**inside(50, 49, 48, 47, 46, 45), "shown": (50.0, F), "call for cooling": (["calls for cooling", "idle"], ""), "compressor": ("silent", "")},
             never=("compressor-not-fed", "relay-does-not-close", "start-device-failed", *NO_DEAD_MOTOR), isolations=1, hours=0.0),
    Scenario("fresh food in a cabinet set to 43", "too_warm", "cold enough for drinks is too warm for food: its class decides (Food Code 3-501.16)", {"drinks": False},
             accept=("setting-too-warm",), never=("temperature-in-range", "keep-fresh-food", "no fault found"), isolations=0),
    Scenario("a freezer that stands at 30", "too_warm", "frozen food near its melting point is no cabinet in range", {**FREEZER, "air": 0.0, "sensed": 0.0, "stock": -1.0, "charge": 0.3},
             {**NO_DECK, **FROZEN, "frozen look": ("one thaws", "")}, never=("temperature-in-range", "setting-too-cold", "no fault found", "fixed"), isolations=1, hours=3.0),
    Scenario("a freezer at its setting", "too_warm", "0 to 10 degF is what a freezer is for", {**FREEZER, "air": -15.0, "sensed": -15.0, "stock": -15.0},
             {**FROZEN, "frozen look": ("frozen hard", "")}, accept=("temperature-in-range",), never=("setting-too-cold", "room-too-cold"), isolations=0, turns=80, hours=3.0),
    Scenario("food cabinet at 37 that never rests", "runs_always", "37 degF is right for food: nothing is set warmer", {**FOOD_CABINET, "charge": 0.35}, NO_DECK,
             accept=CIRCUIT, never=("setting-too-cold", "fixed", "no fault found")),
    Scenario("food cabinet at 37, one pack froze", "freezing", "37 degF is right for food, and accused of nothing", FOOD_CABINET,
             never=("setting-too-cold", *SHARP), isolations=1),
    Scenario("food cabinet at 37, iced by its gasket", "iced_up", "the gasket lets the damp in; 37 degF is right for food", {**FOOD_CABINET, "gap": 1.0, "humidity": 0.8, "ice": 0.95},
             accept=("door-does-not-seal",), never=("setting-too-cold", *CIRCUIT)),
    # ---- told by a later reader: the cabinet stands well for now, its setting does not
    Scenario("fresh food at 39 in a cabinet set to 43", "too_warm", "its next cycle passes 41 degF (Food Code 3-501.16)", {"drinks": False},
             {**FRESH, **inside(39, 39, 38, 37, 37, 37)}, accept=("setting-too-warm",), never=("temperature-in-range", "no fault found"), isolations=0),
    Scenario("frozen food at 8 in a cabinet set to 43", "too_warm", "so set, it thaws what it holds (Food Code 3-501.11, from memory)",
             {**FREEZER, "setting": 6.1, "air": -13.3, "sensed": -13.3, "stock": -13.3}, {**FROZEN, **inside(8, 8, 6, 3, 1, 0), "frozen look": ("frozen hard", "")},
             accept=("setting-too-warm",), never=("temperature-in-range", "no fault found"), isolations=1, hours=0.0),
    # ---- met in ten thousand visits to cabinets of physics
    Scenario("nobody can tell what it holds, set to 56", "noisy", "the class decides how cold is cold enough: unknown, it proves nothing (Food Code 3-501.16)",
             {"drinks": False, "setting": 13.2, "panel_loose": True}, {"product kind": (["cannot tell", "fresh food"], ""), "starts and stops": ("both seen", "")},
             never=("fixed", "cold-again")),
)
