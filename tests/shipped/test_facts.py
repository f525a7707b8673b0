"""Facts of the trade that the procedures must carry. Those without a published source are marked so beside the step."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pytest

from handsfree.procedure.evaluation import Pairs, evaluate
from handsfree.procedure.model import Ask, Book, Call, Caution, Decide, Handover, Isolate, Prove, Read, Restore, Step, Wait
from handsfree.procedure.sources import method_of
from tests.shipped.conftest import NAMES, book_named

MARK = "common practice, no source"


def text_of(name: str) -> str:
    book = book_named(name)
    return " ".join(step.say for step in book.procedures[name].steps)


def comments(name: str) -> str:
    """The remarks of a file, lines joined."""
    lines = re.findall(r"#\s?(.*)", book_named(name).texts[name])
    return re.sub(r"\s+", " ", " ".join(lines)).casefold()


def read(name: str, step: str) -> Read:
    found = book_named(name).at(name, step)
    assert isinstance(found, Read)
    return found


def answers(name: str, step: str) -> dict[str, str | None]:
    found = book_named(name).at(name, step)
    assert isinstance(found, Ask)
    return {answer.say: answer.go for answer in found.answers}


def chosen(name: str, step: str, series: Mapping[str, Pairs] | None = None, **values: float | str) -> str:
    """Where a decision goes with these results, by the program's own evaluator."""
    found = book_named(name).at(name, step)
    assert isinstance(found, Decide)
    for case in found.cases:
        outcome = evaluate(case.when, values, series=series)
        if outcome.sure:
            return case.go
        if outcome.holds is None:
            break
    return found.otherwise


@dataclass(frozen=True)
class Fact:
    name: str
    comment: str  # words that stand beside it in the file
    holds: Callable[[], bool]


FACTS = (
    Fact("prove-pull-down", "works set near 43 degf", lambda: "43" in book_named("prove-pull-down").at(
        "prove-pull-down", "set-setting").say),
    Fact("freezing-the-stock", "about 39 degf risks freezing",
         lambda: chosen("freezing-the-stock", "setting-low", setting=38.0) == "kind-first"
         and ways_of("freezing-the-stock", "kind-first")["sealed drinks"] == "setting-found"
         and chosen("freezing-the-stock", "setting-low", setting=43.0) == "shown-temperature"),
    Fact("too-warm", "a shown temperature well above the room's, or a normal one while the stock is warm",
         lambda: all(
             chosen("too-warm", "sensor-or-cabinet", shown_temperature=shown, room_temperature=70.0,
                    cabinet_temperature=cabinet) == go
             for shown, cabinet, go in ((95.0, 60.0, "sensor-work"), (42.0, 60.0, "load-first"),
                                        (60.0, 60.0, "warm-or-not")))),
    Fact("too-warm", "the controller must be in its cooling mode, or the deck is never switched",
         lambda: answers("too-warm", "controller-mode")["something else"] == "mode-found"),
    Fact("fans-check-and-exchange", "the evaporator fan runs, though it need not be cold",
         lambda: set(answers("fans-check-and-exchange", "delivery-air")) == {"cool", "warm", "faint", "dead calm"}),
    Fact("too-warm", "cool to the touch: it has not been running. warm is normal. very hot is overworked",
         lambda: [chosen("too-warm", "touch-says", compressor_touch=touch) for touch in ("cool", "warm", "very hot")]
         == ["not-running", "running-warm", "overworked"]),
    Fact("too-warm", "a restricted condenser first",
         lambda: book_named("too-warm").procedures["too-warm"].following("overworked") == "condenser-work"),
    Fact("defrost", "at least 24 hours", lambda: wait("defrost", "defrost-wait").seconds >= 24 * 3600),
    Fact("fans-check-and-exchange", "connectors may feel loose and be sound",
         lambda: "home in their housings" in text_of("fans-check-and-exchange")),
    Fact("relay-and-connector-check", "pull on the boot or the connector, never the wire",
         lambda: "never on the wire" in text_of("relay-and-connector-check")),
    Fact("deck-take-out", "photograph the wiring before undoing",
         lambda: ids("deck-take-out").index("deck-photo") < ids("deck-take-out").index("leads-off")),
    Fact("deck-take-out", "slides out as one tray once its screws, divider and leads are free",
         lambda: all(ids("deck-take-out").index(first) < ids("deck-take-out").index("slide-out")
                     for first in ("leads-off", "divider-out"))
         and "screws" in book_named("deck-take-out").at("deck-take-out", "divider-out").say),
    Fact("deck-put-in", "fed back through the wall with the grommet refitted",
         lambda: re.search(r"leads back through the wall.*Refit the grommet", text_of("deck-put-in")) is not None),
    Fact("prove-pull-down", "settings are checked and the compressor is awaited",
         lambda: ids("prove-pull-down").index("setting") < ids("prove-pull-down").index("compressor-start")),
    Fact("prove-pull-down", "rest a compressor some minutes",
         lambda: wait("prove-pull-down", "compressor-rest").seconds >= 180),
    Fact("deck-take-out", "above 25 kg two people",
         lambda: chosen("deck-take-out", "heavy-or-not", deck_mass=25.0) == "unplug"
         and chosen("deck-take-out", "heavy-or-not", deck_mass=25.5) == "people"),
)  # fmt: skip


