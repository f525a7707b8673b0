"""The reference of decisions: what an expression may hold, and every function with an example that is worked out here."""

from __future__ import annotations

from handsfree.handbook.markdown import code, table, text
from handsfree.language.quantities import symbol
from handsfree.procedure.evaluation import value_of
from handsfree.procedure.expressions import parse_expression
from handsfree.procedure.functions import BUILT_IN, Parameter, Signature, signature, usual_calls

#: A call of each function, with numbers in place of readings. Each is worked out when the page is made.
EXAMPLES: tuple[str, ...] = (
    "celsius(41)", "fahrenheit(5)", "celsius_steps(9)", "psi_to_kilopascal(10)", "bar_to_kilopascal(1.5)",
    "at_most(38, 1, 41)", "at_least(40.5, 1, 41)", "within(1.4, 0.05, 1, 2)",
    "thermistor(5000, 10000, 3950)", "thermistor_ohms(5, 10000, 3950)", "pt100(101.95)", "pt1000(1019.5)",
    "sensor_offset(3, 5)",
    "thermocouple_k(0.4)", "thermocouple_t(0.4)", "sensor_suspect(12, 5, 0.5)",
    "sensor_suspect_by_ohms(12, 5, 25000, 10000, 3950)", "shown_makes_sense(30, 21, False)", "run_fraction(40, 10)",
    "evaporator_split(6, -2)", "condenser_state(38, 21)", "setting_advice(6)", 'compressor_by_touch("very hot")',
    "dew_point(21, 60)", "fill_hours(60, 24, 5, 200)", "fill_energy(60, 24, 5)",
    "pull_down(5, 0, 20, 20, 12, 40, 9)", "pull_down_chance(5, 0, 20, 20, 12, 40, 9)",
    "pull_down_settles(5, 0, 20, 20, 12, 40, 9)", "pull_down_left(8, 0, 20, 20, 12, 40, 9)",
    "cold_proof(4, 8, 0.5, 0, 6, 15, 6, 30, 6)", "cold_hours(8, 0.5, 0, 20, 20, 12, 40, 9)",
    "timed_readings(0, 6, 15, 6, 30, 6)", "supply_en50160(226, 230)", "supply_ansi_a(117, 120)", "supply_state(190, 208)",
    "current_state(1.4, 1.5)", "windings_state(12, 8, 20, 1000, 1, 230)", "winding_temperature(10, 20, 12)",
    "insulation_state(0.4)", "capacitor_state(11, 12)", "capacitor_by_current(1.2, 230, 50)",
    "discharge_seconds(12, 20000, 325)", "start_drop(230, 200)", "start_drop_percent(230, 200)", "heater_ohms(150, 230)",
    'saturation_pressure("R290", 5)', 'saturation_temperature("R290", 550)', 'superheat("R290", 250, 5)',
    'subcooling("R290", 1200, 30)', 'resting_state("R290", 700, 21)', 'flammable("R290")',
    "food_decision(0.5, 0, 4, 20, 4)", "food_minutes_above(0.5, 0, 4, 60, 8)", "food_verdict(20, 0.5, 0, 4, 20, 4)",
    "vending_must_stop(45)", "people_to_lift(27)",
)  # fmt: skip


def functions() -> str:
    """Every function: what it says, what it takes, what it gives, and an example with its value."""
    known = {**BUILT_IN, **usual_calls()}
    rows = []
    for example in EXAMPLES:
        name = example.partition("(")[0]
        shape = signature(known[name])
        does = text(getattr(known[name], "does", "") or _converts(shape))
        rows.append((f"{code(name)}<br>{code(example)} is {worked(example)}", does, takes(shape), gives(shape)))
    return table(("function, with an example", "what it says", "takes", "gives"), rows)


def worked(example: str) -> str:
    """The value of an example, as a reader writes it."""
    value = value_of(parse_expression(example), {})
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    assert value is not None, f"{example} has no value"
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def takes(shape: Signature) -> str:
    each = [_parameter(one) for one in shape.parameters]
    if shape.repeats:
        first = "then pairs" if each else "pairs"
        each.append(f"{first} of {' and '.join(one.name for one in shape.repeats)}, or {code('rows(...)')}")
    return "; ".join(each) or "nothing"


def _parameter(one: Parameter) -> str:
    name = one.name.replace("_", " ")
    unit = "" if not one.unit else " in the same unit" if one.unit == "same" else f" in {symbol(one.unit).strip()}"
    kind = {"text": ", a word", "truth": ", true or false"}.get(one.what, unit)
    return f"{name}{kind}{'' if one.needed else ' (optional)'}"


def gives(shape: Signature) -> str:
    if shape.what == "text":
        return ", ".join(f'"{word}"' for word in shape.words or ())
    if shape.what == "truth":
        return "true or false"
    return f"a number in {symbol(shape.unit).strip()}" if shape.unit else "a number"


def _converts(shape: Signature) -> str:
    return f"Converts {symbol(shape.parameters[0].unit or '').strip()} to {symbol(shape.unit or '').strip()}."
