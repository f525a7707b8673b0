"""Formulas worked out a second time, by another hand: from the physics, a published table or a library of its own.

Each check names its source. "From memory" is a published value that was not read again here. "Common practice" has no
source. All readings are invented.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress, norm

from handsfree.errors import Trouble
from handsfree.trade import cooling, electrical, food, logged, logs, proof, pulldown, refrigerants, sensors, thermocouple
from handsfree.trade import uncertain as u
from handsfree.trade.calls import call
from handsfree.trade.reckon import reckon
from handsfree.trade.uncertain import Accuracy, reading

INF, NAN = math.inf, math.nan


def refused(told: Callable[[], object], says: str = ".") -> None:
    with pytest.raises(Trouble, match=says) as caught:
        told()
    assert str(caught.value).endswith(".")


# ---- moist air ------------------------------------------------------------------------------------------------------


def test_air_drier_than_the_formula_reaches_has_no_dew_point() -> None:
    for humidity in (1e-300, 1e-6, 0.01):  # the inverse would tend to -243 degrees Celsius, its pole
        refused(lambda humidity=humidity: cooling.dew_point(25, humidity), "hygrometer")


def test_a_fill_of_water() -> None:
    heat = PropsSI("H", "T", 298.15, "P", 101325, "Water") - PropsSI("H", "T", 278.15, "P", 101325, "Water")
    assert cooling.fill_kilojoules(1, 25, 5) == pytest.approx(heat / 1000, rel=0.005)
    # 334 kJ/kg of freezing (from memory) are as much as 80 K of cooling: a formula without them must not answer.
    for cold in (-0.1, -18.0):
        refused(lambda cold=cold: cooling.fill_hours(80, 25, cold, 200), "freez")


# ---- electrical -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "nominal", "low", "high"),
    # ANSI C84.1, service voltage, ranges A and B (from memory); EN 50160: ten percent (from memory).
    [("ANSI C84.1 A", 240, 228, 252), ("ANSI C84.1 B", 240, 220, 254), ("EN 50160", 220, 198, 242)],
)
def test_both_ends_of_a_supply_band(name: str, nominal: float, low: float, high: float) -> None:
    said = [str(electrical.supply(v, nominal, name).verdict) for v in (low - 0.01, low + 0.01, high - 0.01, high + 0.01)]
    assert said == ["fail", "pass", "pass", "fail"]
    refused(lambda: electrical.supply(NAN, nominal, name))


def test_shares_of_the_plate_from_below_and_above() -> None:
    # 50, 110 and 300 percent of the plate: common practice, no source.
    for at, under, over in ((1.0, "low", "normal"), (2.2, "normal", "high"), (6.0, "high", "locked rotor")):
        assert electrical.running_current(at * 0.999, 2.0) == under
        assert electrical.running_current(at * 1.001, 2.0) == over


def test_a_locked_rotor_current_near_the_running_one_is_misread() -> None:
    # 70 percent of 2.5 A lies below the plate's own 2 A: a sound current would be "locked rotor".
    for locked in (2.0, 2.5, NAN, INF, 0.0):
        refused(lambda locked=locked: electrical.running_current(1.9, 2.0, locked))
    assert electrical.running_current(1.9, 2.0, 8.0) == "normal"


def test_pins_of_windings_that_do_not_add_up_have_no_names() -> None:
    # Kirchhoff: start to run is run and start in series, 3 ohm here and not 50.
    refused(lambda: electrical.terminals(1.0, 2.0, 50.0), "sum")
    assert electrical.terminals(1.0, 2.0, 3.0) == {"common": "b", "run": "a", "start": "c"}


def test_a_winding_is_neither_frozen_nor_molten() -> None:
    # IEC 60034-1: R2 / R1 = (k + t2) / (k + t1), k = 225 for aluminium (from memory).
    assert electrical.winding_temperature(10, 20, 12, "aluminium") == pytest.approx(69.0)
    for hot in (0.1, 6.0, 25.0, 1000.0):  # -232, -81, 402 and 25216 degrees Celsius
        refused(lambda hot=hot: call("winding_temperature", 10.0, 20.0, hot), "take both again")


def test_a_drop_is_a_share_of_the_resting_voltage() -> None:
    # 23 of 230 V is a tenth of the resting voltage; of the voltage on start it would be 11.1 percent.
    assert call("start_drop_percent", 230.0, 207.0) == pytest.approx(10.0)
    assert [str(electrical.start_drop(230.0, v).verdict) for v in (207.1, 206.9)] == ["pass", "fail"]


# ---- sensors --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("celsius", "ohms"),
    # IEC 60751, table of the Pt100 (from memory).
    [(-150, 39.72), (-80, 68.33), (-40, 84.27), (-10, 96.09), (-1, 99.61), (1, 100.39), (10, 103.90), (25, 109.73),
     (40, 115.54), (60, 123.24), (150, 157.33), (300, 212.05), (400, 247.09), (500, 280.98)],
)  # fmt: skip
def test_more_of_the_platinum_table(celsius: float, ohms: float) -> None:
    assert sensors.Platinum().ohms(celsius) == pytest.approx(ohms, abs=0.00501)
    assert call("pt1000", 10 * ohms) == pytest.approx(celsius, abs=0.02)


def test_nought_degrees_is_not_minus_nought_and_no_sensor_is_without_a_resistance() -> None:
    assert f"{call('pt100', 100.0):.5g}" == "0"
    for zero in (0.0, -100.0, NAN, INF):
        refused(lambda zero=zero: sensors.Platinum(zero))


@pytest.mark.parametrize(
    ("ohms", "at_25", "beta"),
    [(9e3, 0.0, 3435.0), (9e3, -1e4, 3435.0), (9e3, INF, 3435.0), (9e3, 1e4, 0.0), (9e3, 1e4, -3435.0), (9e3, 1e4, INF),
     (1.0, 1e4, 3435.0), (1e9, 1e4, 3435.0), (0.0, 1e4, 3435.0), (INF, 1e4, 3435.0)],
)  # fmt: skip
def test_what_is_no_thermistor_gets_a_sentence(ohms: float, at_25: float, beta: float) -> None:
    """A resistance of nought divides by it; a beta below nought is a PTC; 1 ohm would be 1213 degrees Celsius."""
    refused(lambda: call("thermistor", ohms, at_25, beta))
    if (at_25, beta) != (1e4, 3435.0):
        refused(lambda: call("thermistor_ohms", 5.0, at_25, beta))
        refused(lambda: call("sensor_suspect_by_ohms", 6.0, 14.0, 9e3, at_25, beta))


def test_beta_by_hand_and_its_sensitivity() -> None:
    # R = R25 exp(beta (1/T - 1/T25)); the derivative dT/dR = -T^2 / (beta R) carries the doubt (GUM, 5.1.2).
    beta = sensors.Beta(1e4, 25.0, 3435.0)
    for celsius in (-80.0, -40.0, 0.0, 25.0, 100.0, 200.0):
        ohms = 1e4 * math.exp(3435 * (1 / (celsius + 273.15) - 1 / 298.15))
        assert beta.ohms(celsius) == pytest.approx(ohms)
        assert beta.celsius(ohms) == pytest.approx(celsius, abs=1e-6)
    doubt = u.spread(u.carry(beta.celsius, reading(1e4, "1 %")))
    assert doubt == pytest.approx(298.15**2 / 3435 * 0.01 / math.sqrt(3), rel=1e-5)


@pytest.mark.parametrize(("kind", "highest"), [("K", 1372.0), ("T", 400.0)])
def test_thermocouples_rise_and_name_their_junction(kind: str, highest: float) -> None:
    # ITS-90 reference functions rise throughout; nought volts means the junction's own temperature (Seebeck).
    volts = [thermocouple.millivolts(kind, -270 + (highest + 270) * k / 2000) for k in range(2001)]
    assert all(a < b for a, b in pairwise(volts))
    for junction in (-20.0, 0.0, 25.0, 50.0):
        assert thermocouple.celsius(kind, 0.0, junction) == pytest.approx(junction, abs=1e-6)
    for junction in (NAN, INF, -300.0):
        refused(lambda junction=junction: thermocouple.celsius(kind, 1.0, junction))


# ---- refrigerants ---------------------------------------------------------------------------------------------------


def test_iso_2533_by_its_own_formula() -> None:
    # p = 101.325 (1 - 0.0065 h / 288.15)^(g / (0.0065 R)); 22.632 kPa at 11 km (from memory).
    for metres in (-500.0, 0.0, 1609.0, 3500.0, 11_000.0):
        own = 101.325 * (1 - 0.0065 * metres / 288.15) ** (9.80665 / (0.0065 * 287.05287))
        assert refrigerants.atmosphere(metres) == pytest.approx(own, rel=1e-6)
    assert refrigerants.atmosphere(11_000) == pytest.approx(22.632, abs=0.001)


@pytest.mark.parametrize(("name", "fluid"), [("R-290", "R290"), ("R-134a", "R134a"), ("R-448A", "R448A.mix")])
def test_gauges_on_a_mountain_are_coolprops(name: str, fluid: str) -> None:
    air = 101.325 * (1 - 0.0065 * 1609 / 288.15) ** 5.25588
    dew = PropsSI("T", "P", (200 + air) * 1000, "Q", 1, f"HEOS::{fluid}") - 273.15
    bubble = PropsSI("T", "P", (900 + air) * 1000, "Q", 0, f"HEOS::{fluid}") - 273.15
    assert call("superheat", name, 200.0, 12.0, 1609.0) == pytest.approx(12 - dew, abs=0.005)
    assert call("subcooling", name, 900.0, 12.0, 1609.0) == pytest.approx(bubble - 12, abs=0.005)
    low = PropsSI("P", "T", 273.15 + 21, "Q", 1, f"HEOS::{fluid}") / 1000 - air
    high = PropsSI("P", "T", 273.15 + 23, "Q", 0, f"HEOS::{fluid}") / 1000 - air
    rest = refrigerants.resting_pressure(name, 22.0, 1609.0)
    assert (rest.low_gauge, rest.high_gauge) == pytest.approx((low, high), abs=0.05)


@pytest.mark.parametrize("name", refrigerants.REFRIGERANTS)
def test_pressure_rises_to_the_last_that_is_told(name: str) -> None:
    known, told = refrigerants.refrigerant(name), []
    for step in range(400):
        try:
            told.append(refrigerants.saturation_pressure(name, -56.0 + step * 0.5))
        except Trouble:
            break
    assert all(a < b for a, b in pairwise(told))
    assert told[-1] < known.critical_kilopascals * 1.001
    refused(lambda: refrigerants.saturation_pressure(name, known.critical_celsius + 0.1))


def test_every_safety_class() -> None:
    # ISO 817 and ASHRAE 34 (from memory).
    burns = {"A3": {"R-290", "R-600a", "R-1270"}, "A2L": {"R-1234yf", "R-454C", "R-455A"}}
    for name, known in refrigerants.REFRIGERANTS.items():
        assert known.safety == next((safety for safety, names in burns.items() if name in names), "A1")
        assert call("flammable", name) is (known.safety != "A1")


# ---- food -----------------------------------------------------------------------------------------------------------

ROWS = st.lists(st.tuples(st.integers(0, 600), st.floats(-5, 25)), min_size=1, max_size=8, unique_by=lambda row: row[0])


@given(ROWS, st.floats(0, 2))
def test_at_least_is_never_more_than_at_most(rows: list[tuple[float, float]], accuracy: float) -> None:
    # A probe moved to another bottle changes faster than stock can.
    got = food.time_above(rows, accuracy=accuracy)
    assert 0 <= got.least <= got.most + 1e-6
    assert got.longest <= got.most + 1e-9


@given(st.floats(-2, 14), st.floats(-1, 1), st.integers(5, 300), st.sampled_from([0.0, 0.5]))
def test_a_gap_holds_its_warmest_and_its_coldest_path(start: float, share: float, gap: int, accuracy: float) -> None:
    # Drawn on a fine grid: the highest path that 10 K/h allow either way, and the lowest.
    end = start + share * gap / 6
    t = (numpy.arange(6000) + 0.5) / 6000 * gap
    highest = numpy.minimum(start + t / 6, end + (gap - t) / 6) + accuracy
    lowest = numpy.maximum(start - t / 6, end - (gap - t) / 6) - accuracy
    got = food.time_above([(0, start), (gap, end)], accuracy=accuracy)
    assert got.most == pytest.approx((highest > 5).mean() * gap, abs=0.2)
    assert got.least == pytest.approx((lowest > 5).mean() * gap, abs=0.2)


def test_a_step_faster_than_stock_is_taken_as_it_was_read() -> None:
    # 3 to 20 degrees in a minute crosses 5 after 2/17 of it: the straight line is all that the readings leave.
    got = food.time_above([(0, 3.0), (1, 20.0)])
    assert (got.least, got.most) == pytest.approx((15 / 17, 15 / 17))
    refused(lambda: food.time_above([(0, 3.0), (9, 4.0)], limit=NAN))


# ---- lines and pull-downs -------------------------------------------------------------------------------------------

TIMED = [(0.0, 12.0), (9.0, 11.1), (21.0, 10.9), (40.0, 9.2), (55.0, 9.3)]


def test_a_line_and_its_doubt_are_scipys() -> None:
    minutes, values = numpy.array(TIMED).T
    fitted = linregress(minutes, values)
    left = values - fitted.intercept - fitted.slope * minutes
    got, residual = proof.slope(TIMED, noise=0.3), math.sqrt((left**2).sum() / (len(TIMED) - 2))
    assert got.value == pytest.approx(60 * fitted.slope)
    # linregress scales its error by the residual; ours by the noise that is stated.
    assert got.doubt == pytest.approx(60 * 2 * fitted.stderr * 0.3 / residual)
    assert proof.scatter(TIMED) == pytest.approx(residual)
    end = fitted.intercept + fitted.slope * (55 + 60)
    assert pulldown.stops_short(TIMED, end - 0.01, 0.3, 0.0, 60, coverage=0.0)
    assert not pulldown.stops_short(TIMED, end + 0.01, 0.3, 0.0, 60, coverage=0.0)


@pytest.mark.parametrize(("low", "high"), [(-300.0, 8.0), (NAN, 8.0), (4.0, INF), (8.0, 4.0), (4.0, 4.0)])
def test_a_band_that_cannot_be(low: float, high: float) -> None:
    refused(lambda: proof.proof([(0, 6.0), (15, 6.0), (30, 6.0)], low, high))


@pytest.mark.parametrize(("settle", "tau", "upto"), [(2.0, 90.0, 60), (12.0, 60.0, 180), (4.5, 45.0, 180)])
def test_a_pull_down_is_that_of_a_fine_grid(settle: float, tau: float, upto: int) -> None:
    """Bayes by matrices on 2000 time constants: settling near the target by 15 K, the start by 100 K, log tau level."""
    rows = [(float(t), settle + (24 - settle) * math.exp(-t / tau)) for t in range(0, upto + 1, 15)]
    minutes, values = numpy.array(rows).T
    prior, noise, bias = numpy.diag([15.0**2, 100.0**2]), 0.3, 0.5 / math.sqrt(3)
    weights, means, doubts = [], [], []
    for one in numpy.exp(numpy.linspace(math.log(5), math.log(2880), 2000)):
        fall = numpy.exp(-minutes / one)
        design = numpy.stack([1 - fall, fall], axis=1)
        total = noise**2 * numpy.eye(len(rows)) + design @ prior @ design.T
        gain = prior @ design.T @ numpy.linalg.inv(total)
        y = values - 5.0
        weights.append(-0.5 * y @ numpy.linalg.solve(total, y) - 0.5 * numpy.linalg.slogdet(total)[1])
        means.append((gain @ y)[0])
        doubts.append((prior - gain @ design @ prior)[0, 0])
    share = numpy.exp(numpy.array(weights) - max(weights))
    share, mean, doubt = share / share.sum(), numpy.array(means), numpy.array(doubts)
    got = pulldown.fit(rows, 5.0)
    centre = (share * mean).sum()
    assert got.settle == pytest.approx(5 + centre, abs=0.1)
    assert got.settle_doubt == pytest.approx(math.sqrt((share * (doubt + mean**2)).sum() - centre**2), rel=0.03)
    assert got.chance == pytest.approx((share * norm.cdf(-mean / numpy.sqrt(doubt + bias**2))).sum(), abs=0.01)


# ---- accuracy and units ---------------------------------------------------------------------------------------------


def test_half_a_step_of_the_display_is_a_doubt_of_its_own() -> None:
    # GUM F.2.2.1: a step d adds d / (2 sqrt 3); independent doubts add in squares (5.1.2).
    own = math.hypot(0.5 / math.sqrt(3), 0.1 / (2 * math.sqrt(3)))
    assert Accuracy(absolute=0.5).standard(5.0, 0.1) == pytest.approx(own)
    assert Accuracy(relative=0.01).standard(-20.0) == pytest.approx(0.2 / math.sqrt(3))


@pytest.mark.parametrize("text", ["1e-3 V", "1 V 2", "0.5 K/h"])
def test_an_accuracy_in_what_is_no_unit(text: str) -> None:
    refused(lambda: u.parse_accuracy(text), "accuracy")


@pytest.mark.parametrize(
    ("given", "says"),
    # 0.2 kV is 200 V; 41 degF is 5 degC; 1 degF of accuracy is 0.556 K, twice that over root three 0.64 K (GUM, 4.3.7).
    [(("100volt", "1", "0.2kV"), "pass"), (("300volt", "1volt", "0.2kV"), "fail"), (("40degF", "0.1degF", "5degC"), "pass"),
     (("40degF", "0.5", "41"), "pass"), (("40degF", "1degF", "41degF"), "borderline"),
     (("4degC", "1degF", "41degF"), "pass"), (("42degF", "0.1", "5degC"), "fail")],
)  # fmt: skip
def test_a_limit_may_come_in_another_unit(given: tuple[str, ...], says: str) -> None:
    assert reckon("at_most", given) == (says, "")


@pytest.mark.parametrize("given", [("2ampere", "1volt", "3ampere"), ("40", "0.5", "41degF"), ("40degF", "1", "5volt")])
def test_a_limit_in_a_unit_that_does_not_fit(given: tuple[str, ...]) -> None:
    refused(lambda: reckon("at_most", given), "does not fit")


# ---- logs -----------------------------------------------------------------------------------------------------------

DAY = (12 * 1.6 + 18 * 0.2) / 30 * 230 * 24 / 1000  # kWh a day of 12 minutes at 1.6 A and 18 at 0.2 A, at 230 V


def clamp(samples: list[tuple[float, float]]) -> logs.Log:
    minutes, values = zip(*samples, strict=True)
    return logs.Log("x", None, minutes, (logs.Column("c", "current", "ampere", values),))


def cycling(minutes: range) -> list[tuple[float, float]]:
    return [(float(m), 1.6 if m % 30 < 12 else 0.2) for m in minutes]


def test_samples_without_a_value_are_no_rest() -> None:
    blank = clamp([(m, NAN if m % 3 == 1 else amperes) for m, amperes in cycling(range(241))])
    found = logs.duty(blank)
    assert found.share == pytest.approx(0.4, abs=0.01)
    assert (found.starts, found.longest) == (8, 12.0)
    assert logs.kilowatt_hours_a_day(blank, 230) == pytest.approx(DAY, rel=0.01)


def test_a_log_to_the_minute_of_samples_every_ten_seconds() -> None:
    found = logs.duty(clamp([sample for sample in cycling(range(241)) for _ in range(6)]))
    assert found.share == pytest.approx(0.4, abs=0.01)
    assert found.longest == 12.0


def test_ten_hours_without_a_sample_are_no_run() -> None:
    gap = clamp(cycling(range(126)) + cycling(range(725, 846)))  # it ran when the samples stopped
    assert logs.kilowatt_hours_a_day(gap, 230) == pytest.approx(DAY, rel=0.05)
    assert logs.duty(gap).longest == 12.0


def test_a_log_that_writes_more_often_while_it_runs() -> None:
    # Four times ten minutes of 2 A sampled each minute, thirty of 0.1 A each six: each sample holds until the next.
    cycle = [(float(m), 2.0) for m in range(10)] + [(10.0 + 6 * k, 0.1) for k in range(5)]
    log = clamp([(40 * n + m, amperes) for n in range(4) for m, amperes in cycle] + [(160.0, 2.0)])
    assert logs.duty(log).share == pytest.approx(0.25)
    assert logs.kilowatt_hours_a_day(log, 120) == pytest.approx((10 * 2 + 30 * 0.1) / 40 * 120 * 24 / 1000)


def test_energy_that_cannot_be() -> None:
    refused(lambda: logs.kilowatt_hours_a_day(clamp([(m, -v) for m, v in cycling(range(60))]), 230), "wrong way")
    refused(lambda: logs.kilowatt_hours_a_day(clamp([(0.0, 1.0), (1.0, NAN), (2.0, NAN)]), 230), "too few")
    for volts, price in ((INF, 0.0), (NAN, 0.0), (-1.0, 0.0), (230.0, NAN), (230.0, INF), (230.0, -1.0)):
        refused(lambda volts=volts, price=price: logged.said(clamp(cycling(range(60))), volts, price))


def test_the_inrush_of_a_start_is_no_level_of_its_own() -> None:
    # One sample of 12 A at each start, as a clamp that keeps the greatest value writes it; it runs 12 of 30 minutes.
    log = clamp([(n / 6, 12.0 if n % 180 == 0 else 1.6 if n % 180 < 72 else 0.2) for n in range(6 * 240 + 1)])
    found = logs.duty(log)
    assert found.share == pytest.approx(0.4, abs=0.01)
    assert found.longest == pytest.approx(12.0)
