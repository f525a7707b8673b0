# ruff: noqa: E501 - tables
"""A seventh table, by a refrigeration engineer who had read the first six and the questions, but ran nothing before it stood.

Columns as in `scenarios`. Demands are common practice, no source, where none is named. Named and from memory: FDA Food Code
3-501.16 and 3-501.17 ff.; EN 50160 (230 V, 207 to 253 V); EN 50699 (1 megohm); IEC 60252-2 (start capacitors, whose plates
say 10 % and more); ISO 5149-4 and EN 378-4 (no power back beside a leak of what burns); IEC 60335-2-89 (cabinets)."""

from __future__ import annotations

from tests.bench.cabinets_topics import UNSTEADY
from tests.trade.scenarios import COLD, HUMS, OHM, OPEN_END, F, Scenario, V, inside
from tests.trade.scenarios_second import NO_START_PART
from tests.trade.scenarios_sixth import CONTROLLER, FANS
from tests.trade.scenarios_third import CIRCUIT, FOOD_CABINET, FRESH, NO_DEAD_MOTOR, SUPPLY

INF = float("inf")
RUNS = {"compressor": ("runs smoothly", ""), "condenser fan": ("turning", "")}
EVAPORATOR_FAN = ("evaporator-fan-failed", "evaporator-fan-motor-open")
CONDENSER_FAN = ("condenser-fan-failed", "condenser-fan-motor-open")
SENSOR = ("sensor-suspected", "sensor-wrong", "sensor-open")
RELAY = ("relay-welded", "relay-does-not-close", "relay-contact-poor", "relay-voltage-low")
PARTS = (*NO_DEAD_MOTOR, *NO_START_PART, *CIRCUIT, *RELAY, *CONTROLLER, *EVAPORATOR_FAN, *CONDENSER_FAN, "sensor-wrong", "sensor-open")