def wait(name: str, step: str) -> Wait:
    found = book_named(name).at(name, step)
    assert isinstance(found, Wait)
    return found


def ways_of(name: str, step: str) -> dict[str, str | None]:
    found = book_named(name).at(name, step)
    assert isinstance(found, Ask)
    return {one.say: one.go for one in found.answers}


def ids(name: str) -> list[str]:
    return [step.id for step in book_named(name).procedures[name].steps]


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: f"{fact.name}: {fact.comment[:40]}")
def test_facts_of_common_practice(fact: Fact) -> None:
    assert fact.holds()
    said = comments(fact.name)
    assert fact.comment in said
    after = said[said.index(fact.comment):]
    assert MARK in after[:400], "marked beside it"


def test_isolation_is_by_a_plug_that_stays_under_control(book: Book) -> None:
    """29 CFR 1910.147 (a)(2)(iii)(A): unplugging isolates only while the plug stays with the person who works."""
    for step in book.procedures[book.main].steps:
        if isinstance(step, Isolate) and "capacitors" not in step.sources:
            done = " ".join(step.do)
            assert "plug" in done
            assert "lock" in done
            assert "tag" in done


def test_the_pins_of_the_cord_are_measured_with_the_plug_in_the_hand_and_boxed_again_on_every_way() -> None:
    """29 CFR 1910.147 (a)(2)(iii)(A): no measurement at pins that are locked away, and no way on with the lock off."""
    steps = {step.id: step for step in book_named("dead-or-trips").procedures["dead-or-trips"].steps}
    order = list(steps)
    assert order.index("plug-in-hand") + 1 == order.index("cord-ohms")
    out = {steps["cord-ohms"].over_range, steps["earth-ohms"].over_range, steps["cord-ohms"].unsteady}
    out |= {case.go for name in ("cord-state", "earth-state") for case in steps[name].cases}
    out |= {steps[name].otherwise for name in ("cord-state", "earth-state")}
    assert out - {"earth-ohms"} == {"box-plug", "box-open-cord", "box-and-ask"}
    assert {steps[name].say for name in out - {"earth-ohms"}} == {"Box the plug again. Put your lock and tag on."}


def test_unplugged_after_the_return_is_isolated_anew() -> None:
    names = ids("defrost")
    assert names.index("unplug-return") == names.index("defrost-wait") + 1


