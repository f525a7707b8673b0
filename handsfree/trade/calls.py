"""The functions that a procedure's decision expressions may call by name.

Each takes numbers (a few also take a word) and gives a number, true or false, or one of a few short words, so that
a safe evaluator needs to know nothing else about the trade. Importing this file loads no heavy library.
Over-range ("open") is infinity, for resistance and insulation. Meter accuracies are arguments with usual defaults.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble
from handsfree.trade import cautions, cooling, electrical, food, proof, pulldown, refrigerants, sensors, thermocouple
from handsfree.trade import uncertain as u

if TYPE_CHECKING:
    from handsfree.trade.uncertain import Value

FunctionResult = float | bool | str
VERDICTS = ("pass", "fail", "borderline")


@dataclass(frozen=True)
class Argument:
    """An argument: its name, its unit (as pint writes it; "text" for a word, "same" for the unit of the first)."""

    name: str
    unit: str
    default: float | str | None = None


@dataclass(frozen=True)
class Function:
    """A function by name. `result` is a unit, "truth", or "word" with the possible `words`.

    `repeats` are arguments that may follow any number of times, as a group, at least `groups` times.
    """

    name: str
    function: Callable[..., Any]
    arguments: tuple[Argument, ...]
    result: str
    does: str
    words: tuple[str, ...] = ()
    repeats: tuple[Argument, ...] = ()
    groups: int = 0


def _near(value: float, accuracy: float) -> Value:
    """A reading with an accuracy in its own unit; an over-range value stays as it is."""
    return value if math.isinf(value) else u.reading(value, u.Accuracy(absolute=accuracy))


def _share(value: float, percent: float) -> Value:
    return value if math.isinf(value) else u.reading(value, u.Accuracy(relative=percent / 100))


def _pairs(values: tuple[float, ...]) -> list[tuple[float, float]]:
    return list(zip(values[::2], values[1::2], strict=True))


def _suspect(shown: float, independent: float, accuracy: float) -> str:
    return str(sensors.which_is_wrong(shown, _near(independent, accuracy)).suspect)


def _suspect_beta(shown: float, measured: float, ohms: float, r25: float, beta: float, accuracy: float) -> str:
    curve = sensors.Beta(r25, 25.0, beta)
    return str(sensors.which_is_wrong(shown, _near(measured, accuracy), _share(ohms, 1.0), curve).suspect)


def _windings(common_start: float, common_run: float, start_run: float, frame: float, percent: float, plate: float) -> str:
    first, second, both = (_share(value, percent) for value in (common_start, common_run, start_run))
    return str(electrical.windings(first, second, both, frame, plate or None).verdict)


def _drop_percent(resting: float, starting: float) -> float:
    electrical.start_drop(resting, starting)  # refuses what cannot be
    return 100 * (resting - starting) / resting


C, V, A, OHM, MIN, TEXT = "degC", "volt", "ampere", "ohm", "minute", "text"
_PERCENT = Argument("accuracy", "percent", 1.0)
_KELVIN = Argument("accuracy", "delta_degC", 0.5)
_VALUE = (Argument("value", "any"), Argument("accuracy", "same"))
_TIMED = (Argument("minute", MIN), Argument("temperature", C))
_SUSPECTS = tuple(str(s) for s in sensors.Suspect)
_CURRENTS = tuple(str(s) for s in electrical.Current)
_SPLITS = tuple(str(s) for s in cooling.Split)
_GAS, _ALTITUDE = Argument("refrigerant", TEXT), Argument("altitude", "metre", 0.0)
_POINT = Argument("point", TEXT, "dew")

_LIST = (
    # limits
    Function("at_most", lambda v, a, high: str(u.hold_against(_near(v, a), high=high).verdict),
             (*_VALUE, Argument("limit", "same")),
             "word", "Whether a reading is surely at or below a limit.", VERDICTS),
    Function("at_least", lambda v, a, low: str(u.hold_against(_near(v, a), low=low).verdict),
             (*_VALUE, Argument("limit", "same")),
             "word", "Whether a reading is surely at or above a limit.", VERDICTS),
    Function("within", lambda v, a, low, high: str(u.hold_against(_near(v, a), low, high).verdict),
             (*_VALUE, Argument("low", "same"), Argument("high", "same")),
             "word", "Whether a reading is surely between two limits.", VERDICTS),
    # sensors
    Function("thermistor", lambda r, r25, beta: sensors.Beta(r25, 25.0, beta).celsius(r),
             (Argument("resistance", OHM), Argument("at_25", OHM), Argument("beta", "kelvin")),
             C, "Temperature of a thermistor from its resistance."),
    Function("thermistor_ohms", lambda t, r25, beta: sensors.Beta(r25, 25.0, beta).ohms(t),
             (Argument("temperature", C), Argument("at_25", OHM), Argument("beta", "kelvin")),
             OHM, "Resistance that a thermistor should read at a temperature."),
    Function("sensor_offset", sensors.offset_to_set,
             (Argument("shown", C), Argument("measured", C), Argument("set_now", "delta_degC", 0.0)),
             "delta_degC", "Offset to set, so that the controller shows what was measured beside its sensor."),
    Function("pt100", lambda r: sensors.Platinum(100.0).celsius(r), (Argument("resistance", OHM),),
             C, "Temperature of a Pt100 sensor from its resistance."),
    Function("pt1000", lambda r: sensors.Platinum(1000.0).celsius(r), (Argument("resistance", OHM),),
             C, "Temperature of a Pt1000 sensor from its resistance."),
    Function("thermocouple_k", lambda mv, j: thermocouple.celsius("K", mv, j),
             (Argument("voltage", "millivolt"), Argument("junction", C, 0.0)), C, "Temperature of a type K thermocouple."),
    Function("thermocouple_t", lambda mv, j: thermocouple.celsius("T", mv, j),
             (Argument("voltage", "millivolt"), Argument("junction", C, 0.0)), C, "Temperature of a type T thermocouple."),
    Function("sensor_suspect", _suspect, (Argument("shown", C), Argument("measured", C), _KELVIN),
             "word", "Whether the shown temperature or the cabinet is wrong.", _SUSPECTS),
    Function("sensor_suspect_by_ohms", _suspect_beta,
             (Argument("shown", C), Argument("measured", C), Argument("resistance", OHM), Argument("at_25", OHM),
              Argument("beta", "kelvin"), _KELVIN),
             "word", "Which is wrong: the sensor, the controller or the cabinet.", _SUSPECTS),
    Function("shown_makes_sense", lambda shown, room, warm: sensors.shown_makes_sense(shown, room, bool(warm)),
             (Argument("shown", C), Argument("room", C), Argument("stock_is_warm", "truth")),
             "truth", "False when the shown temperature points at the sensor."),
    # cooling
    Function("run_fraction", cooling.run_time_fraction, (Argument("on", MIN), Argument("off", MIN)),
             "dimensionless", "Share of the time that the compressor runs."),
    Function("evaporator_split", lambda i, o, a: str(cooling.evaporator_split(_near(i, a), _near(o, a))),
             (Argument("air_in", C), Argument("air_out", C), _KELVIN),
             "word", "Judges the air's drop in temperature across the evaporator.", _SPLITS),
    Function("condenser_state", lambda t, i, a, c: cooling.condenser_state(_near(t, a), _near(i, a), c),
             (Argument("condensing", C), Argument("air_in", C), _KELVIN, Argument("cabinet", C, cooling.LOAD_FROM)),
             "word", "Judges how far the condenser is above the air.", ("clean", "suspect", "dirty", "borderline")),
    Function("setting_advice", cooling.setting_advice, (Argument("setting", C),),
             "word", "Judges the setting of a drinks cabinet.", ("too cold", "normal", "too warm")),
    Function("compressor_by_touch", cooling.compressor_by_touch, (Argument("touch", TEXT),),
             "word", "What a cool, warm or very hot compressor says.", ("not running", "running normally", "overworked")),
    Function("dew_point", cooling.dew_point, (Argument("air", C), Argument("humidity", "percent")),
             C, "Temperature at which the air wets a surface."),
    Function("fill_hours", cooling.fill_hours,
             (Argument("mass", "kilogram"), Argument("warm", C), Argument("cold", C), Argument("capacity", "watt"),
              Argument("load", "watt", 0.0)), "hour", "Hours to cool a fill, at the least."),
    Function("fill_energy", cooling.fill_kilowatt_hours,
             (Argument("mass", "kilogram"), Argument("warm", C), Argument("cold", C)),
             "kilowatt_hour", "Rough electrical energy to cool a fill."),
    Function("pull_down", lambda target, *rows: str(pulldown.fit(_pairs(rows), target).outlook), (Argument("target", C),),
             "word", "What timed readings say about reaching a target.", tuple(str(o) for o in pulldown.Outlook), _TIMED, 2),
    Function("pull_down_chance", lambda target, *rows: pulldown.fit(_pairs(rows), target).chance, (Argument("target", C),),
             "dimensionless", "Probability that the cabinet reaches the target at all.", (), _TIMED, 2),
    Function("pull_down_settles", lambda target, *rows: pulldown.fit(_pairs(rows), target).settle, (Argument("target", C),),
             C, "Temperature at which the cabinet is likely to settle.", (), _TIMED, 2),
    Function("pull_down_left", lambda target, *rows: 60 * proof.hours_left(_pairs(rows), target), (Argument("target", C),),
             MIN, "Likely minutes from the last reading to the upper edge of a band.", (), _TIMED, 2),
    Function("cold_proof", lambda low, high, a, *rows: str(proof.proof(_pairs(rows), low, high, a)),
             (Argument("low", C), Argument("high", C), Argument("accuracy", "delta_degC")),
             "word", "Whether timed readings prove a cabinet cold, on both sides of its band.",
             tuple(str(o) for o in proof.Cold), _TIMED, 2),
    Function("cold_hours", lambda high, a, *rows: proof.hours_left(_pairs(rows), high, a),
             (Argument("high", C), Argument("accuracy", "delta_degC")),
             "hour", "Likely hours to the band from above, of a cabinet that gets there.", (), _TIMED, 2),
    Function("timed_readings", lambda *rows: len(rows) / 2, (), "dimensionless", "How many timed readings there are.",
             (), _TIMED, 0),
    # electrical
    Function("supply_en50160", lambda v, n, p: str(electrical.supply(_share(v, p), n, "EN 50160").verdict),
             (Argument("voltage", V), Argument("nominal", V), _PERCENT),
             "word", "Supply voltage against EN 50160.", VERDICTS),
    Function("supply_ansi_a", lambda v, n, p: str(electrical.supply(_share(v, p), n, "ANSI C84.1 A").verdict),
             (Argument("voltage", V), Argument("nominal", V), _PERCENT),
             "word", "Supply voltage against ANSI C84.1 A.", VERDICTS),
    Function("supply_state", lambda v, n, p: str(electrical.supply_system(_share(v, p), n).verdict),
             (Argument("voltage", V), Argument("system", V), _PERCENT),
             "word", "Voltage at an outlet against the limits of its nominal system.", VERDICTS),
    Function("current_state", lambda a, plate, p: str(electrical.running_current(_share(a, p), plate)),
             (Argument("current", A), Argument("plate", A), Argument("accuracy", "percent", 2.0)),
             "word", "Judges a running current against the plate.", _CURRENTS),
    Function("windings_state", _windings,
             (Argument("common_start", OHM), Argument("common_run", OHM), Argument("start_run", OHM),
              Argument("frame", "megaohm", math.inf), _PERCENT, Argument("plate", V, 0.0)),
             "word", "Judges the windings of a compressor.", tuple(str(w) for w in electrical.Windings)),
    Function("winding_temperature", electrical.winding_temperature,
             (Argument("cold_resistance", OHM), Argument("cold", C), Argument("hot_resistance", OHM)),
             C, "Mean temperature of a copper winding from its resistance."),
    Function("insulation_state", lambda m, p: str(electrical.insulation(_share(m, p)).verdict),
             (Argument("resistance", "megaohm"), Argument("accuracy", "percent", 5.0)),
             "word", "Insulation to the frame against the least permitted.", VERDICTS),
    Function("capacitor_state", lambda m, n, t, p: str(electrical.capacitor(_share(m, p), n, t, t).verdict),
             (Argument("capacitance", "microfarad"), Argument("plate", "microfarad"), Argument("tolerance", "percent", 6.0),
              Argument("accuracy", "percent", 2.0)), "word", "A capacitance against its plate.", VERDICTS),
    Function("capacitor_by_current", electrical.capacitance_from_current,
             (Argument("current", A), Argument("voltage", V), Argument("frequency", "hertz")),
             "microfarad", "Capacitance from the current that a capacitor takes."),
    Function("discharge_seconds", electrical.discharge_seconds,
             (Argument("capacitance", "microfarad"), Argument("resistor", OHM), Argument("voltage", V)),
             "second", "Seconds until a capacitor is safe across a resistor."),
    Function("start_drop", lambda r, s, p: str(electrical.start_drop(_share(r, p), _share(s, p)).verdict),
             (Argument("resting", V), Argument("starting", V), Argument("accuracy", "percent", 0.5)),
             "word", "Drop of voltage on start; a fail says a long lead or a poor joint.", VERDICTS),
    Function("start_drop_percent", _drop_percent, (Argument("resting", V), Argument("starting", V)),
             "percent", "Drop of voltage on start, as a share of the resting voltage."),
    Function("heater_ohms", electrical.heater_ohms, (Argument("power", "watt"), Argument("voltage", V)),
             OHM, "Resistance that a heater of this plate should read."),
    # refrigerants
    Function("saturation_pressure", refrigerants.saturation_pressure, (_GAS, Argument("temperature", C), _POINT),
             "kilopascal", "Absolute saturation pressure of a refrigerant."),
    Function("saturation_temperature", refrigerants.saturation_temperature,
             (_GAS, Argument("pressure", "kilopascal"), _POINT),
             C, "Saturation temperature of a refrigerant at an absolute pressure."),
    Function("superheat", refrigerants.superheat, (_GAS, Argument("suction", "kilopascal"), Argument("line", C), _ALTITUDE),
             "delta_degC", "Superheat above the dew point, from a suction gauge."),
    Function("subcooling", refrigerants.subcooling, (_GAS, Argument("liquid", "kilopascal"), Argument("line", C), _ALTITUDE),
             "delta_degC", "Subcooling below the bubble point, from a liquid gauge."),
    Function("resting_state", refrigerants.resting_verdict,
             (_GAS, Argument("gauge", "kilopascal"), Argument("room", C), _ALTITUDE),
             "word", "A gauge at rest against the room's temperature.", ("low", "normal", "high")),
    Function("flammable", lambda name: refrigerants.refrigerant(name).safety != "A1", (_GAS,),
             "truth", "Whether a refrigerant burns, by its ISO 817 class."),
    # food and lifting
    Function("food_decision", lambda accuracy, *rows: str(food.decide(_pairs(rows), accuracy=accuracy).decision),
             (Argument("accuracy", "delta_degC"),), "word", "Keep, discard or ask, from timed product readings.",
             tuple(str(f) for f in food.Food), _TIMED, 1),
    Function("food_minutes_above", lambda accuracy, *rows: food.time_above(_pairs(rows), accuracy=accuracy).most,
             (Argument("accuracy", "delta_degC"),), MIN, "Most minutes above five degrees Celsius that the readings allow.",
             (), _TIMED, 1),
    Function("food_verdict", lambda since, accuracy, *rows: str(food.verdict(since, _pairs(rows), accuracy)),
             (Argument("minutes_since_cold", MIN), Argument("accuracy", "delta_degC")),
             "word", "Keep, discard or ask, from every reading of the visit.", tuple(str(f) for f in food.Food), _TIMED, 1),
    Function("vending_must_stop", food.vending_must_stop, (Argument("minutes_above", MIN),),
             "truth", "Whether a vending machine must stop, by its minutes above five degrees Celsius after filling."),
    Function("people_to_lift", cautions.people_to_lift, (Argument("mass", "kilogram"),),
             "dimensionless", "How many people lift a mass."),
)  # fmt: skip
CALLS: dict[str, Function] = {entry.name: entry for entry in _LIST}


def call(name: str, *values: float | str) -> FunctionResult:
    """Call a function of the table. Raises Trouble for an unknown name, a wrong count or a wrong kind of argument."""
    if name not in CALLS:
        raise Trouble(f"There is no function {name!r}: a decision may call {', '.join(CALLS)}.")
    entry = CALLS[name]
    given = _fill(entry, values)
    for value, argument in zip(given, _expected(entry, len(given)), strict=True):
        wants_text = argument.unit == TEXT
        if isinstance(value, str) != wants_text or (isinstance(value, float) and math.isnan(value)):
            raise Trouble(f"The {argument.name} of {name} must be {'a word' if wants_text else 'a number'}.")
    result = entry.function(*given)
    return result if isinstance(result, bool | str) else float(result)


def _fill(entry: Function, values: tuple[float | str, ...]) -> tuple[float | str, ...]:
    """The values, with defaults appended where arguments were left out; Trouble when the count is wrong."""
    fixed = len(entry.arguments)
    missing = [argument.default for argument in entry.arguments[len(values) :]]
    filled = (*values, *(default for default in missing if default is not None))
    extra = len(filled) - fixed
    size = len(entry.repeats)
    whole = extra == 0 if not size else extra >= entry.groups * size and extra % size == 0
    if not whole:
        names = ", ".join(a.name for a in entry.arguments)
        more = f", then pairs of {' and '.join(a.name for a in entry.repeats)}" if size else ""
        raise Trouble(f"The function {entry.name} takes {names}{more}: {len(values)} values were given.")
    return filled


def _expected(entry: Function, count: int) -> tuple[Argument, ...]:
    rest = count - len(entry.arguments)
    return entry.arguments + entry.repeats * (rest // len(entry.repeats) if entry.repeats else 0)
