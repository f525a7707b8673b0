# ruff: noqa: E501 - tables
"""What a question of a procedure is about, by the words a person hears, and what one with eyes and meters would say.

`tests.bench.talk_topics` has the topics that its jobs meet; those that more is asked about stand here and are tried first.
A topic is a name; `ANSWERS` and `READINGS` say what is so about it at a cabinet of `cabinets_physics`, the truest first.
Nothing here knows a step's id."""

from __future__ import annotations

import re
from collections.abc import Callable
from math import inf, nan
from random import Random

from tests.bench import talk_topics
from tests.bench.cabinets_physics import Cabinet

Said = tuple[str, ...]
#: What is said of what nobody can see: a setting on a dark display.
UNKNOWN = "cannot tell"
#: What is said of a meter that does not settle.
UNSTEADY = "unsteady"

#: Name, pattern: of questions with answers.
ASKED: tuple[tuple[str, str], ...] = (
    ("ran through", r"run through all"), ("sensor place", r"in its clip"), ("door switch", r"closed door presses"), ("deck seat", r"tissue"), ("deck gasket", r"gasket of the deck"),
    ("drying", r"is it dry now"), ("which first", r"which comes first"),
    ("noise kind", r"rattle, or knock"), ("where wet", r"does water stand"), ("leans", r"does it lean"),
    ("frequency fits", r"frequency"), ("lay down", r"on its side"),
    ("wet or damaged", r"site wet, or is the cord"),
    ("breaker", r"look at the breaker|earth.leakage|residual|test button"),
    ("which try", r"which try|the first try"), ("tried to start", r"start in that try"),
    ("capacitor fitted", r"(have|has|is there|carry|end at).* capacitor|capacitor.*(fitted|there)\b"),
    ("known start device", r"known.good start|start device .*(fits|from the van)"),
    ("defrost by hand", r"defrost by hand|defrost begin now"), ("defrost over", r"still defrost"), ("defrost shown", r"or does it defrost"),
    ("call for cooling", r"call for cooling|does the controller|controller (do|call)|symbol for cooling"),
    ("stock blocks", r"stock.*(stand|lie|block|cover|clear|before|in front)|in front of the (delivery )?(opening|coil|return)"),
    ("sun", r"\bsun\b|oven|heat(er|s) (beside|near)"),
    ("vents", r"before each vent"),
    ("fan kind", r"plates of the fans|(kind|type) of (fan|motor)|electronic|wires (lead|go) to the fan"),
    ("fan turns", r"evaporator fan.*(do|turn)\b.*\?"),
    ("air after", r"air feel now|does the air move now|feel once more"),
    ("starts and stops", r"run and stop|(start|stop)s?\b.*\b(stop|start)|cycle|rest now and then|seen (it )?(run|stop)"),
    ("compressor stops", r"five minutes\. (What does|Does) the compressor|stop(s|ped)? now"),
    ("heater fitted", r"have a defrost heater"),
    ("complaint", r"what is wrong\?|what is it\?"),
    ("follows", r"follow the controller"),
    ("duty", r"running when you came|how often"),
    ("product kind", r"does the cabinet hold"),
    ("mode", r"is the mode"),
    ("stay", r"are you staying"),
    ("frozen look", r"press on the packs"),
    ("filled", r"filled|serviced"),
    ("cabinet class", r"which class|kind of cabinet|class is"),
    ("shell hot", r"shell.*(hot|warm|cool)"),
    ("overload kind", r"overload.*(inside|outside|which)"),
    ("heater done", r"heater was bad|what is done"),
    ("oil", r"\boil\b"),
    ("spin condenser", r"turn the condenser fan by hand"),
    ("spin evaporator", r"turn the evaporator fan by hand"),
    ("left of ice", r"left of the ice"),
    ("relay looks", r"burns, melting"),
    ("start looks", r"shake it|shake the start|start device\. .*how is it"),
    ("door again", r"test with the strip again"),
    ("gas", r"gas detector"),
    ("new part", r"(same|new|another|spare) (part|relay|sensor|fan|start device|overload|door switch|deck)\b|with you\?"),
)  # fmt: skip
READ: tuple[tuple[str, str], ...] = (
    ("offset", r"offset that|offset of the sensor"), ("switch ohms", r"pressed door switch"),
    ("beside the sensor", r"at the sensor|beside the (temperature )?sensor"),
    ("nominal", r"nominal|supply system|printed .*outlet"),
    ("earth leakage", r"leakage current"),
    ("charge left", r"volts are left"),
    ("capacitor plate", r"on the capacitor"),
    ("capacitance", r"capacitance|microfarad"),
    ("minutes on", r"time the compressor from its start|time that the compressor runs"),
    ("minutes off", r"time the compressor from its stop|time that the compressor rests"),
    ("terminal volts", r"compressor terminals"),
    ("start volts", r"lowest voltage|while it tries"),
    ("start ohms", r"start device.*ohm|resistance of the start device"),
    ("overload ohms", r"overload"),
    ("common run", r"common.*to.*run"),
    ("common start", r"common.*to.*start"),
    ("start run", r"start.*to.*run"),
    ("evaporator ohms", r"evaporator fan.*(ohm|motor)"),
    ("condenser ohms", r"condenser fan.*(ohm|motor)"),
    ("heater watts", r"power of the (defrost )?heater"),
    ("heater volts", r"voltage of the (defrost )?heater"),
    ("heater ohms", r"resistance of the (defrost )?heater"),
    ("deck insulation", r"insulation of the deck"),
    ("insulation", r"insulation|megohm"),
    ("stock mass", r"mass of the stock|kilogram.*stock|bottles.*kilogram"),
    ("deck watts", r"cooling capacity"),
    ("minutes cold", r"how long is it since|surely cold"),
    ("product", r"two packs|product"),
    ("deck mass", r"mass of the (new )?deck|\bmass\b"),
    ("relay output", r"behind the relay"),
    ("relay drop", r"across the (contact|relay)"),
    ("terminal volts", r"voltage (at|behind|between) the (supply )?terminals|at the terminals"),
    ("ice table", r"table.*\b(32|thirty.two)\b"),
    ("ice bath", r"ice water"),
)  # fmt: skip