def test_where_nothing_could_run_for_a_day_no_switch_proves_anything(book: Book) -> None:
    """A try proves dead only what was seen running: after a wait behind a lock that outlasts the break, it is measured."""
    procedure = book.procedures[book.main]
    locked = waited = False
    for step in procedure.steps:
        if isinstance(step, Isolate | Restore):
            locked, waited = isinstance(step, Isolate), waited and isinstance(step, Isolate)
        elif isinstance(step, Wait):
            waited = waited or (locked and step.seconds > 60 * procedure.break_minutes)
        elif isinstance(step, Prove) and waited:
            assert method_of(step).form == "measure", step.id


def test_arrival_names_every_hazard_and_who_comes_first() -> None:
    text = text_of("arrival-and-hazards").casefold()
    for words in ("cord", "plug", "floor", "flame symbol", "barrier", "local codes", "licensed"):
        assert words in text
    assert "burst" in text_of("freezing-the-stock")
    assert "iec 60335-2-89" in comments("arrival-and-hazards")


@pytest.mark.parametrize(
    ("product", "minutes", "filled", "go"),
    [
        (38.0, 20.0, "earlier", "keep-food"),
        (38.0, 300.0, "earlier", "ask-authority"),  # cold now, but nobody knows since when
        (50.0, 20.0, "freshly filled", "ask-authority"),  # the half hour after filling is the air's, not the food's
        (50.0, 45.0, "freshly filled", "ask-authority"),
        (50.0, 300.0, "earlier", "discard-food"),
    ],
)
def test_food_follows_the_food_code(product: float, minutes: float, filled: str, go: str) -> None:
    """FDA Food Code 2022: 3-501.16 (A)(2), 41 degF; 4-204.111, 30 minutes after filling; 3-501.19, 4 hours (from memory)."""
    food = {"food": ((10.0, (product - 32) / 1.8),)}
    got = chosen("food-safety", "keep-or-not", food, product_temperature=product, minutes_since_cold=minutes, filled=filled)
    assert got == go


def test_the_local_authority_has_the_last_word_on_food() -> None:
    for step in book_named("food-safety").procedures["food-safety"].steps:
        if step.kind == "finding" and step.id != "empty":
            assert "local authority" in step.say, step.id


def test_the_sealed_circuit_goes_to_a_certified_technician() -> None:
    """40 CFR part 82 subpart F."""
    steps = book_named("sealed-circuit-suspicion").procedures["sealed-circuit-suspicion"].steps
    assert isinstance(steps[0], Caution)
    assert {step.to for step in steps if isinstance(step, Handover)} == {"a certified technician"}
    assert "40 cfr part 82" in comments("sealed-circuit-suspicion")


def test_the_earth_wire_of_the_cord_has_its_own_limit() -> None:
    """Below 0.3 ohm: VDE 0701 (from memory)."""
    for ohms, go in ((0.1, "box-plug"), (0.3, "box-open-cord"), (0.5, "box-open-cord"), (1.5, "box-open-cord")):
        assert chosen("dead-or-trips", "earth-state", earth_ohms=ohms) == go
    assert chosen("dead-or-trips", "cord-state", cord_ohms=1.5) == "earth-ohms"


def test_a_current_relay_is_never_measured_and_its_looks_alone_condemn_nothing() -> None:
    """It rattles and reads low when it is sound. A burnt one is proved by another that starts the compressor."""
    name = "compressor-does-not-start"
    assert answers(name, "start-device-kind") == {"without coil": "start-device-look", "current relay": "start-relay-look"}
    assert answers(name, "start-relay-look") == {"undamaged": "overload-ohms", "burnt": "overload-ohms"}


@pytest.mark.parametrize(
    ("name", "decision", "reading", "again", "way_out"),
    [
        ("compressor-does-not-start", "frame-leak", "winding-to-frame", "winding-again", "compressor-handover"),
        ("dead-or-trips", "insulation-state", "insulation", "insulation-again", "desk-handover"),
        ("dead-or-trips", "deck-insulation-state", "deck-insulation", "deck-insulation-again", "desk-handover"),
    ],
)
def test_insulation_at_its_limit_is_measured_again(name: str, decision: str, reading: str, again: str, way_out: str) -> None:
    """1 megohm read with 5 percent: neither good nor a leak. Below 0.3 megohm it leaks, heater or not."""
    assert chosen(name, decision, **{reading.replace("-", "_"): 1.0}) == again
    assert chosen(name, decision, **{reading.replace("-", "_"): 0.2}) != again
    assert answers(name, again) == {"first try": reading, "repeated": way_out}


