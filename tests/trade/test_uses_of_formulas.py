"""Where a procedure uses a formula of the trade: that the formula supports the use. Each failed before its procedure was
mended."""

from __future__ import annotations

import pytest

from handsfree.procedure.model import Ask, Read
from handsfree.trade.calls import call
from handsfree.trade.faultmodel import shipped
from tests.shipped.conftest import book_named
from tests.shipped.test_facts import chosen, comments

START, DEAD, CLEAN, PROOF = "compressor-does-not-start", "dead-or-trips", "condenser-cleaning", "prove-pull-down"


def c(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.mark.parametrize("minutes", [5.0, 20.0, 45.0])
@pytest.mark.parametrize("filled", ["freshly filled", "earlier"])
def test_warm_food_gets_no_half_hour_of_sale(minutes: float, filled: str) -> None:
    """FDA Food Code 4-204.111 spares the air of a machine after filling. Its food is bound by 3-501.16: 41 degF."""
    food = {"food": ((10.0, c(50.0)),)}
    went = chosen("food-safety", "keep-or-not", food, product_temperature=50.0, minutes_since_cold=minutes, filled=filled)
    assert went == "ask-authority"
    assert "Stop the sale" in book_named("food-safety").at("food-safety", went).say


def test_no_finding_lets_warm_food_be_sold() -> None:
    findings = {getattr(step, "finding", "") for step in book_named("food-safety").procedures["food-safety"].steps}
    assert "sale-limit-runs" not in findings


@pytest.mark.parametrize(
    ("volts", "system", "verdict"),
    [
        # ANSI C84.1 range A, utilization voltage, circuits without lighting: 108 V of 120 V (from memory).
        (112.0, 120.0, "pass"), (110.0, 120.0, "pass"), (106.0, 120.0, "fail"), (108.2, 120.0, "borderline"),
        (125.0, 120.0, "pass"), (128.0, 120.0, "fail"), (190.0, 208.0, "pass"), (185.0, 208.0, "fail"),
        (226.0, 240.0, "pass"),
        # Japan, 101 V and 6 V either way (from memory).
        (106.0, 100.0, "pass"), (108.5, 100.0, "fail"), (94.0, 100.0, "fail"),
        # 230 V of Britain, 216.2 to 253 V (from memory), where sites say 240 V.
        (218.0, 240.0, "pass"), (252.5, 240.0, "borderline"), (214.0, 240.0, "fail"), (256.0, 240.0, "fail"),
        # 127 V is no ANSI system: ten percent either way in Mexico (from memory).
        (131.0, 127.0, "pass"), (136.0, 127.0, "pass"), (116.0, 127.0, "pass"), (112.0, 127.0, "fail"),
        (142.0, 127.0, "fail"),
    ],
)  # fmt: skip
def test_an_outlet_is_held_to_what_an_outlet_may_have(volts: float, system: float, verdict: str) -> None:
    assert call("supply_state", volts, system, 0.4) == verdict


def test_112_volts_at_an_outlet_accuse_no_outlet() -> None:
    assert chosen(DEAD, "supply-state", supply_voltage=112.0, supply_system=120.0) == "charge-warning"
    assert chosen(START, "supply-drop", outlet_voltage=112.0, supply_system=120.0) == "drop-only"


def test_112_volts_are_held_against_the_plate_all_the_same() -> None:
    low = {"outlet_voltage": 112.0, "supply_system": 120.0, "plate_voltage": 127.0, "start_voltage": 104.0}
    assert chosen(START, "supply-drop", **low) == "drop-only"
    assert chosen(START, "drop-only", **low) == "below-plate"


def test_a_warm_cabinet_loads_its_condenser_and_is_not_called_dirty_for_it() -> None:
    """The limits of `condenser_state` rise with the air in the cabinet: 22 K is dirty at 41 degF and not at 77 degF."""
    warm = {"condenser_air": 75.2, "condenser_bend": 115.7}
    assert chosen(CLEAN, "condenser-split", cabinet_temperature=41.0, **warm) == "condenser-hot"
    assert chosen(CLEAN, "works-or-not", cabinet_temperature=41.0, **warm) == "end-condenser-open"
    assert chosen(CLEAN, "condenser-split", cabinet_temperature=77.0, **warm) == "condenser-near-limit"
    assert chosen(CLEAN, "works-or-not", cabinet_temperature=77.0, **warm) == "end-condenser-sound"


def test_the_air_into_the_grille_is_not_the_room() -> None:
    """Hot air that is drawn in again is what the condenser gets, and not what stands around the cabinet."""
    grille = book_named(CLEAN).at(CLEAN, "condenser-air")
    assert isinstance(grille, Read)
    assert grille.fact is None
    assert grille.keeps is None


@pytest.mark.parametrize(
    ("step", "reading", "leaks", "sound"),
    [("insulation-state", "insulation", "deck-insulation", "fuse-state"),
     ("deck-insulation-state", "deck_insulation", "deck-leaks", "cabinet-leaks")],
)  # fmt: skip
def test_a_cabinet_with_a_heater_may_leak_to_a_third_of_a_megohm(step: str, reading: str, leaks: str, sound: str) -> None:
    """EN 50699: 1 megohm for class I, 0.3 megohm with a heating element (from memory)."""
    assert chosen(DEAD, step, **{reading: 0.5}, heater_fitted="timed pauses") == leaks
    assert chosen(DEAD, step, **{reading: 0.5}, heater_fitted="heater fitted") in (sound, "deck-insulation-again")
    for heater in ("timed pauses", "heater fitted"):
        assert chosen(DEAD, step, **{reading: 0.1}, heater_fitted=heater) == leaks
        assert chosen(DEAD, step, **{reading: 5.0}, heater_fitted=heater) == sound
    assert chosen(DEAD, step, **{reading: 0.1}) == leaks
    assert chosen(DEAD, step, **{reading: 5.0}) == sound


def test_who_reads_below_a_megohm_is_asked_for_the_heater_before_anything_is_accused() -> None:
    assert chosen(DEAD, "insulation-state", insulation=0.5) == "heater-fitted"
    heater = book_named(DEAD).at(DEAD, "heater-fitted")
    assert isinstance(heater, Ask)
    assert heater.fact == "heater"
    assert heater.unknown == "desk-handover"


def test_a_heater_that_is_off_its_plate_is_not_told_to_be_open() -> None:
    """Below 0.8 of V^2/P it is shorted in part, above 1.2 it is open or nearly so: bad, either way."""
    assert shipped().checks["defrost_heater_ohms"].answers == ("fits", "bad")
    for ohms in (90.0, 300.0):
        known = {"heater_resistance": ohms, "heater_watts": 100.0, "heater_volts": 120.0}
        assert chosen("defrost", "heater-state", **known) == "heater-bad"
    told = [case.tells for case in book_named("defrost").at("defrost", "heater-state").cases]  # type: ignore[union-attr]  # a decision
    assert told == ["defrost_heater_ohms=fits", "defrost_heater_ohms=bad"]


@pytest.mark.parametrize("share", [0.8, 1.2])
def test_a_heater_at_its_limit_accuses_nobody(share: float) -> None:
    known = {"heater_resistance": share * 144.0, "heater_watts": 100.0, "heater_volts": 120.0}
    assert chosen("defrost", "heater-state", **known) == "tell-site"


def series(*fahrenheit: float) -> dict[str, tuple[tuple[float, float], ...]]:
    return {"proof": tuple((25.0 * at, c(one)) for at, one in enumerate(fahrenheit))}


def test_a_cabinet_that_comes_from_below_is_not_reckoned_as_a_warm_one() -> None:
    """`cold_hours` knows the way from above, and a fill that is colder than its aim has no heat to give (`fill_hours`)."""
    below = series(34.0, 36.2, 38.4)
    values = {"setting": 43.0, "next_temperature": 38.4, "first_temperature": 34.0}
    assert call("cold_proof", c(40.0), c(46.0), 0.56, *(x for row in below["proof"] for x in row)) == "on its way"
    assert chosen(PROOF, "judged", below, **values) != "how-long"


def test_a_cabinet_that_comes_from_above_is_told_how_long() -> None:
    values = {"setting": 43.0, "next_temperature": 56.0, "first_temperature": 72.0}
    assert chosen(PROOF, "judged", series(72.0, 63.0, 56.0), **values) == "how-long"


def test_the_tolerance_of_a_capacitor_is_the_one_that_stands_beside_it() -> None:
    said = comments(START)
    at = said.index("a capacitor is measured against its plate before a compressor is condemned")
    assert "10 percent" in said[at : at + 300]
    assert "6 percent" not in said[at : at + 300]
    assert "from memory" in said[at : at + 300]
    assert chosen(START, "capacitor-state", capacitance=55.3, capacitor_plate=60.0) == "measured-before"
    assert chosen(START, "capacitor-state", capacitance=50.0, capacitor_plate=60.0) == "capacitor-bad"
