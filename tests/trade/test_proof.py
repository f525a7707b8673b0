"""What timed readings prove of cold: both sides of the band, slopes, and that nothing is called cold on hope."""

from __future__ import annotations

import math
import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.procedure.model import Decide
from handsfree.trade.proof import Cold, hours_left, proof, slope
from tests.bench import pulldown_hours
from tests.bench.cabinets_faults import FAULTS, sound
from tests.bench.cabinets_physics import is_well
from tests.shipped.conftest import book_named

Rows = list[tuple[float, float]]
DIFFERENTIAL = 3 / 1.8  # kelvin either side of a setting, 3 degF: common practice, no source


def rows(*fahrenheit: float, every: float = 15.0) -> Rows:
    return [(every * at, (one - 32) / 1.8) for at, one in enumerate(fahrenheit)]


def band(setting: float) -> tuple[float, float]:
    middle = (setting - 32) / 1.8
    return middle - DIFFERENTIAL, middle + DIFFERENTIAL


@pytest.mark.parametrize(
    ("fahrenheit", "setting", "says"),
    [
        ((38, 40, 42, 44), 43, {Cold.AGAIN}),
        ((38, 40, 42, 44, 47, 51), 43, {Cold.WARM, Cold.AGAIN}),
        ((26, 26, 26, 26), 43, {Cold.AGAIN}),  # a sound one with heavy stock warms by half a kelvin an hour
        ((26,) * 9, 43, {Cold.FROZEN}),
        ((26, 28, 30, 32), 43, {Cold.COMING}),
        ((46, 46, 46, 46), 46, {Cold.COLD}),
        ((46, 46, 46, 46), 43, {Cold.AGAIN}),
        ((43, 43, 43, 43), 43, {Cold.COLD}),
        ((60, 53, 47, 43), 43, {Cold.AGAIN, Cold.COMING}),
        ((60, 53, 47, 43, 42.5, 42), 43, {Cold.COLD}),
        ((75, 75, 75, 75, 75), 43, {Cold.WARM}),
        ((60, 60, 60.4, 60.4, 60.6, 60.6), 43, {Cold.WARM}),
        ((60, 62, 64, 66), 43, {Cold.WARM}),
        ((70, 68, 66, 64), 43, {Cold.COMING, Cold.AGAIN}),
        ((37, 37, 37, 37), 37, {Cold.COLD}),
        ((44, 44, 44, 44), 37, {Cold.WARM, Cold.AGAIN}),
    ],
)
def test_what_readings_prove(fahrenheit: tuple[float, ...], setting: float, says: set[Cold]) -> None:
    assert proof(rows(*fahrenheit), *band(setting), accuracy=1 / 1.8) in says


def test_two_readings_prove_nothing() -> None:
    assert proof(rows(43, 43), *band(43)) is Cold.AGAIN


def test_a_slope_has_its_sign_and_its_doubt() -> None:
    assert slope(rows(38, 40, 42, 44)).rises
    assert slope(rows(44, 42, 40, 38)).falls
    level = slope(rows(43, 43.2, 42.9, 43))
    assert not level.rises
    assert not level.falls
    assert slope(rows(43, 43), noise=0.3).doubt > slope(rows(43, 43, 43, 43), noise=0.3).doubt


@given(st.lists(st.floats(60, 90), min_size=3, max_size=8))
def test_nothing_far_above_its_band_is_ever_cold(values: list[float]) -> None:
    assert proof(rows(*values), *band(43)) is not Cold.COLD


@given(st.lists(st.floats(0, 36), min_size=3, max_size=8))
def test_nothing_below_its_band_is_ever_cold(values: list[float]) -> None:
    assert proof(rows(*values), *band(43)) is not Cold.COLD


def measured(name: str, seed: int, hours: float) -> tuple[Rows, float, bool]:
    """Readings between the bottles of a cabinet of physics that was warm when its plug went in; its setting; is it well."""
    rng = random.Random(f"proof/{name}/{seed}")
    cabinet = FAULTS[name][1](sound(rng), rng)
    cabinet.air = cabinet.stock = cabinet.sensed = min(22.0, cabinet.room)
    cabinet.minute = 0.0
    well, found, bias = is_well(cabinet), [], rng.uniform(-0.5, 0.5)
    for at in range(int(hours * 4) + 1):
        cabinet.pass_to(15.0 * at)
        found.append((15.0 * at, round(0.5 * cabinet.air + 0.5 * cabinet.stock + bias + rng.gauss(0, 0.2), 1)))
    return found, cabinet.setting, well