def test_the_wiring_is_photographed_once_it_is_in_sight() -> None:
    names = ids("deck-take-out")
    assert names.index("deck-photo") < names.index("leads-off")
    photo = book_named("deck-take-out").at("deck-take-out", "deck-photo").say
    assert photo.index("Take off the lower grille.") < photo.index("Photograph the wiring")


def test_the_rest_of_a_tilted_deck_is_said_before_its_power_comes_back() -> None:
    restores = [step for step in book_named("deck-put-in").procedures["deck-put-in"].steps if isinstance(step, Restore)]
    assert any("tilted" in check and "manual" in check for step in restores for check in step.checks)


def test_no_vacuum_cleaner_that_sparks_near_the_flame_symbol() -> None:
    assert "With the flame symbol on the plate, use no vacuum cleaner that can spark." in text_of("condenser-cleaning")
    assert "iec 60335-2-89" in comments("condenser-cleaning")


def test_a_flammable_charge_that_may_leak_gets_no_power_back() -> None:
    name = "sealed-circuit-suspicion"
    for symbol, oil, go in (
        ("flame shown", "oily joint", "leak-handover"),
        ("flame shown", "clean and dry", "spare-deck"),
        ("plain plate", "oily joint", "spare-deck"),
    ):
        assert chosen(name, "power-or-not", plate_symbol=symbol, oil_traces=oil) == go
    assert book_named(name).procedures[name].following("leak-handover") == "end-circuit-safe"


def test_the_deck_exchange_calls_both_halves() -> None:
    steps = book_named("deck-exchange").procedures["deck-exchange"].steps
    assert [step.procedure for step in steps if isinstance(step, Call)] == ["deck-take-out", "deck-put-in"]


@pytest.mark.parametrize(
    ("fahrenheit", "go"),
    [
        ((60.0, 53.0, 47.0, 43.5, 43.0, 43.0), "cycles"),
        ((90.0, 75.0, 62.0, 52.0), "how-long"),
        ((85.0, 86.0, 86.0, 87.0), "settles-warm"),
        ((38.0, 40.0, 42.0, 44.0), "read-on"),  # it warms up: nothing is proved
        ((26.0,) * 9, "settles-cold"),
        ((45.0,) * 12, "watched"),
    ],
)
def test_a_pull_down_is_judged_by_all_its_readings(fahrenheit: tuple[float, ...], go: str) -> None:
    proof = {"proof": tuple((15.0 * at, (one - 32) / 1.8) for at, one in enumerate(fahrenheit))}
    assert chosen("prove-pull-down", "judged", proof, setting=43.0, next_temperature=fahrenheit[-1]) == go


@pytest.mark.parametrize(
    ("fahrenheit", "go"),
    [
        ((60.0, 55.0, 51.3, 48.5), "stay-two"), ((80.0, 73.0, 67.0, 61.5), "stay-four"),
        ((80.0, 76.0, 72.3, 69.0), "stay-eight"),
        ((80.0, 79.0, 78.2, 77.2), "stay-night"),
    ],
)
def test_the_hours_it_needs_are_said(fahrenheit: tuple[float, ...], go: str) -> None:
    proof = {"proof": tuple((15.0 * at, (one - 32) / 1.8) for at, one in enumerate(fahrenheit))}
    assert chosen("prove-pull-down", "how-long", proof, setting=43.0) == go


