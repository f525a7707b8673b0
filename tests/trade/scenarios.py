# ruff: noqa: E501 - tables
"""Cabinets as an expert meets them: what is seen and measured, and what may be concluded from it.

Written from the trade and from published sources, before the procedures were changed, and not from the program. Each is
typed through the real machine by `test_scenarios`.

- `cabinet`: fields of `tests.bench.cabinets_physics.Cabinet`, sound where nothing is said. `says`: what is told or read
  instead, by topic of `tests.bench.cabinets_topics`; a list is read one after the other, the last again and again. Readings in
  the unit after them.
- `after`: once a step whose words match was done, these `says` replace the others.
- `accept`: findings of which one must be made; () where none need be. `never`: findings and outcomes that would be false.
- `ends`: outcomes that are right. `isolations`, `turns`: the most that an expert would forgive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Said = str | float | list[float] | list[str]
F, C, V, OHM = "degF", "degC", "volt", "ohm"
COLD = ("cold-again", "cold-again-late", "cold-again-overnight", "cold-and-resting", "fixed")
OPEN_END = ("handed over", "watch", "to be continued", "not fixed", "no fault found")


@dataclass(frozen=True)
class Scenario:
    name: str
    complaint: str
    because: str
    cabinet: Mapping[str, object] = field(default_factory=dict)
    says: Mapping[str, tuple[Said, str]] = field(default_factory=dict)
    after: Mapping[str, Mapping[str, tuple[Said, str]]] = field(default_factory=dict)
    accept: tuple[str, ...] = ()
    each: tuple[tuple[str, ...], ...] = ()
    never: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    isolations: int = 2
    turns: int = 120
    hours: float = 30.0


def inside(*fahrenheit: float) -> dict[str, tuple[Said, str]]:
    return {"inside": (list(fahrenheit), F)}


CIRCUIT_RUNS = {"compressor": ("runs smoothly", ""), "condenser fan": ("turning", ""), "coil": ("bare coil", ""), "delivery air": ("strongly", "")}
HUMS = {"compressor": ("hums and clicks", "")}

SCENARIOS: tuple[Scenario, ...] = (
    # ---- the proof of cold
    Scenario("warming, 38 to 44", "too_warm", "a cabinet that gets warmer is not mended (heat balance)",
             {"mode_cooling": False}, inside(38, 40, 42, 44, 47, 51, 55), never=COLD, ends=OPEN_END),
    Scenario("steady at 26 after freezing", "freezing", "below 32 degF is frozen stock still", {"setting": -1.0},
             inside(26, 26, 26, 26, 26), never=COLD, ends=OPEN_END),
    Scenario("46 and never heard", "too_warm", "a compressor that nobody saw run is not proved", {"mode_cooling": False},
             {**inside(46), "compressor": ("silent", ""), "starts and stops": ("never ran", "")}, never=COLD, ends=OPEN_END),
    Scenario("setting 46, cabinet 46", "too_warm", "setting and differential are the target, not a fixed number",
             {"mode_cooling": False}, {"setting": (46.0, F), **inside(58, 53, 49, 47, 46, 46, 46)},
             ends=("fixed", "watch"), turns=90),
    Scenario("flat at 75", "too_warm", "half an hour flat with the compressor running will not get there",
             {"mode_cooling": False}, inside(75, 75, 75, 75, 75), accept=("will-not-get-cold",), never=COLD, ends=OPEN_END,
             turns=70),
    Scenario("flat at 60", "too_warm", "the same nearer the target", {"mode_cooling": False},
             inside(60, 60, 60.4, 60.4, 60.6, 60.6), accept=("will-not-get-cold",), never=COLD, ends=OPEN_END, turns=80),
    Scenario("still falling at leaving", "too_warm", "hope is no proof: it is watched, with the time of the next look",
             {"mode_cooling": False}, {**inside(70, 69, 68, 67, 66, 65, 64), "stay": ("tomorrow", "")},
             never=("cold-again", "fixed"), ends=("watch", "to be continued", "handed over")),
    Scenario("down to 42 and cycling", "too_warm", "comes down and cycles: proved", {"mode_cooling": False},
             {**inside(60, 53, 47, 43, 42, 42), "starts and stops": ("both seen", "")}, ends=("fixed",), turns=70),
    # ---- food: FDA Food Code 2022, 3-501.16 (A)(2) and 4-204.111
    Scenario("food, 60 seen in the visit", "too_warm", "readings of the same visit count (3-501.16: 41 degF or below)",
             {"mode_cooling": False, "drinks": False},
             {**inside(60, 55, 48, 42, 40, 40), "product": (38.0, F), "minutes cold": (5.0, "minute"),
              "shown": (60.0, F)}, never=("keep-fresh-food",)),
    Scenario("frozen at -12", "too_warm", "frozen food that stayed frozen may stay",
             {"mode_cooling": False}, {"product kind": ("frozen food", ""), "frozen look": ("frozen hard", ""), "product": (-12.0, F), "minutes cold": (120.0, "minute"),
              **inside(60, 50, 44, 42, 42)}, never=("discard-fresh-food", "ask-about-fresh-food", "sale-stops")),
    Scenario("drinks stay", "too_warm", "sealed drinks need no cooling for safety", {"setting": 12.8},
             accept=("keep-sealed-drinks",)),
    Scenario("food six hours warm", "too_warm", "six hours surely above 41 degF is past any allowance (3-501.19)",
             {"mode_cooling": False, "drinks": False},
             {**inside(66, 60, 54, 50), "product": (62.0, F), "minutes cold": (400.0, "minute")},
             accept=("discard-fresh-food",)),
    # ---- borderline
    Scenario("split of 21.5 degF", "too_warm", "12 K is 21.6 degF: too near to call is no verdict",
             {"charge": 0.9}, {**CIRCUIT_RUNS, **inside(60.0), "delivery temperature": (38.5, F), "shown": (60.0, F),
              "room": (75.0, F)}, never=("sealed-circuit-suspected", "fixed")),
    Scenario("split of 5.9 degF", "too_warm", "3 K is 5.4 degF: too near to call is no verdict",
             {"charge": 0.9}, {**CIRCUIT_RUNS, **inside(60.0), "delivery temperature": (54.1, F), "shown": (60.0, F),
              "room": (75.0, F)}, never=("sealed-circuit-suspected", "fixed")),
    Scenario("60 to 39 with weak air", "too_warm", "weak air makes a high split: the air side comes first",
             {"stock_blocks": True}, {**CIRCUIT_RUNS, "delivery air": ("weakly", ""), **inside(60.0),
              "delivery temperature": (39.0, F), "shown": (60.0, F), "room": (75.0, F)}, never=("sealed-circuit-suspected",)),
    # ---- the supply: ANSI C84.1 range A about the nominal system; EN 50160
    Scenario("124 V, plate 115", "dead", "124 V is inside 108 to 126 V of an outlet on 120 V (ANSI C84.1 range A)",
             {"nominal": 120.0, "plate": 115.0, "volts": 124.0, "lit": False}, never=("supply-out-of-band",)),
    Scenario("206 V, plate 230", "dead", "206 V is inside 187 to 218 V of an outlet on 208 V (ANSI C84.1 range A)",
             {"nominal": 208.0, "plate": 230.0, "volts": 206.0, "lit": False}, never=("supply-out-of-band",)),
    Scenario("196 V, plate 230", "dead", "196 V is below 207 V of a 230 V system (EN 50160)",
             {"nominal": 230.0, "plate": 230.0, "volts": 196.0, "lit": False}, accept=("supply-out-of-band",), isolations=1),
    Scenario("breaker was out", "dead", "a device that was tripped is looked at before an outlet is condemned",
             {"breaker_out": True}, accept=("breaker-out",), never=("no-supply-at-outlet",), isolations=1),
    Scenario("outlet is dead", "dead", "no supply, and its breaker is on: licensed work",
             {"supply_on": False}, accept=("no-supply-at-outlet",), never=("no-supply-breaker-not-seen",), ends=("handed over",), isolations=0),
    Scenario("the deck leaks", "dead", "a leak of 20 kilohm is far below 1 megohm (EN 50699, from memory)",
             {"earth_leak": True, "leak_in_deck": True}, accept=("deck-leaks-to-frame",), isolations=2),
    # ---- the compressor's electrics
    Scenario("overload in a hot shell", "too_warm", "common open to both, start to run sound: the inner overload, not a winding",
             {"start_good": False, "inner_overload": True},
             {**HUMS, "compressor touch": ("very hot", ""), "common run": (float("inf"), OHM), "common start": (float("inf"), OHM),
              "start run": (35.0, OHM)}, never=("winding-open", "windings-do-not-add-up", "compressor-seized-suspected"), turns=130),
    Scenario("weak capacitor", "too_warm", "a capacitor is measured against its plate before a compressor is condemned",
             {"kind": "capacitor", "capacitor": 0.3}, HUMS, accept=("capacitor-failed",),
             never=("compressor-seized-suspected",), turns=140),
    Scenario("current relay bad by no look", "too_warm", "a relay that looks well is tried against a known-good one",
             {"kind": "relay", "start_good": False}, {**HUMS, "relay looks": ("undamaged", "")},
             {"fit a part of the same number": {"compressor": ("runs smoothly", "")}}, accept=("start-device-failed",),
             never=("compressor-seized-suspected",), turns=140),
    Scenario("start below run", "too_warm", "some 220 V compressors with a thermistor read so in health",
             {"start_below_run": True, "start_good": False}, {**HUMS, "start ohms": (18.0, OHM)},
             never=("windings-do-not-add-up", "winding-shorted", "winding-open"), turns=140),
    Scenario("run winding 0.3 ohm", "too_warm", "0.3 ohm at a 230 V plate is a short circuit (Ohm's law: 700 A)",
             {"winding": "short"}, {**HUMS, "common run": (0.3, OHM), "common start": (24.0, OHM), "start run": (24.3, OHM)},
             accept=("winding-shorted",), never=("compressor-seized-suspected",), turns=140),
    Scenario("seized", "too_warm", "everything sound, a known-good start device tried, and it still hums",
             {"seized": True}, HUMS, accept=("compressor-seized-suspected",), turns=160),
    Scenario("thin lead", "too_warm", "more than a tenth lost on start: lead or joint (common practice)",
             {"source_ohms": 6.0}, HUMS, accept=("supply-low-or-drops",), turns=130),
    Scenario("lead off the relay", "too_warm", "connectors first once the cover is off: one isolation",
             {"terminals_home": False}, accept=("terminal-not-home",), isolations=1, turns=100),
    Scenario("burnt contact", "too_warm", "a burnt contact reads full voltage without load and drops under it",
             {"relay": "open"}, {"relay contact": (float("inf"), OHM), "relay output": (60.0, V), "relay drop": (170.0, V), "terminal volts": (60.0, V),
              "compressor": ("silent", "")}, accept=("relay-voltage-low", "relay-contact-poor", "relay-does-not-close"),
             isolations=3, turns=150),
    # ---- controller and sensor
    Scenario("satisfied at 43", "too_warm", "shown 43, set 43, 48 inside: it does not call; nothing of the compressor is opened",
             {"sensor_error": -3.0}, {"setting": (43.0, F), "shown": (43.0, F), **inside(48.0), "compressor": ("silent", ""),
              "call for cooling": ("idle", "")},
             never=("compressor-seized-suspected", "compressor-not-fed", "start-device-failed"), isolations=1, turns=120),
    Scenario("sensor 13 degF low", "too_warm", "shown 13 degF below a thermometer beside it", {"sensor_error": -7.2},
             accept=("sensor-suspected", "sensor-wrong"), isolations=1),
    Scenario("sensor sound, cabinet warmed meanwhile", "too_warm", "ohms are held against the temperature of that minute",
             {}, {"shown": (52.0, F), **inside(44.0, 44.0, 52.0), "sensor ohms": (17860.0, OHM), "table ohms": (17700.0, OHM)},
             never=("sensor-wrong",)),
    Scenario("setting at 55", "too_warm", "set 12 degF above the works setting", {"setting": 12.8}, accept=("setting-too-warm",),
             isolations=0, turns=70),
    Scenario("setting at 30", "freezing", "set below freezing", {"setting": -1.1}, accept=("setting-too-cold",), isolations=0,
             turns=70),
    Scenario("welded relay", "freezing", "runs on at a setting of 60 degF", {"relay": "welded"},
             accept=("relay-welded", "compressor-not-switched-off"), isolations=2, turns=110),
    # ---- the air and the place
    Scenario("dirty condenser", "too_warm", "seen through the grille", {"dirt": 0.95}, {"compressor": ("runs smoothly", "")},
             accept=("condenser-restricted",),
             isolations=1, turns=90),
    Scenario("condenser fan stands", "too_warm", "seen standing while the compressor runs", {"condenser_fan": 0.0},
             {"compressor": ("runs smoothly", ""), "condenser fan": ("stopped", "")},
             accept=("condenser-fan-stopped", "condenser-fan-failed", "condenser-fan-motor-open"), isolations=1, turns=100),
    Scenario("evaporator fan stands", "too_warm", "no air, coil not iced", {"evaporator_fan": 0.0},
             {"coil": ("even frost", "")}, accept=("evaporator-fan-failed", "evaporator-fan-motor-open"), isolations=1, turns=100),
    Scenario("electronic fans that turn", "too_warm", "an electronic fan has no ohms to judge: it turns or it does not",
             {"ec_fans": True, "stock_blocks": True}, {"delivery air": ("faint", ""), "evaporator ohms": (float("inf"), OHM),
              "condenser ohms": (float("inf"), OHM)},
             never=("evaporator-fan-motor-open", "evaporator-fan-failed", "condenser-fan-motor-open", "condenser-fan-failed")),
    Scenario("iced by the door", "too_warm", "ice and a strip that slips", {"gap": 4.0, "ice": 1.0},
             accept=("door-does-not-seal", "coil-iced-over"), isolations=2),
    Scenario("stock before the opening", "too_warm", "stock against the opening stops the air", {"stock_blocks": True},
             accept=("stock-blocks-air",), never=("sealed-circuit-suspected",), isolations=1),
    Scenario("a room of 113 degF", "too_warm", "hotter than a cabinet is made for: no part is condemned",
             {"room": 45.0}, {"room": (113.0, F), **inside(54.0), "shown": (54.0, F), "compressor": ("runs smoothly", "")}, accept=("room-too-hot",),
             never=("sealed-circuit-suspected", "compressor-seized-suspected")),
    Scenario("filled this morning", "too_warm", "heat of a warm fill, no fault", {"filled_warm": True},
             accept=("fresh-fill",), never=("sealed-circuit-suspected",), isolations=0, turns=90),
    Scenario("loose panel", "noisy", "tightened and gone", {"panel_loose": True}, accept=("loose-panel-or-clip",), isolations=1,
             turns=90),
    # ---- the circuit, and nothing at all
    Scenario("short of charge", "too_warm", "runs, air moves, clean, part of the coil frosted, little split",
             {"charge": 0.15, "oil": True}, {"coil": ("part frosted", "")}, accept=("sealed-circuit-suspected",),
             isolations=1, turns=110),
    Scenario("nothing wrong", "too_warm", "cold, shown true, cycling", {}, never=("sealed-circuit-suspected", "sensor-wrong"),
             ends=("no fault found", "watch", "handed over", "fixed"), isolations=0, turns=70, hours=20.0),
)  # fmt: skip
