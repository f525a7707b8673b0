# ruff: noqa: E501 - tables
"""A second table of an expert's scenarios: pairs of faults, wrong and vague answers, and what is rarer.

Written from the trade before any procedure was changed for it, and from no procedure. "Service guides" stands for what makers
of hermetic compressors print for mechanics of any brand: from memory, no page looked up. Columns as in `scenarios`.

`each`: groups of findings; one of each group must be made. No visit here may end 'fixed' at a cabinet that, left alone, would
not keep its stock, unless its readings are told."""

from __future__ import annotations

from tests.trade.scenarios import COLD, HUMS, OHM, OPEN_END, F, Scenario, V, inside

INF = float("inf")
VAGUE = ("cannot tell", "")
NO_DEAD_MOTOR = ("compressor-seized-suspected", "winding-open", "winding-shorted", "winding-to-frame", "windings-do-not-add-up")
NO_START_PART = ("start-device-failed", "capacitor-failed", "overload-open")
CIRCUIT = ("sealed-circuit-suspected",)
RUNS = {"compressor": ("runs smoothly", "")}

SECOND: tuple[Scenario, ...] = (
    # ---- two faults at once
    Scenario("dirt, and the start device", "too_warm", "a start device dies of heat: both are found, and the compressor is not condemned (service guides)",
             {"dirt": 0.95, "start_good": False}, HUMS, each=(("start-device-failed",), ("condenser-restricted",)), never=NO_DEAD_MOTOR, turns=170),
    Scenario("ice, and a fan that stands", "too_warm", "under the ice stands a fan: thawing alone mends nothing",
             {"ice": 1.0, "gap": 0.1, "evaporator_fan": 0.0}, each=(("coil-iced-over",), ("evaporator-fan-failed", "evaporator-fan-suspected", "evaporator-fan-motor-open")),
             never=CIRCUIT, isolations=3, turns=170),
    Scenario("set warm, and a sensor that reads cold", "too_warm", "after the setting is put right it is still 11 degF warm: the sensor is held against a thermometer",
             {"setting": 12.5, "sensor_error": -6.0}, each=(("setting-too-warm",), ("sensor-suspected", "sensor-wrong")), never=CIRCUIT, turns=140),
    Scenario("set cold, and a welded relay", "freezing", "a setting explains no compressor that runs below it",
             {"setting": -2.0, "relay": "welded"}, each=(("setting-too-cold",), ("relay-welded", "compressor-not-switched-off")), turns=140),
    Scenario("dirt, and short of charge", "too_warm", "cleaned and still no cold: the circuit comes after the air side",
             {"dirt": 0.92, "charge": 0.15, "oil": True}, {**RUNS, "coil": ("part frosted", "")}, each=(("condenser-restricted",),), ends=OPEN_END, isolations=2, turns=150),
    Scenario("heater open, and the drain blocked", "iced_up", "a coil that ices again has its cause, and one cause does not clear another",
             {"heater_fitted": True, "heater_good": False, "drain_free": False, "ice": 1.0}, each=(("drain-blocked",), ("defrost-heater-bad",)), isolations=3, turns=150),
    Scenario("hot from dirt, and silent", "too_warm", "an overload that opened from heat is the sign, dirt the cause (service guides)",
             {"dirt": 1.0}, {"compressor": ("silent", ""), "compressor touch": ("very hot", "")}, {"brush": RUNS}, accept=("condenser-restricted",),
             never=(*NO_DEAD_MOTOR, *NO_START_PART, "relay-does-not-close"), turns=150),
    Scenario("hot from a fan that stands, and silent", "too_warm", "silent in a very hot shell: it cools, it runs, and then its fan is seen to stand (service guides)",
             {"condenser_fan": 0.0}, {"compressor": ("silent", ""), "compressor touch": ("very hot", ""), "condenser fan": ("stopped", "")},
             {"push each connector home": RUNS}, accept=("condenser-fan-stopped", "condenser-fan-failed", "condenser-fan-motor-open"),
             never=(*NO_DEAD_MOTOR, *NO_START_PART, "relay-does-not-close"), turns=150),
    # ---- the compressor and what starts it
    Scenario("tried while the start device was hot", "too_warm", "a thermistor that starts a compressor needs minutes to cool: one hum after a short stop proves nothing (service guides)",
             {"mode_cooling": False}, {"compressor": (["hums and clicks", "runs smoothly"], ""), **inside(52, 48, 44, 42, 42, 42)}, never=(*NO_DEAD_MOTOR, *NO_START_PART), turns=150),
    Scenario("pins mixed up", "too_warm", "the greatest resistance lies between start and run; the pin left over is common: found there, the pins were taken for one another (service guides)",
             {"start_good": False}, {**HUMS, "common run": (35.0, OHM), "common start": (11.0, OHM), "start run": (24.0, OHM)}, never=NO_DEAD_MOTOR, turns=160),
    Scenario("capacitor at 55 of 60", "too_warm", "within a tenth of its plate a capacitor is sound (plates say 5 or 10 %): from memory",
             {"kind": "capacitor", "seized": True}, {**HUMS, "capacitance": (55.0, "microfarad")}, never=("capacitor-failed",), turns=170),
    Scenario("a contact half open", "too_warm", "full voltage before the contact and half of it behind while the motor tries: the contact, neither supply nor motor (Ohm's law)",
             {"seized": True}, {**HUMS, "outlet voltage": (229.0, V), "start volts": (222.0, V), "relay output": (120.0, V), "terminal volts": (120.0, V),
              "relay drop": (105.0, V), "relay contact": (INF, OHM)}, {"exchange the relay": {**RUNS, "condenser fan": ("turning", "")}}, accept=("relay-contact-poor", "relay-voltage-low"), never=("compressor-seized-suspected", "supply-low-or-drops", "supply-out-of-band"),
             isolations=3, turns=170),
    Scenario("deck laid on its side", "too_warm", "a deck that lay on its side stands for hours before it is tried or judged: its oil has moved (service guides)",
             {"seized": True}, {**HUMS, "lay down": ("lay on its side", "")}, never=NO_DEAD_MOTOR, ends=OPEN_END, turns=150),
    # ---- supplies
    Scenario("plate 240 on a system of 208", "too_warm", "in band for its system, and a sixth below the plate: torque goes with the square of the voltage",
             {"nominal": 208.0, "plate": 240.0, "volts": 199.0}, HUMS, accept=("supply-low-or-drops", "supply-below-plate"), never=("compressor-seized-suspected", *NO_START_PART), turns=150),
    Scenario("97 V of 100 V", "dead", "inside 101 V plus or minus 6 V, as a system of 100 V is kept (Japan's ordinance, from memory)",
             {"nominal": 100.0, "plate": 100.0, "volts": 97.0, "lit": False}, never=("supply-out-of-band",)),
    Scenario("a plate of 60 Hz on 50 Hz", "too_warm", "230 V at 50 Hz is a fifth more volts a hertz than 220 V at 60 Hz: the iron saturates, and it runs hot and trips (induction law)",
             {"plate": 220.0, "seized": True}, {**HUMS, "compressor touch": ("very hot", ""), "frequency fits": ("another frequency", "")},
             accept=("plate-of-another-frequency",), never=(*NO_DEAD_MOTOR, *NO_START_PART), turns=170),
    # ---- fans with electronics, heaters in the frame, the place
    Scenario("electronic fan that stands", "too_warm", "fed and still: failed; its ohms tell nothing", {"ec_fans": True, "evaporator_fan": 0.0},
             {"evaporator ohms": (40e3, OHM), "evaporator fan": ("stopped", "")}, accept=("evaporator-fan-failed",), never=CIRCUIT, turns=110),
    Scenario("electronic fan beside a silent compressor", "too_warm", "a fan that goes with the compressor stands while nobody calls", {"ec_fans": True, "controller_calls": False},
             {"condenser ohms": (INF, OHM)}, never=("condenser-fan-failed", "condenser-fan-motor-open", *NO_DEAD_MOTOR, *NO_START_PART), turns=130),
    Scenario("a heater in the frame leaks", "dead", "the leak stays when the deck is unplugged: the deck is sound", {"earth_leak": True, "leak_in_deck": False},
             accept=("cabinet-leaks-to-frame",), never=("deck-leaks-to-frame",), isolations=2),
    Scenario("afternoon sun", "too_warm", "four hundred watts of sun is more than a deck is made for: no part is condemned", {"sun": 380.0},
             {"compressor": ("runs smoothly", "")}, accept=("in-the-sun",), never=(*CIRCUIT, *NO_DEAD_MOTOR), isolations=1, turns=110),
    Scenario("an unheated shed in winter", "freezing", "colder outside than its setting: nothing in it can warm it, and no part is condemned",
             {"room": -6.0}, {"room": (21.0, F), "compressor": ("silent", "")}, accept=("room-too-cold",),
             never=("relay-welded", "sensor-wrong", "compressor-not-switched-off"), ends=OPEN_END, turns=110),
    # ---- the circuit
    Scenario("restricted", "too_warm", "runs cool and draws little, the condenser has no heat, air moves: the circuit, and no other part (service guides)",
             {"restricted": True}, {**RUNS, "condenser fan": ("turning", ""), "coil": ("part frosted", "")}, accept=CIRCUIT, never=("condenser-restricted", *NO_DEAD_MOTOR), isolations=1, turns=120),
    Scenario("R-290, and the detector alarms", "too_warm", "nobody touches a plug beside gas that burns", {"charge": 0.15, "oil": True},
             {**RUNS, "coil": ("part frosted", ""), "flame symbol": ("flame shown", ""), "gas": ("alarm", "")}, never=("fixed", "compressor-seized-suspected"), ends=("handed over",), isolations=1, turns=110),
    Scenario("R-744, a hot bend", "too_warm", "carbon dioxide above 31 degC has no condensing temperature: a bend far above the room is no dirt (CoolProp: critical point)",
             {"gap": 4.0, "ice": 0.3}, {**RUNS, "refrigerant": ("carbon dioxide", ""), "condenser bend": (150.0, F), "room": (86.0, F), "condenser": ("clean", ""), "condenser fan": ("turning", "")},
             never=("condenser-restricted", "condenser-suspect", *CIRCUIT), turns=130),
    # ---- wrong and vague answers
    Scenario("vague, and dirty", "too_warm", "who cannot hear or feel it can still look through the grille", {"dirt": 0.95},
             {"compressor": VAGUE, "delivery air": VAGUE, "coil": VAGUE, "compressor touch": VAGUE}, accept=("condenser-restricted",), never=(*CIRCUIT, *NO_DEAD_MOTOR, *NO_START_PART), isolations=1, turns=130),
    Scenario("says bare, and is iced", "too_warm", "no air, a fan that turns and a bare coil do not fit: nobody is condemned for it", {"ice": 1.0, "gap": 4.0},
             {"coil": ("bare coil", ""), "spin evaporator": ("freely", "")}, never=(*CIRCUIT, "evaporator-fan-failed", "evaporator-fan-motor-open"), isolations=3, turns=150),
    Scenario("says it runs, and it does not", "too_warm", "a shell at the room's temperature and three tenths of an ampere are no compressor that runs", {"relay": "open"},
             {**RUNS, "compressor touch": ("cool", ""), "condenser fan": ("turning", "")}, never=(*CIRCUIT, "condenser-restricted"), ends=OPEN_END, turns=150),
    Scenario("knows of nothing", "too_warm", "where nothing can be told nothing is concluded", {"mode_cooling": False},
             dict.fromkeys(("compressor", "delivery air", "coil", "compressor touch", "condenser", "condenser fan", "mode", "display", "call for cooling"), VAGUE),
             never=(*COLD, *CIRCUIT, *NO_DEAD_MOTOR, *NO_START_PART), ends=OPEN_END, turns=150),
)  # fmt: skip