def topics(text: str, numbers: bool) -> list[str]:
    """Names, the likeliest first; () where nobody knows what is asked."""
    own = [name for name, pattern in (READ if numbers else ASKED) if re.search(pattern, text, re.IGNORECASE)]
    theirs = [topic.name for topic in (talk_topics.READ if numbers else talk_topics.ASKED) if topic.fits(text)]
    return [*own, *theirs]


# ---- looks ----------------------------------------------------------------------------------------------------------


def _sound(c: Cabinet) -> Said:
    if c.running:
        return ("runs smoothly", "running", "it runs", "yes")
    # An overload that opened on a running compressor makes no hum; one that opened on a stall closes into the next stall.
    return ("hums and clicks",) if c.humming or c.stalled else ("silent", "no")


def _air(c: Cabinet) -> Said:
    if c.flow < 0.05:
        return ("dead calm", "no air")
    if c.flow < 0.4:
        return ("faint", "weakly", "weak", "moving", "cool" if c.running else "warm")
    return ("cool", "strongly", "moving") if c.running and c.air - c.coil > 4 else ("warm", "strongly", "moving")


def _coil(c: Cabinet) -> Said:
    if c.ice > 0.7:
        return ("iced over", "some ice")
    if c.running and c.coil < -1:
        return ("part frosted",) if c.charge < 0.6 or c.restricted else ("even frost", "bare coil")
    return ("bare coil",)


def _touch(c: Cabinet) -> Said:
    return ("very hot",) if c.shell > 85 else ("warm",) if c.shell > c.room + 8 else ("cool",)


def _stops(c: Cabinet) -> Said:
    if c.relay == "welded":
        return ("runs onward", "never stops", "never stopped")
    if c.calls and not c.running:
        return ("silent", "never ran", "does not run", "hums and clicks", UNKNOWN)
    if c.minute - c.stopped_at > 60:
        return ("stops", "runs onward", "follows") if c.running else ("never ran", "stops", "follows")
    return ("stops", "both seen", "follows", "starts and stops")


def _does(c: Cabinet) -> Said:
    if c.earth_leak:
        return ("trips the breaker", "trips at once", "stays dark")
    if not c.display:
        return ("stays dark",)
    return ("runs smoothly", "lit but idle") if c.running else ("lit but idle", "stays dark")


def _left_how(c: Cabinet) -> Said:
    if not c.plug_in:
        return ("locked off",)
    return ("running cold", "pulling down") if c.air < 8 else ("pulling down", "running cold")


def _always(*words: str) -> Callable[[Cabinet], Said]:
    return lambda c: words


def _if(true: Callable[[Cabinet], bool], yes: Said, no: Said) -> Callable[[Cabinet], Said]:
    return lambda c: yes if true(c) else no


