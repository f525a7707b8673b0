"""Nothing is said to be cold, handed over, compared or put back that is not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from handsfree.journal import reader
from handsfree.journal.events import Say, TimerRang
from handsfree.procedure.model import Ask, Instruct, Restore
from tests.journal.visited import LOCK, visit
from tests.shipped.conftest import NAMES, book_named
from tests.shipped.test_facts import chosen, ways_of
from tests.shipped.test_not_to_blame import lead_to
from tests.visit.scenes import Scene

#: What tells somebody to set the controller.
SETS = re.compile(r"\b[Ss]et (it to|the controller)\b")


def after(name: str, step: str) -> str | None:
    return book_named(name).procedures[name].following(step)


def test_only_a_setting_that_was_noted_is_put_back() -> None:
    name = "freezing-the-stock"
    assert after(name, "welded-suspected") == "set-back"
    assert after(name, "set-back") == "relay-work"


def test_a_compressor_that_ran_on_at_a_raised_setting_is_no_cold_cabinet() -> None:
    name = "runs-all-the-time"
    assert after(name, "set-back") == "ran-on"
    assert after(name, "ran-on") == "relay-work"


@pytest.mark.parametrize(
    ("decision", "setting", "cabinet", "go"),
    [
        ("fresh-or-not", 43.0, 39.0, "class-found"),
        ("fresh-or-not", 45.0, 38.0, "class-found"),
        ("fresh-or-not", 37.0, 39.0, "cold-now"),
        ("fresh-or-not", 37.0, 43.0, "look-next"),
        ("frozen-or-not", 43.0, 8.0, "frozen-found"),
        ("frozen-or-not", 0.0, 8.0, "cold-now"),
        ("frozen-or-not", 0.0, 20.0, "look-next"),
    ],
)
def test_cold_enough_is_only_what_its_setting_keeps(decision: str, setting: float, cabinet: float, go: str) -> None:
    """FDA Food Code 2022, 3-501.16 (A)(2): 41 degF; the next cycle counts, too."""
    assert chosen("too-warm", decision, setting=setting, cabinet_temperature=cabinet) == go


@pytest.mark.parametrize(
    ("name", "decision", "call"),
    [("too-warm", "after-pull-down", "pull_down"), ("service-call", "after-deck-pull-down", "deck_pull_down"),
     ("second-look", "after-pull-down", "pull_down")],
)
def test_what_is_not_mended_is_handed_over(name: str, decision: str, call: str) -> None:
    go = chosen(name, decision, **{call: "not fixed", "late_compressor_work": "fixed"})
    assert book_named(name).at(name, go).kind == "handover"


@pytest.mark.parametrize(
    ("name", "decision", "call", "fans"),
    [
        ("too-warm", "after-circuit-work", "circuit_work", "late-fans-work"),
        ("runs-all-the-time", "after-circuit-work", "circuit_work", "fans-work"),
        ("runs-all-the-time", "after-running-circuit", "running_circuit_work", "fans-work"),
    ],
)
def test_a_condenser_that_nobody_saw_clean_comes_before_the_fans(name: str, decision: str, call: str, fans: str) -> None:
    assert chosen(name, decision, **{call: "done"}) == "condenser-then"
    assert ways_of(name, "condenser-then") == {
        "clean": "fans-then", "dirty": "condenser-found", "vents covered": "vents-found",
    }
    assert chosen(name, "fans-then") == fans
    assert chosen(name, "fans-then", fans_work="no fault found") == "desk-handover"
    assert chosen(name, decision, **{call: "watch", "condenser_look": "clean"}) == "desk-handover"


def test_a_circuit_with_ice_little_air_or_a_hot_place_has_not_every_look_good() -> None:
    name = "sealed-circuit-suspicion"
    assert [after(name, step) for step in ("ice-first", "little-air", "heat-first")] == ["end-air", "end-air", "end-heat"]


def test_food_that_may_stay_after_filling_is_told_what_follows() -> None:
    """FDA Food Code 2022, 4-204.111. Cold by every reading of the visit needs no such leave."""
    values: dict[str, float | str] = {"product_temperature": 38.0, "minutes_since_cold": 12.0, "filled": "freshly filled"}
    for first, go in ((38.0, "keep-food"), (50.0, "keep-filled")):
        food = {"food": ((1.0, (first - 32) / 1.8), (10.0, (38 - 32) / 1.8))}
        assert chosen("food-safety", "keep-or-not", food, **values) == go
    assert "the sale stops" in book_named("food-safety").at("food-safety", "keep-filled").say


def test_temperatures_that_nobody_took_are_not_compared() -> None:
    name = "sensor-check-and-exchange"
    for taken in ("shown_temperature", "sensor_place_temperature"):
        assert chosen(name, "agree-or-not", **{taken: 43.0}) == "unplug"
        assert chosen(name, "fits-and-shows", **{taken: 43.0}) == "sensor-not-known"
    # An offset that nobody read may be what shows the wrong temperature: that accuses no controller.
    wrong: dict[str, float | str] = {"shown_temperature": 43.0, "sensor_place_temperature": 55.0}
    assert chosen(name, "fits-and-shows", **wrong) == "sensor-not-known"
    assert chosen(name, "fits-and-shows", **wrong, offset=0.0) == "sensor-fits"
    assert chosen("too-warm", "idle-or-resting", setting=43.0) == "desk-handover"
    assert chosen("too-warm", "idle-or-resting", setting=43.0, shown_temperature=49.0) == "rests-found"


@pytest.mark.parametrize("name", ["freezing-the-stock", "iced-up", "runs-all-the-time"])
def test_an_emptied_freezer_is_not_set_as_for_drinks(name: str) -> None:
    assert ways_of(name, "kind-first")["empty shelves"] == book_named(name).at(name, "kind-first").unknown
    assert chosen("prove-pull-down", "setting-in-range", stock_kind="empty shelves", setting=0.0) == "compressor-rest"
    assert chosen("prove-pull-down", "setting-in-range", stock_kind="empty shelves", setting=55.0) == "set-setting"


def test_a_raised_setting_spoils_what_was_heard() -> None:
    for name in ("freezing-the-stock", "runs-all-the-time"):
        assert set(book_named(name).at(name, "raise-setting").spoils) > {"compressor-sound", "delivery-air"}


def test_what_a_cabinet_was_before_its_supply_or_its_controller_changed_is_no_proof_of_cold() -> None:
    """The proof takes a reading of the last minutes for its first: none from before."""
    changes = {
        (name, step.id): step.spoils
        for name in NAMES for step in book_named(name).procedures[name].steps
        if isinstance(step, Restore) or (isinstance(step, Instruct) and SETS.search(step.say))
    }  # fmt: skip
    assert len(changes) > 30
    assert [where for where, spoils in changes.items() if "cabinet-temperature" not in spoils] == []


def test_a_reading_from_before_the_supply_was_off_is_not_the_first_of_the_proof() -> None:
    scene = Scene(book_named("freezing-the-stock")).open()
    scene.words("understood", "everywhere", "31", "sealed drinks", "next step", "stops", "50", "affirm")
    scene.words("32.2", "out of place")
    scene.words("isolated lock four two", "nothing runs", "next step", "next step", "next step")
    scene.words("clear lock four two", "next step")
    scene.tell(TimerRang("wait"), after=300.0)
    scene.words("33", "33", "cooling", "silent")
    assert scene.now < 15 * 60, "the old reading has not grown too old by itself"
    assert scene.step == "silent-temperature", "it is read again"
    assert [one for one in scene.state.series if one.series == "proof"] == []


@pytest.mark.parametrize("name", ["too-warm", "dead-or-trips", "noisy-or-vibrating", "runs-all-the-time", "iced-up"])
def test_a_way_run_alone_ends_warm_only_with_somebody_who_looks_on(name: str) -> None:
    """In a whole visit that is known, and not asked: its second look follows."""
    procedure = book_named(name).procedures[name]
    asked = procedure.step("who-looks-on")
    assert getattr(asked, "fact", "") == "looks-on"
    ways = ways_of(name, "who-looks-on")
    assert ways["second look"] == "end-not-cold"
    assert book_named(name).at(name, ways["support desk"]).kind == "handover"
    assert {step.id for step in procedure.steps if "end-not-cold" in lead_to(step)} == {"who-looks-on"}
    complaint = book_named("service-call").at("service-call", "complaint")
    assert ("looks-on", "second look") in complaint.makes


def test_without_a_gas_detector_nobody_is_told_that_gas_leaks() -> None:
    """The same is done as at an alarm."""
    name = "sealed-circuit-suspicion"
    detector = book_named(name).at(name, "gas-detector")
    unsure = book_named(name).at(name, getattr(detector, "unknown", ""))
    assert "Gas leaks." not in unsure.say
    assert "Touch no switch and no plug." in unsure.say
    assert after(name, unsure.id) == after(name, "gas-alarm") == "end-gas"


@pytest.mark.parametrize("name", ["noisy-or-vibrating", "wet"])
def test_the_feet_of_a_cabinet_are_set_by_two_or_by_nobody(name: str) -> None:
    procedure = book_named(name).procedures[name]
    assert {step.id for step in procedure.steps if "tip-warning" in lead_to(step)} == {"people"}
    assert ways_of(name, "people")["partner here"] == "tip-warning"
    assert after(name, "tip-warning") == "level-work"
    assert "Send a second person" in procedure.step("feet-handover").say


def test_in_standing_water_nobody_turns_feet_beside_a_live_cabinet() -> None:
    assert book_named("wet").at("wet", "level-work").behind_gate
    leans: dict[str, float | str] = {"level_look": "leans forward", "drain_look": "running free"}
    assert chosen("wet", "drain-says", **leans, people="partner here") == "next-water"
    for alone in ({"people": "working alone"}, {}, {"drain_again": "running free"}):
        assert chosen("wet", "drain-says", **leans, **alone) == "feet-handover"


def test_what_rattles_on_after_feet_or_fan_is_tightened_before_it_is_handed_over() -> None:
    name = "noisy-or-vibrating"
    assert after(name, "level-work") == "noise-then"
    assert chosen(name, "after-fans-work", fans_work="fixed") == "noise-then"
    assert ways_of(name, "noise-then") == {"much better": "pull-down", "as before": "unplug"}


def test_a_heater_that_a_defrost_by_hand_has_warmed_is_warned_of() -> None:
    book = book_named("defrost")
    warned = book.at("defrost", "ice-warning")
    assert "hot surface" in warned.hazards
    assert "heater" in warned.say
    assert "hot surface" in book.at("defrost", "heater-resistance").hazards


def test_air_that_is_strong_is_not_called_weak_where_nobody_saw_the_drain() -> None:
    assert chosen("defrost", "air-decides", air_after="strongly") == "end-defrosted"
    assert chosen("defrost", "air-decides", air_after="strongly", drain_look="blocked") == "end-cause"


def test_ice_whose_cause_was_put_right_is_explained() -> None:
    assert chosen("iced-up", "cause-known", circuit_work="fixed") == "end-mended"
    assert chosen("iced-up", "cause-known", ice_work="done", seat_work="fixed") == "end-mended"
    assert chosen("iced-up", "cause-known", ice_work="done") == "ice-unexplained"


@pytest.mark.parametrize(("name", "go"), [("too-warm", "end-normal"), ("runs-all-the-time", "end-normal")])
def test_a_fresh_fill_that_cooled_was_not_mended(name: str, go: str) -> None:
    assert chosen(name, "cause-known", load="freshly filled") == go


def test_a_setting_that_was_put_right_is_proved_and_not_handed_over_as_unexplained() -> None:
    name = "freezing-the-stock"
    assert chosen(name, "where-says", frozen_where="everywhere", kind_first="sealed drinks", setting=28.0) == "pull-down"
    assert chosen(name, "where-says", frozen_where="everywhere") == "room-temperature"


def test_a_mode_or_a_setting_that_was_put_right_stays_so_where_the_compressor_was_sound() -> None:
    sound: dict[str, float | str] = {"compressor_work": "no fault found"}
    assert chosen("dead-or-trips", "mended-or-not", **sound, controller_mode="something else") == "end-mended"
    assert chosen("dead-or-trips", "mended-or-not", **sound, setting=52.0) == "end-mended"
    assert chosen("dead-or-trips", "mended-or-not", **sound, setting=43.0) == "end-normal"


def test_a_deck_that_closes_with_a_torn_gasket_is_defrosted_and_then_watched() -> None:
    assert ways_of("deck-seat", "seat-again")["hangs still"] == "whole-or-torn"
    assert chosen("iced-up", "after-seat-work", seat_work="watch") == "delivery-air"
    assert chosen("second-look", "after-seat-work", seat_work="watch") == "pull-down"
    assert chosen("iced-up", "cause-known", ice_work="fixed", seat_work="watch") == "end-watched"
    assert chosen("second-look", "after-pull-down", pull_down="fixed", seat_work="watch") == "end-watched"
    assert chosen("second-look", "after-pull-down", pull_down="fixed", seat_work="fixed") == "end-mended"


def test_burst_bottles_are_told_to_the_site() -> None:
    assert after("food-safety", "keep-whole") == "tell-site"


@pytest.mark.parametrize("name", ["too-warm", "dead-or-trips"])
def test_a_controller_that_drips_after_its_defrost_is_looked_at_twice(name: str) -> None:
    """After a defrost a controller rests some minutes, so that the coil drips: common practice, no source."""
    assert "ten minutes" in book_named(name).at(name, "defrost-over").say


def test_a_box_that_is_left_open_under_a_lock_is_asked_about(tmp_path: Path) -> None:
    """Found by voice: the control box was opened for the proof, and at the hand-over nobody asked for tools."""
    proof = ("affirm", "zero point one", "affirm")
    lines = (
        "dead", "understood", "dry and sound", "plain plate", "stays dark", "shines", "two hundred and thirty",
        "two hundred and twenty three", "two hundred and thirty", "understood", LOCK, "affirm", "negative", 20.0,
        f"isolated lock {LOCK}", 20.0, "next step", *proof, "affirm", *proof, "zero point one", "affirm", "zero point one",
        "affirm", "affirm", "next step", "all home", "wet or burnt", "next step", "zero point three", "affirm",
        "zero point two", "affirm", "next step", "next step", "empty shelves",
    )  # fmt: skip
    folder = visit(tmp_path, lines, procedure="service-call")
    said = [entry.event.text for entry in reader.read(folder) if isinstance(entry.event, Say)]
    assert any("no safe supply yet" in text for text in said)
    assert "Count your tools. Are all panels and the grille in place?" in " ".join(said)


def test_a_cabinet_that_freezes_its_stock_is_measured_once_before_the_proof_of_cold() -> None:
    scene = Scene(book_named("freezing-the-stock")).open()
    scene.words("understood", "everywhere", "31", "sealed drinks", "next step", "stops", "32", "32.2", "cooling")
    scene.tell(TimerRang("wait"), after=300.0)
    assert scene.step == "next-wait", "the compressor is silent: what was read five minutes ago is the first value"
    assert [(one.step, one.value) for one in scene.state.series if one.series == "proof"] == [
        ("silent-temperature", pytest.approx(0.11, abs=0.01))
    ]


def _asks_yes_or_no(step: Ask) -> bool:
    """'Was anything loose?', with two answers and neither of them in the question."""
    asked = step.say.rstrip("?").rsplit(". ", 1)[-1]
    begins = asked.startswith(("Is ", "Are ", "Was ", "Does ", "Do ", "Did ", "Has "))
    return begins and len(step.answers) == 2 and " or " not in asked


def test_a_question_for_yes_or_no_takes_them_but_where_safety_hangs_on_it() -> None:
    """'Yeah it is', too. Whether a deck holds a gas that burns is answered in its own words."""
    books = (book_named(name) for name in NAMES)
    asks = {
        (name, step.id): step for book in books for name, procedure in book.procedures.items() for step in procedure.steps
        if isinstance(step, Ask) and _asks_yes_or_no(step)
    }  # fmt: skip
    assert len(asks) > 20
    without = {where for where, step in asks.items() if not all(answer.stands_for for answer in step.answers)}
    assert without == {("sealed-circuit-suspicion", "plate-symbol")}


def test_water_that_was_mopped_up_at_the_arrival_is_not_asked_to_be_dry() -> None:
    """It stood: door, level and drain are looked at."""
    scene = Scene(book_named("service-call")).open()
    scene.words("wet", "understood", "wet", "understood", "mopped up", "intact", "plain plate", "even frost")
    assert (scene.state.path[-1], scene.step) == ("wet", "door-strip")
    assert scene.state.told["water_place"] == "stands"


def test_air_that_was_just_felt_after_a_defrost_is_not_felt_again_for_the_fans() -> None:
    for felt, told in (("weakly", "faint"), ("dead calm", "dead calm")):
        asked = book_named("defrost").at("defrost", "air-after")
        assert isinstance(asked, Ask)
        assert [answer.makes for answer in asked.answers if answer.say == felt] == [(("delivery-air", told),)]
        assert told in ways_of("fans-check-and-exchange", "delivery-air")
    assert "delivery-air" in book_named("fans-check-and-exchange").at("fans-check-and-exchange", "move-stock").spoils


@pytest.mark.parametrize(("asked", "go"), [("new_fan", "part-handover"), ("new_switch", "switch-handover")])
def test_a_fan_whose_cause_is_known_is_handed_over_with_it(asked: str, go: str) -> None:
    """Nobody is told to look for ice, or at what feeds it, where a part is on order."""
    name, ordered = "fans-check-and-exchange", {asked: "order one", "evaporator_spin": "drags"}
    assert chosen(name, "well-or-weak", air_after="weakly", **ordered) == "what-was-done"
    assert chosen(name, "what-was-done", **ordered) == go
    calm = chosen(name, "ice-or-fan", **ordered)
    assert (calm, ways_of(name, "fan-after")["stopped"]) == ("which-handover", "which-handover")
    assert chosen(name, "which-handover", **ordered) == go
    assert "what feeds it" not in book_named(name).at(name, go).say


def test_a_fan_that_stands_for_no_known_reason_is_not_called_failed() -> None:
    name = "fans-check-and-exchange"
    assert chosen(name, "which-handover", evaporator_spin="freely") == "fans-handover"
    assert "what feeds it" in book_named(name).at(name, "fans-handover").say
    assert chosen(name, "well-or-weak", air_after="weakly") == "air-weak"


def test_a_door_that_was_set_right_does_not_clear_the_deck_and_the_deck_is_seen_twice() -> None:
    assert ways_of("iced-up", "door-work")["holds fast"] == "deck-seat"
    assert ways_of("iced-up", "deck-seat")["drawn in"] == "seat-again"
    assert ways_of("iced-up", "seat-again") == {"hangs still": "delivery-air", "drawn in": "seat-found"}