@pytest.mark.parametrize(
    ("evening", "morning", "go"),
    [
        ((72.0, 68.0, 65.0), 49.0, "slow-night"),  # a sound cabinet full of warm stock takes a day
        ((72.0, 68.0, 65.0), 43.0, "cycles"),
        ((72.0, 68.0, 65.0), 46.0, "watched"),
        ((66.0, 66.0, 66.0, 66.0), 66.0, "settles-warm"),
    ],
)
def test_what_a_morning_proves(evening: tuple[float, ...], morning: float, go: str) -> None:
    every = [(25.0 * at, (one - 32) / 1.8) for at, one in enumerate(evening)]
    proof = {"proof": (*every, (every[-1][0] + 960.0, (morning - 32) / 1.8))}
    assert chosen("prove-pull-down", "by-morning", proof, setting=43.0, morning_temperature=morning) == go


def test_food_is_judged_by_every_reading_of_the_visit() -> None:
    """60 degF in the cabinet earlier in the visit, 38 degF in the product now, cold five minutes ago: nobody knows."""
    food = {"food": ((5.0, (60 - 32) / 1.8), (40.0, (38 - 32) / 1.8))}
    assert chosen("food-safety", "keep-or-not", food, product_temperature=38.0, minutes_since_cold=5.0) == "ask-authority"


def test_windings_add_up() -> None:
    """Start to run is the sum of the other two (they lie in series)."""
    for start_to_run, go in ((17.0, "silent-or-hums"), (30.0, "pins"), (0.1, "winding-shorted")):
        got = chosen(
            "compressor-does-not-start", "winding-sum", common_to_run=5.0, common_to_start=12.0, start_to_run=start_to_run,
            plate_voltage=230.0,
        )
        assert got == go


def test_a_hot_overload_that_closed_again_condemns_no_silent_compressor() -> None:
    name = "compressor-does-not-start"
    assert chosen(name, "silent-or-hums", compressor_sound="silent", overload_cold_ohms=0.2) == "overload-tripped"
    for touch in ("cool", "warm"):  # no heat excuses it: it is tried by another, and blamed by nothing else
        heard = {"compressor_sound": "silent", "overload_cold_ohms": 0.2, "compressor_touch": touch}
        assert chosen(name, "silent-or-hums", **heard) == "overload-early"
    assert chosen(name, "silent-or-hums", compressor_sound="silent") == "not-fed"
    assert chosen(name, "silent-or-hums", compressor_sound="hums and clicks", overload_cold_ohms=0.2) == "capacitor-known"


def test_a_capacitor_that_nobody_measured_condemns_no_compressor() -> None:
    """Measured against its plate, or looked for twice and not there."""
    name, plate = "compressor-does-not-start", {"capacitor_plate": 60.0}
    for measured, go in ((60.0, "try-known"), (54.0, "capacitor-again"), (20.0, "capacitor-again")):
        assert chosen(name, "capacitor-known", capacitor_fitted="fitted", capacitance=measured, **plate) == go
    assert chosen(name, "capacitor-known", capacitor_fitted="none") == "capacitor-again"
    windings = {"common_to_start": 24.0, "common_to_run": 11.0, "start_to_run": 35.0}
    tried = {"terminal_voltage": 229.0, "plate_voltage": 230.0, **windings}
    assert chosen(name, "lost-or-seized", **tried) == "unjudged-handover"
    assert chosen(name, "lost-or-seized", capacitor_again="cannot tell", **tried) == "unjudged-handover"
    assert chosen(name, "lost-or-seized", capacitor_again="none", **tried) == "compressor-seized"
    assert chosen(name, "lost-or-seized", capacitance=60.0, **tried) == "compressor-seized"
    assert chosen(name, "lost-or-seized", capacitor_again="none", **{**tried, "start_to_run": 60.0}) == "unjudged-handover"


def test_the_scenario_is_marked_invented() -> None:
    for name in NAMES:
        told = comments(name)
        if "hochgrat" in told or "firnkasten" in told:
            assert "invented" in told
        spoken: list[Step] = list(book_named(name).procedures[name].steps)
        assert not any("Firnkasten" in step.say or "Talbach" in step.say for step in spoken), "steps fit any cabinet"