ANSWERS: dict[str, Callable[[Cabinet], Said]] = {
    "breaker": lambda c: ("one tripped", "tripped") if c.breaker_out else ("all on", "on", "set"),
    "tried to start": lambda c: ("it starts",) if c.running else ("hums and clicks",) if c.humming or c.stalled else ("silent",),
    "frequency fits": _always("it fits", "same frequency"),
    "lay down": _always("stood upright", "stood"), "wet or damaged": _always("damaged"),
    "where wet": lambda c: ("walls sweat",) if c.wet_walls else ("water stands",) if c.tilted or not c.drain_free else ("all dry",),
    "leans": _if(lambda c: c.tilted, ("leans forward",), ("stands level",)),
    "drying": _always("mopped up"), "which first": _always("too warm"),
    "noise kind": _if(lambda c: c.stalled or c.humming, ("hums and clicks",), ("rattles",)),
    "capacitor fitted": _if(lambda c: c.kind == "capacitor", ("capacitor", "fitted", "yes"), ("none", "no capacitor", "no")),
    "call for cooling": lambda c: (UNKNOWN,) if not c.display else ("calls for cooling", "calls", "yes") if c.calls else ("in defrost", "still in defrost", "idle") if c.in_defrost else ("idle", "no call", "no"),
    "defrost by hand": _if(lambda c: c.defrost_starts, ("it begins",), ("nothing happens",)),
    "stock blocks": _if(lambda c: c.stock_blocks, ("blocked", "stock in the way", "yes"), ("clear", "all clear", "no")),
    "sun": _if(lambda c: c.sun > 50, ("in the sun", "sun", "yes"), ("shaded", "in the shade", "no")),
    "vents": _if(lambda c: c.vents_covered, ("vents covered",), ("room for air",)),
    "ran through": _if(lambda c: c.minute - c.stopped_at > 20, ("ran through",), ("stopped between",)),
    "sensor place": _if(lambda c: c.sensor_home, ("in its clip",), ("out of place",)),
    "deck seat": _if(lambda c: c.deck_gap < 1, ("hangs still",), ("drawn in",)),
    "deck gasket": _always("whole gasket"), "door switch": _always("without switch"),
    "fan kind": _if(lambda c: c.ec_fans, ("electronic", "yes"), ("plain motor", "no")),
    "fan turns": _if(lambda c: c.evaporator_fan > 0 and c.display, ("turning", "turns"), ("stopped", "stands")),
    "starts and stops": _stops, "compressor stops": _stops, "follows": _stops,
    "known start device": _if(lambda c: c.can_start() or not (c.start_good and c.capacitor > 0.75),
                              ("starts", "it starts"), ("still hums", "no start", "silent")),
    "product kind": _if(lambda c: c.drinks, ("sealed drinks", "drinks"), ("fresh food",)),
    "stock kind": _if(lambda c: c.drinks, ("sealed drinks", "drinks"), ("fresh food",)),
    "cabinet class": _if(lambda c: c.drinks, ("drinks", "sealed drinks"), ("fresh food",)),
    "filled": _if(lambda c: c.filled_warm, ("freshly filled",), ("long before", "earlier")),
    "drinks whole": _always("all whole"),
    "shell hot": _touch, "compressor touch": _touch,
    "overload kind": _if(lambda c: c.inner_overload, ("inside", "in the shell"), ("outside", "on the outside")),
    "heater fitted": _if(lambda c: c.heater_fitted, ("heater fitted",), ("timed pauses",)),
    "heater done": _if(lambda c: c.heater_good, ("heater sound",), ("heater exchanged",)),
    "oil": _if(lambda c: c.oil, ("oily joint",), ("clean and dry",)),
    "spin condenser": _if(lambda c: 0 < c.condenser_fan < 0.5, ("drags",), ("freely",)),
    "spin evaporator": lambda c: ("iced over",) if c.ice > 0.7 else ("freely",),
    "left of ice": _if(lambda c: c.ice > 0.1, ("some ice",), ("bare coil",)),
    "relay looks": _if(lambda c: c.start_good, ("undamaged",), ("undamaged", "burnt")),
    "start looks": _always("sound"),
    "start device kind": _if(lambda c: c.kind == "ptc", ("without coil",), ("current relay",)),
    "start device": _always("sound"),
    "gas": _always("stays calm"), "frozen look": _if(lambda c: c.stock < -1, ("frozen hard",), ("one thaws",)),
    "display": _if(lambda c: c.display, ("lit up", "lit"), ("blank", "dark")),
    "what it does": _does,
    "mode": lambda c: ("dark", UNKNOWN) if not c.display else ("cooling",) if c.mode_cooling else ("something else",),
    "door strip": _if(lambda c: c.gap < 1, ("holds fast",), ("slips out",)),
    "door again": _if(lambda c: c.gap < 1, ("holds fast",), ("slips out",)),
    "delivery air": _air, "air after": _air,
    "noise": lambda c: ("outer panel",) if c.panel_loose else ("compressor",) if c.humming or c.stalled else ("silence", "nothing"),
    "noise now": _if(lambda c: c.panel_loose, ("as before",), ("much better",)),
    "stands": _if(lambda c: c.tilted, ("rocks", "rocking"), ("standing firmly",)),
    "loose parts": _if(lambda c: c.panel_loose, ("loose parts",), ("everything tight",)),
    "tubes": _always("well apart"),
    "compressor": _sound,
    "condenser fan": lambda c: (
        ("silent compressor", "stopped") if not (c.running or c.humming) else ("turning",) if c.condenser_fan > 0.2 else ("stopped",)
    ),
    "evaporator fan": _always("freely", "turning"),
    "coil": _coil,
    "condenser": lambda c: ("vents covered", "clean") if c.vents_covered else ("dirty",) if c.dirt > 0.55 else ("clean",),
    "terminals": _if(lambda c: c.terminals_home, ("all home",), ("backed out",)),
    "water or burns": _always("dry and sound"),
    "fuse": _always("conducting", "built without"),
    "outlet": _if(lambda c: c.supply_on and not c.breaker_out, ("shines",), ("stays off",)),
    "pins": _always("as marked"),
    "stock moves": _always("moving freely"),
    "where frozen": _always("everywhere"),
    "drain": _if(lambda c: c.drain_free, ("running free",), ("blocked",)),
    "left how": _left_how,
    "stay": _if(lambda c: c.air > 11 or c.air < 0, ("tomorrow", "leaving"), ("staying",)),
}  # fmt: skip
#: What is so at every site here.
PLAIN: dict[str, Said] = {
    "people of the site": ("customer present",), "barrier": ("done",), "floor": ("dry",), "cord": ("intact",),
    "flame symbol": ("plain plate",), "partner": ("partner here",), "all free": ("all free",), "tools": ("all there",),
    "deck plate": ("plates agree",), "grommet": ("seated all round",), "panels": ("everything fitted",),
    "more": ("nothing else",), "spare": ("spare here", "deck here"), "new part": ("spare here", "deck here"),
}  # fmt: skip