SEVENTH: tuple[Scenario, ...] = (
    # ---- the air and the place
    Scenario("cartons before the lower grille", "too_warm", "a clean condenser gets no air behind cartons: nothing is broken, and no circuit is opened for it",
             {"vents_covered": True, "room": 27.0}, {}, accept=("vents-covered",), ends=("fixed", "watch"), never=(*CIRCUIT, *NO_DEAD_MOTOR, *CONDENSER_FAN), isolations=1, turns=130),
    Scenario("sun, and a dirty condenser", "too_warm", "dirt is found first and put right; still warm: the sun is seen too, and no part pays for either", {"sun": 350.0, "dirt": 0.95},
             RUNS, each=(("condenser-restricted",), ("in-the-sun",)), never=PARTS, isolations=2, turns=130),
    Scenario("in a room at 100 degF, well within its class", "too_warm", "climate class 5 of IEC 60335-2-89 is 40 degC: warm, within what it is made for, and held",
             {"room": 37.5}, {"room": (99.5, F), "starts and stops": ("both seen", ""), **inside(45, 44, 43, 44, 43)}, never=("room-too-hot", *PARTS), ends=("fixed", "watch", "no fault found"), isolations=1),
    Scenario("wet, and the cabinet leans", "wet", "water runs past a drain that is free, in a cabinet that leans: it is set level, and the site looks again", {"tilted": True, "ice": 0.2},
             {"coil": ("even frost", "")}, accept=("cabinet-not-level",), never=(*CIRCUIT, "drain-blocked", "defrost-heater-bad", *EVAPORATOR_FAN, "fixed"), isolations=1, turns=70),
    Scenario("wet, and the drain is blocked", "wet", "water on the floor and a coil without ice: the drain is tried with water, cleared and tried again", {"drain_free": False, "ice": 0.1},
             {"coil": ("bare coil", "")}, accept=("drain-blocked",), never=(*CIRCUIT, "coil-iced-over", "cabinet-not-level", "fixed"), ends=("watch", "handed over"), isolations=1, turns=70),
    Scenario("wet, and all is dry", "wet", "somebody spilled: nothing is opened, and nothing is accused", {}, {"coil": ("even frost", "")}, never=(*CIRCUIT, "drain-blocked", "cabinet-not-level"), ends=("watch",), isolations=0, turns=40),
    # ---- fans
    Scenario("evaporator fan stands and its winding is whole", "too_warm", "a plain fan that spins freely, with a whole winding, binds under way or gets no supply: it is neither condemned nor called sound",
             {"evaporator_fan": 0.0}, {"fan kind": ("plain motor", ""), "evaporator ohms": (210.0, OHM), "evaporator fan": ("freely", ""), "coil": ("bare coil", "")},
             accept=("evaporator-fan-failed", "evaporator-fan-suspected", "fans-not-decided", "fans-measure-sound"), never=("fans-sound", "both-fans-run", "evaporator-fan-motor-open", *CIRCUIT), ends=OPEN_END, isolations=2, turns=120),
    Scenario("electronic condenser fan stands beside a running compressor", "too_warm", "fed while the compressor runs, and still: failed, whatever its ohms",
             {"condenser_fan": 0.0, "ec_fans": True}, {"compressor": ("runs smoothly", ""), "condenser fan": ("stopped", ""), "fan kind": ("electronic", ""), "condenser ohms": (INF, OHM)},
             accept=("condenser-fan-failed", "condenser-fan-stopped"), never=("condenser-fan-motor-open", *NO_DEAD_MOTOR, *CIRCUIT), isolations=2, turns=120),
    Scenario("both fans stand", "too_warm", "two at once: neither hides the other for good", {"evaporator_fan": 0.0, "condenser_fan": 0.0},
             {"compressor": ("runs smoothly", ""), "condenser fan": ("stopped", "")}, accept=(*EVAPORATOR_FAN, *FANS), never=(*CIRCUIT, *NO_DEAD_MOTOR, *COLD), ends=(*OPEN_END, "made safe"), isolations=3, turns=170),
    # ---- the compressor and what starts it
    Scenario("outer overload open on a hot shell", "too_warm", "an outer overload that is open while its shell is very hot has done its work: it is measured cool before it is condemned",
             {"dirt": 0.98}, {"compressor": ("silent", ""), "compressor touch": ("very hot", ""), "overload kind": ("outside", ""), "overload ohms": ([INF, 0.3, 0.3], OHM)},
             {"brush": RUNS}, accept=("condenser-restricted", "compressor-overworked"), never=(*NO_DEAD_MOTOR, *NO_START_PART, "relay-does-not-close"), isolations=3, turns=150),
    Scenario("start below run, on a thin lead", "too_warm", "a 220 V compressor with a thermistor, start below run in health; the lead takes a third of its voltage (Ohm)",
             {"nominal": 230.0, "plate": 220.0, "volts": 224.0, "source_ohms": 6.5, "start_below_run": True}, HUMS,
             accept=("supply-low-or-drops",), never=(*NO_DEAD_MOTOR, *NO_START_PART, *COLD), turns=140),
    Scenario("thin lead on 100 V", "too_warm", "locked rotor amperes are more than twice those of 230 V: three quarters of an ohm stop it (Ohm)",
             {"nominal": 100.0, "plate": 100.0, "volts": 98.0, "source_ohms": 0.8}, HUMS, accept=("supply-low-or-drops",), never=(*NO_DEAD_MOTOR, *NO_START_PART, *COLD), turns=140),
    Scenario("supply falls by nine and a half percent on start", "too_warm", "within a meter's accuracy of a tenth, and the start device is broken: the supply is not accused alone",
             {"start_good": False, "volts": 230.0}, {**HUMS, "outlet voltage": (230.0, V), "start volts": (208.5, V)}, accept=("start-device-failed",), never=(*NO_DEAD_MOTOR,), turns=150),
    Scenario("a lead broken between relay and compressor", "too_warm", "full voltage behind the relay and none at the compressor while it is called: what lies between (Ohm's law)",
             {"relay": "open"}, {"compressor": ("silent", ""), "call for cooling": ("calls for cooling", ""), "relay output": (230.0, V), "terminal volts": (0.0, V), "start volts": (230.0, V),
              "relay drop": (0.2, V)}, never=(*RELAY, *NO_DEAD_MOTOR, *NO_START_PART, *COLD), isolations=3, turns=170),
    Scenario("start capacitor at 53.9 of 60", "too_warm", "ten percent below its plate by a meter of some percent: too near to condemn it", {"kind": "capacitor", "seized": True},
             {**HUMS, "capacitance": (53.9, "microfarad")}, never=("capacitor-failed",), turns=180),
    # ---- supply
    Scenario("252 V, plate 230", "dead", "207 to 253 V are allowed (EN 50160), and a meter of one percent cannot tell: no outlet is condemned",
             {"volts": 252.0, "lit": False}, never=("supply-out-of-band", "no-supply-at-outlet")),
    Scenario("insulation of 0.97 megohm", "dead", "three percent from the limit, by a meter of five: measured again, never condemned for it (EN 50699)",
             {"lit": False}, {"insulation": (0.97, "megaohm"), "deck insulation": (0.97, "megaohm"), "heater fitted": ("timed pauses", "")}, never=("deck-leaks-to-frame", "cabinet-leaks-to-frame")),
    Scenario("another machine took the breaker out", "dead", "the breaker is set and stays: this cabinet leaks nowhere", {"breaker_out": True},
             {"insulation": (200.0, "megaohm"), "deck insulation": (300.0, "megaohm")}, accept=("breaker-out",), never=("deck-leaks-to-frame", "cabinet-leaks-to-frame", "cord-open", *COLD), isolations=1, turns=110),
    # ---- controller and sensor
    Scenario("freezing, and the sensor is short", "freezing", "a thermistor of some ohms reads hotter than any room: the controller calls for ever",
             {"sensor_error": 60.0}, {"shown": (212.0, F), "sensor ohms": (4.0, OHM), "ice bath": (4.0, OHM)}, accept=SENSOR, never=("setting-too-cold", "relay-welded", "compressor-not-switched-off", *CIRCUIT), isolations=2, turns=140),
    Scenario("freezing, and the display shows dashes", "freezing", "an open sensor, and a controller that runs for safety", {"sensor_error": 60.0},
             {"shown": (INF, F), "sensor ohms": (INF, OHM), "ice bath": (INF, OHM)}, accept=SENSOR, never=("setting-too-cold", "relay-welded", "compressor-not-switched-off", *CIRCUIT), isolations=2, turns=140),
    Scenario("freezing: a sensor that reads warm, and set to 28", "freezing", "two at once: the setting is put right, and the stock still freezes", {"sensor_error": 7.0, "setting": -2.0},
             {}, each=(("setting-too-cold",), SENSOR), never=("relay-welded", "fixed", *CIRCUIT), isolations=2, turns=150),
    # ---- the circuit
    Scenario("split taken a minute after it started", "too_warm", "a coil needs minutes: the first split says nothing, the second is sound", {"stock": 14.0, "air": 12.0, "sensed": 12.0},
             {**RUNS, **inside(55, 52, 49, 47, 45, 43, 43, 43), "shown": (53.0, F), "beside the sensor": (53.0, F), "delivery temperature": ([51.0, 41.0, 40.0], F), "coil": ("bare coil", ""), "filled": ("long before", "")},
             never=PARTS, isolations=1, hours=0.0),
    Scenario("R-290, short of charge, and no alarm", "too_warm", "a charge that burns and may leak: no power back, and the circuit stays shut (EN 378-4)", {"charge": 0.12, "oil": True},
             {**RUNS, "coil": ("part frosted", ""), "flame symbol": ("flame shown", ""), "gas": ("stays calm", ""), "spare": ("order one", "")}, accept=CIRCUIT, never=(*COLD, *NO_DEAD_MOTOR), ends=OPEN_END, isolations=1, turns=120),
    Scenario("a split of 12 degF and a warm cabinet", "too_warm", "strong air, 12 degF colder than it came: the circuit works, the heat comes from elsewhere", {"gap": 3.5, "ice": 0.1},
             {**RUNS, "coil": ("even frost", ""), **inside(56.0), "delivery temperature": (44.0, F), "shown": (56.0, F), "beside the sensor": (56.0, F)}, accept=("door-does-not-seal",), never=(*PARTS, *COLD), isolations=1),
    # ---- heaters, noises, stock, none of these
    Scenario("heater of 200 W at 275 ohm", "iced_up", "230 V squared over 200 W is 264.5 ohm: four percent more is sound; the gasket lets the damp in (Ohm)",
             {"heater_fitted": True, "gap": 3.0, "ice": 0.95}, {"heater ohms": (275.0, OHM)}, accept=("door-does-not-seal",), never=("defrost-heater-bad", *CIRCUIT), isolations=2, turns=140),
    Scenario("one of two heater rods is open", "iced_up", "twice its ohms is half its watts: one rod of two (Ohm)", {"heater_fitted": True, "heater_good": False, "ice": 0.95},
             {"heater ohms": (529.0, OHM)}, accept=("defrost-heater-bad",), never=(*CIRCUIT, *EVAPORATOR_FAN), isolations=3, turns=140),
    Scenario("a tube hums against the frame", "noisy", "bent clear by hand: no compressor is condemned for a noise", {},
             {"noise": ("compressor", ""), "noise kind": ("rattles", ""), "loose parts": ("everything tight", ""), "tubes": ("touching", ""), "noise now": ("much better", ""), "starts and stops": ("both seen", "")},
             accept=("tube-touches",), never=("compressor-knocks", *PARTS), isolations=1, turns=90),
    Scenario("power was off in the night, all is well now", "too_warm", "it comes down by itself: nothing is accused, and it is watched or proved", {"air": 11.0, "sensed": 11.0, "stock": 11.0},
             {**RUNS, **inside(52, 50, 48, 46, 44, 43, 42, 42), "starts and stops": ("both seen", ""), "filled": ("long before", "")}, never=(*PARTS, "setting-too-warm", "door-does-not-seal", *SUPPLY), ends=("no fault found", "watch"), isolations=1, hours=0.0),
    Scenario("fresh food at 41.5 by a probe of one degree", "too_warm", "41 degF is the limit (3-501.16), and the probe cannot tell: neither kept as fact nor discarded",
             {**FOOD_CABINET, "air": 5.3, "sensed": 5.0, "stock": 5.2}, {**FRESH, **inside(41.5, 40, 39, 38, 37, 37), "product": (41.5, F), "minutes cold": (30.0, "minute")},
             never=("discard-fresh-food", *PARTS), isolations=1, hours=0.0),
    Scenario("capacitor weak, and the gasket torn", "too_warm", "two at once: the cold is not certified while the damp comes in", {"kind": "capacitor", "capacitor": 0.3, "gap": 4.0, "ice": 0.3},
             {}, accept=("capacitor-failed",), never=(*NO_DEAD_MOTOR, *CIRCUIT, "start-device-failed"), turns=190),
    # ---- 'unsteady' and 'cannot tell' are no verdicts: told of the procedures by their checker, written before the mending
    Scenario("a starting thermistor that is warm still", "too_warm", "a thermistor that cools drifts, and is sound: it is tried by another before it is condemned", {"seized": True},
             {**HUMS, "start ohms": (UNSTEADY, OHM)}, accept=("compressor-seized-suspected",), never=("start-device-failed",), turns=170),
    Scenario("an outer overload that closes while it is measured", "too_warm", "it opened from heat and closes as it cools: its reading jumps, and it is sound", {"dirt": 0.98, "inner_overload": False},
             {"compressor": ("silent", ""), "compressor touch": ("warm", ""), "overload ohms": ([UNSTEADY, 0.3], OHM)}, never=("overload-open", *NO_DEAD_MOTOR), turns=170, isolations=3),
    Scenario("insulation that creeps", "too_warm", "a winding takes up its charge, and the tester creeps upward: measured again, and sound", {"seized": True},
             {**HUMS, "insulation": ([UNSTEADY, 80.0], "megaohm")}, accept=("compressor-seized-suspected",), never=("winding-to-frame",), turns=170),
    Scenario("a heater and probes that slip", "iced_up", "what does not settle fits no plate and fails none", {"heater_fitted": True, "gap": 3.0, "ice": 0.95},
             {"heater ohms": (UNSTEADY, OHM)}, accept=("door-does-not-seal",), never=("defrost-heater-bad", *CIRCUIT), isolations=2, turns=140),
    Scenario("a voltage that jumps once", "dead", "a neighbour started: measured again it is 231 V, and no outlet is accused", {"lit": False},
             {"outlet voltage": ([UNSTEADY, 231.0], V)}, never=("supply-out-of-band", "no-supply-at-outlet", "supply-does-not-settle")),
    Scenario("a voltage that jumps twice", "dead", "a poor joint: it is told as that, and not as out of its band", {"lit": False},
             {"outlet voltage": (UNSTEADY, V)}, accept=("supply-does-not-settle",), never=("supply-out-of-band", "no-supply-at-outlet"), ends=("handed over",), isolations=0),
    Scenario("a deck whose insulation creeps", "dead", "the cabinet leaks, and the deck's reading creeps: measured again, the deck is sound", {"earth_leak": True, "leak_in_deck": False},
             {"deck insulation": ([UNSTEADY, 300.0], "megaohm")}, accept=("cabinet-leaks-to-frame",), never=("deck-leaks-to-frame",), isolations=2),
    Scenario("nobody has the key of the breaker panel", "dead", "a dead outlet whose breaker nobody saw is accused of nothing", {"breaker_out": True}, {"breaker": ("cannot tell", "")},
             never=("no-supply-at-outlet", "deck-leaks-to-frame", "cabinet-leaks-to-frame"), ends=("handed over",), isolations=0),
    Scenario("frozen bottles that nobody can see into", "freezing", "who cannot see whether a bottle burst says nothing of their sale", {"setting": -1.5},
             {"drinks whole": ("cannot tell", "")}, accept=("setting-too-cold",), never=("keep-sealed-drinks",), isolations=1),
    Scenario("a relay's contact that does not settle", "too_warm", "an open contact picks up what is about: under load it tells", {"relay": "open"}, {"relay contact": (UNSTEADY, OHM)},
             accept=("relay-does-not-close", "relay-voltage-low"), never=("relay-contact-poor", "relay-welded", *NO_DEAD_MOTOR), isolations=3, turns=170),
    Scenario("a cord and probes that slip", "dead", "a cord that does not settle is looked at again, and no cord is condemned", {"lit": False}, {"cord wires": (UNSTEADY, OHM)}, never=("cord-open",)),
)  # fmt: skip
