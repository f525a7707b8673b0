"""The table of functions that decisions may call."""

from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest

from handsfree.errors import Trouble
from handsfree.trade.calls import CALLS, TEXT, call

# One ordinary call of every function, and what it gives: the values are worked out by other means in the tests of
# each part; here it is that names, orders and defaults are joined to the right ones.
EXAMPLES: dict[str, tuple[tuple[float | str, ...], float | bool | str]] = {
    "at_most": ((4.0, 0.5, 5.0), "pass"),
    "at_least": ((4.0, 0.5, 5.0), "fail"),
    "within": ((4.9, 0.5, 2.0, 5.0), "borderline"),
    "thermistor": ((10_000.0, 10_000.0, 3435.0), 25.0),
    "sensor_offset": ((3.0, 5.0), 2.0),
    "thermistor_ohms": ((25.0, 10_000.0, 3435.0), 10_000.0),
    "pt100": ((138.51,), 100.0),
    "pt1000": ((1385.1,), 100.0),
    "thermocouple_k": ((4.096,), 100.0),
    "thermocouple_t": ((4.279,), 100.0),
    "sensor_suspect": ((6.0, 14.0), "sensor or controller"),
    "sensor_suspect_by_ohms": ((6.0, 25.0, 10_000.0, 10_000.0, 3435.0), "controller or wiring"),
    "shown_makes_sense": ((40.0, 22.0, True), False),
    "run_fraction": ((6.0, 18.0), 0.25),
    "evaporator_split": ((8.0, 1.0), "normal"),
    "condenser_state": ((50.0, 24.0), "dirty"),
    "setting_advice": ((6.1,), "normal"),
    "compressor_by_touch": (("cool",), "not running"),
    "dew_point": ((20.0, 100.0), 20.0),
    "fill_hours": ((100.0, 25.0, 5.0, 232.22), 10.0),
    "fill_energy": ((100.0, 25.0, 5.0), 8360 / 3600 / 1.5),
    "pull_down": ((5.0, 0.0, 9.0, 20.0, 5.0, 40.0, 3.0), "there"),
    "pull_down_chance": ((5.0, 0.0, 20.0, 20.0, 10.0, 40.0, 5.0, 60.0, 2.5), 1.0),
    "pull_down_settles": ((0.0, 0.0, 20.0, 1500.0, 10.0, 2000.0, 10.0, 2500.0, 10.0), 10.0),
    "pull_down_left": ((5.0, 0.0, 9.0, 20.0, 5.0, 40.0, 3.0), 0.0),
    "cold_proof": ((4.4, 7.8, 0.5, 0.0, 6.1, 15.0, 6.1, 30.0, 6.1), "cold"),
    "cold_hours": ((7.0, 0.5, 0.0, 22.0, 30.0, 17.86, 60.0, 14.64, 90.0, 12.13), 1.74),  # 3.3 + 18.7 exp(-t / 120)
    "timed_readings": ((0.0, 6.1, 15.0, 6.1), 2.0),
    "food_verdict": ((20.0, 0.5, 0.0, 3.0, 20.0, 3.0), "keep"),
    "supply_en50160": ((230.0, 230.0), "pass"),
    "supply_ansi_a": ((100.0, 120.0), "fail"),
    "supply_state": ((100.0, 120.0), "fail"),
    "current_state": ((2.0, 2.0), "normal"),
    "windings_state": ((20.0, math.inf, math.inf), "open"),
    "winding_temperature": ((10.0, 20.0, 20.0), 274.5),
    "insulation_state": ((math.inf,), "pass"),
    "capacitor_state": ((9.0, 15.0), "fail"),
    "capacitor_by_current": ((2 * math.pi * 50 * 1e-5 * 230, 230.0, 50.0), 10.0),
    "discharge_seconds": ((50.0, 20_000.0, 34.0 * math.e), 1.0),
    "start_drop": ((230.0, 190.0), "fail"),
    "start_drop_percent": ((200.0, 180.0), 10.0),
    "heater_ohms": ((200.0, 230.0), 264.5),
    "saturation_pressure": (("R-134a", 0.0), 292.8),
    "saturation_temperature": (("R-134a", 292.8), 0.0),
    "superheat": (("R-134a", 292.8 - 101.325, 6.0), 6.0),
    "subcooling": (("R-134a", 292.8 - 101.325, -4.0), 4.0),
    "resting_state": (("R-290", 735.0, 20.0), "normal"),
    "flammable": (("R-600a",), True),
    "food_decision": ((0.5, 0.0, 3.0, 20.0, 3.0), "keep"),
    "food_minutes_above": ((0.0, 0.0, 9.0, 30.0, 9.0), 30.0),
    "vending_must_stop": ((31.0,), True),
    "people_to_lift": ((30.0,), 2.0),
}


def test_every_function_has_an_example() -> None:
    assert set(EXAMPLES) == set(CALLS)


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples(name: str) -> None:
    values, expected = EXAMPLES[name]
    got = call(name, *values)
    if isinstance(expected, bool | str):
        assert got == expected
        assert isinstance(got, type(expected))
    else:
        assert got == pytest.approx(expected, rel=0.02, abs=0.1)
    entry = CALLS[name]
    assert bool(entry.words) == (entry.result == "word")
    assert entry.result != "word" or got in entry.words
    assert (entry.result == "truth") == isinstance(got, bool)


def test_units_are_pints_own() -> None:
    registry = pint.UnitRegistry()
    for entry in CALLS.values():
        for argument in (*entry.arguments, *entry.repeats):
            if argument.unit not in (TEXT, "any", "same", "truth"):
                registry.Unit(argument.unit)
        if entry.result not in ("word", "truth"):
            registry.Unit(entry.result)
        assert entry.does.endswith(".")


def test_importing_the_table_loads_nothing_heavy() -> None:
    heavy = "numpy", "scipy", "CoolProp", "uncertainties", "pint", "yaml"
    code = f"import sys, handsfree.trade.calls; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    "bad",
    [
        ("no_such",),
        ("pt100",),
        ("pt100", 100.0, 5.0),
        ("pt100", "R-290"),
        ("flammable", 134.0),
        ("pull_down", 5.0, 0.0, 20.0),
        ("pull_down", 5.0, 0.0, 20.0, 10.0),
        ("pt100", math.nan),
        ("pt100", -5.0),
        ("dew_point", 20.0, 140.0),
        ("thermistor", -1.0, 10_000.0, 3435.0),
        ("at_most", -300.0, -1.0, 5.0),
        ("superheat", "R-9999", 200.0, 5.0),
    ],
)
def test_bad_calls_are_trouble(bad: tuple[str | float, ...]) -> None:
    with pytest.raises(Trouble):
        call(str(bad[0]), *bad[1:])