# ---- meters ---------------------------------------------------------------------------------------------------------


def _winding(c: Cabinet, run: bool, rng: Random) -> float:
    scale = (c.plate / 230.0) ** 2
    ohms = (11.0 if run else 24.0) * scale
    if c.start_below_run:
        ohms = (13.0 if run else 10.0) * scale
    if c.winding == "short":
        ohms *= 0.06 if run else 1.0
    return ohms * rng.uniform(0.99, 1.01) + 0.1


def _through_common(run: bool) -> Callable[[Cabinet, Random], float]:
    def ohms(c: Cabinet, rng: Random) -> float:
        opened = (c.inner_overload and c.overload_open) or (c.winding == "open" and run)
        return inf if opened else _winding(c, run, rng)

    return ohms


def _start_run(c: Cabinet, rng: Random) -> float:
    return inf if c.winding == "open" else _winding(c, True, rng) + _winding(c, False, rng)


def _megohms(c: Cabinet, rng: Random) -> float:
    return 0.02 if c.earth_leak else 10 ** rng.uniform(1.5, 3)


def _bend(c: Cabinet, rng: Random) -> float:
    return c.condensing + rng.gauss(0, 0.4)


def _fan_ohms(turns: float, c: Cabinet, rng: Random) -> float:
    if c.ec_fans:
        return inf if rng.random() < 0.5 else 40e3
    return inf if turns < 0.05 else rng.uniform(90, 400) * (c.plate / 230) ** 2


def _thermistor(celsius: float) -> float:
    from math import exp

    return 10_000 * exp(3435 * (1 / (celsius + 273.15) - 1 / 298.15))