@pytest.mark.parametrize("name", ["none", "loose_panel"])
def test_a_sound_cabinet_of_physics_is_not_condemned(name: str) -> None:
    for seed in range(12):
        found, setting, well = measured(name, seed, 6)
        assert well
        for upto in range(3, len(found)):
            said = proof(found[:upto], setting - DIFFERENTIAL, setting + DIFFERENTIAL)
            assert said is not Cold.WARM, (seed, found[:upto])


@pytest.mark.parametrize("name", ["not_in_cooling", "relay_open", "start_device", "low_charge", "set_too_cold"])
def test_a_cabinet_of_physics_that_does_not_cool_is_never_cold(name: str) -> None:
    for seed in range(8):
        found, _, well = measured(name, seed, 3)
        target = 6.1
        if not well:
            said = [proof(found[:upto], target - DIFFERENTIAL, target + DIFFERENTIAL) for upto in range(3, len(found))]
            assert Cold.COLD not in said, (seed, found)


def test_a_cabinet_that_warms_slowly_from_frozen_is_not_said_to_stay_so() -> None:
    """Sound again after a welded relay, its heavy stock at -5 degrees: it takes hours, and nothing is wrong with it."""
    for seed in range(8):
        rng = random.Random(f"thaw/{seed}")
        cabinet = sound(rng)
        cabinet.stock_joules = 700e3
        cabinet.air = cabinet.stock = cabinet.sensed = -5.0
        cabinet.minute, found = 0.0, []
        for at in range(9):
            cabinet.pass_to(25.0 * at)
            found.append((25.0 * at, round(0.5 * cabinet.air + 0.5 * cabinet.stock + rng.gauss(0, 0.2), 1)))
        said = [proof(found[:upto], cabinet.setting - DIFFERENTIAL, cabinet.setting + DIFFERENTIAL) for upto in range(3, 10)]
        assert Cold.FROZEN not in said, found


def test_hours_to_the_band_are_those_of_the_law() -> None:
    """Newton's law towards two kelvin below a setting of 5.3: 22 degrees, a time constant of two hours, 90 minutes."""
    falling = [(15.0 * at, 3.3 + 18.7 * math.exp(-15.0 * at / 120)) for at in range(7)]
    assert hours_left(falling, 7.0) == pytest.approx(2.0 * math.log(18.7 / 3.7) - 1.5, abs=0.25)


def test_the_quick_fall_of_the_air_is_not_carried_on() -> None:
    """Air falls 6 kelvin in the first half hour, the stock then 1.5 an hour: 14.4 degrees are some four hours from 7."""
    rows = [(0.0, 22.0), (25.0, 16.0), (50.0, 15.2), (75.0, 14.6)]
    assert 2.5 < hours_left(rows, 7.0) < 8.0


def test_hours_told_are_true_of_cabinets_of_an_ode_solver() -> None:
    """Sixty of scipy's; the whole count is `python -m tests.bench.pulldown_hours`."""
    made = pulldown_hours.counted(60, 31)
    for count in (3, 4, 5):
        row = made[count]
        assert 0.6 < row["ratio"] < 1.5, (count, row)
        assert row["covered"] >= 0.75, (count, row)
        assert row["condemned"] == 0, (count, row)
    assert sum(row["promised"] for row in made.values()) <= 4


def test_the_procedure_says_the_words_that_are_counted() -> None:
    book = book_named("prove-pull-down")
    how_long = book.at("prove-pull-down", "how-long")
    assert isinstance(how_long, Decide)
    goes = [(float(case.when.rsplit("<", 1)[1]), case.go) for case in how_long.cases]
    assert [below for below, _ in goes] == [below for below, _, _ in pulldown_hours.WORDS[:-1]]
    numbers = {"one": 1.0, "two": 2.0, "four": 4.0, "eight": 8.0}
    for (_, go), (_, low, high) in zip([*goes, (math.inf, how_long.otherwise)], pulldown_hours.WORDS, strict=True):
        said = book.at("prove-pull-down", go).say.split(".")[0]
        named = [numbers[word] for word in re.findall("[a-z]+", said) if word in numbers]
        assert named == [edge for edge in (low, high) if edge and math.isfinite(edge)], said