READINGS: dict[str, tuple[Callable[[Cabinet, Random], float], str]] = {
    "offset": (lambda c, r: round(1.8 * c.offset), ""), "switch ohms": (lambda c, r: 0.2, "ohm"),
    "setting": (lambda c, r: c.setting if c.display else nan, "degC"),
    "shown": (lambda c, r: c.shown + r.uniform(-0.1, 0.1) if c.display else nan, "degC"),
    "room": (lambda c, r: c.room + r.gauss(0, 0.3), "degC"),
    # Beside the sensor is air; between the bottles is half of it stock.
    "beside the sensor": (lambda c, r: (c.air if c.sensor_home else c.coil) + r.gauss(0, 0.2), "degC"),
    "inside": (lambda c, r: 0.5 * c.air + 0.5 * c.stock + r.gauss(0, 0.2), "degC"),
    "product": (lambda c, r: c.stock + r.gauss(0, 0.2), "degC"),
    "delivery temperature": (lambda c, r: c.air - (0.45 * (c.air - c.coil) if c.running else 0.0) + r.gauss(0, 0.3), "degC"),
    "condenser bend": (_bend, "degC"),
    "nominal": (lambda c, r: c.nominal, "volt"), "plate voltage": (lambda c, r: c.plate, "volt"),
    "outlet voltage": (lambda c, r: (c.volts if c.supply_on and not c.breaker_out else 0.0) * r.uniform(0.997, 1.003), "volt"),
    # Read while it tries to start.
    "terminal volts": (lambda c, r: (c.start_volts if c.stalled else c.volts) * r.uniform(0.995, 1.005) if c.fed else 0.0, "volt"),
    "voltage behind": (lambda c, r: c.volts * r.uniform(0.995, 1.005) if c.fed else 0.0, "volt"),
    "relay output": (lambda c, r: c.volts * r.uniform(0.995, 1.005) if c.fed and c.terminals_home else 0.0, "volt"),
    "relay drop": (lambda c, r: 0.1 if c.relay == "welded" or (c.relay == "good" and c.calls) else c.volts if c.live else 0.0, "volt"),
    "start volts": (lambda c, r: (c.start_volts if c.fed else 0.0) * r.uniform(0.995, 1.005), "volt"),
    "charge left": (lambda c, r: 0.0, "volt"),
    "capacitance": (lambda c, r: 60.0 * c.capacitor * r.uniform(0.99, 1.01), "microfarad"),
    "capacitor plate": (lambda c, r: 60.0, "microfarad"),
    "minutes on": (lambda c, r: inf if c.on_for > 60 else 12.0, "minute"),
    "minutes off": (lambda c, r: 18.0, "minute"),
    "start ohms": (lambda c, r: r.uniform(10, 30) if c.start_good else inf, "ohm"),
    "overload ohms": (lambda c, r: inf if c.overload_open and not c.inner_overload else 0.3, "ohm"),
    "common run": (_through_common(True), "ohm"), "common start": (_through_common(False), "ohm"), "start run": (_start_run, "ohm"),
    "insulation": (_megohms, "megaohm"),
    "deck insulation": (lambda c, r: 0.02 if c.earth_leak and c.leak_in_deck else 300.0, "megaohm"),
    "earth wire": (lambda c, r: 0.1, "ohm"), "cord wires": (lambda c, r: 0.2, "ohm"),
    "relay contact": (lambda c, r: 0.2 if c.relay == "welded" else inf, "ohm"),
    "plate current": (lambda c, r: 2.0 * 230 / c.plate, "ampere"),
    "current": (lambda c, r: (1.6 * 230 / c.plate * (1 + 0.008 * (c.condensing - 40)) if c.running else 0.3), "ampere"),
    "evaporator ohms": (lambda c, r: _fan_ohms(c.evaporator_fan, c, r), "ohm"),
    "condenser ohms": (lambda c, r: _fan_ohms(c.condenser_fan, c, r), "ohm"),
    "heater watts": (lambda c, r: 200.0, "watt"), "heater volts": (lambda c, r: c.plate, "volt"),
    "heater ohms": (lambda c, r: c.plate**2 / 200 if c.heater_good else inf, "ohm"),
    "sensor ohms": (lambda c, r: _thermistor(c.sensed), "ohm"),
    "ice bath": (lambda c, r: _thermistor(c.sensor_error), "ohm"), "ice table": (lambda c, r: _thermistor(0.0), "ohm"),
    "table ohms": (lambda c, r: _thermistor(c.air + r.gauss(0, 0.3)), "ohm"),
    "minutes cold": (lambda c, r: 300.0 if c.stock > 6 else 10.0, "minute"),
    "deck mass": (lambda c, r: 18.0, "kilogram"),
    "stock mass": (lambda c, r: round(c.stock_joules / 4180), "kilogram"),
    "deck watts": (lambda c, r: 300.0, "watt"),
}  # fmt: skip
