"""What a procedure of any trade may say for itself: instruments that readings share, what a finding means, one spelling of
names."""

from __future__ import annotations

import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import FindingMade
from handsfree.journal.found import tells
from handsfree.procedure import expressions, load
from handsfree.procedure.evaluation import evaluate
from handsfree.procedure.hazards import usual
from handsfree.procedure.model import Prove, Read

HEAD = "procedure: a\ntitle: A\n"
READING = "  - {id: air, kind: read, say: Give it., quantity: air, instrument: thermometer%s}\n"
END = "  - {id: over, kind: end, outcome: done, say: Over.}\n"
SHARED = "instruments:\n  thermometer: {unit: degC, plausible: [-20, 60], accuracy: 1 degC}\n"


def _read(more: str = "", head: str = HEAD + SHARED) -> Read:
    step = load.parse_procedure(f"{head}steps:\n{READING % more}{END}").steps[0]
    assert isinstance(step, Read)
    return step


def test_a_reading_takes_from_its_instrument_what_it_does_not_say_itself() -> None:
    step = _read(", accuracy: 0.5 degC")
    assert (step.unit, step.plausible, step.accuracy) == ("degC", (-20.0, 60.0), "0.5 degC")
    with pytest.raises(Trouble, match="lacks 'unit'"):
        _read(head=HEAD)
    with pytest.raises(Trouble, match="instruments"):
        _read(head=HEAD + "instruments: {thermometer: {colour: red}}\n")


TABLES = expressions.Tables({"supply_air": "degC", "room_air": "degC"}, {"fan_state": ("not-so fast", "still")})


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("supply-air - room-air > 5", True), ("supply-air < 19", False),
        ('fan-state == "not-so fast"', True), ("fan-state == 'not-so fast' and supply-air > 1", True),
        ("-supply-air < 0", True), ("supply-air -5 > 14", True),
    ],
)  # fmt: skip
def test_a_name_in_an_expression_is_the_id_itself(text: str, holds: bool) -> None:
    assert expressions.check(text, TABLES) == ()
    values = {"supply_air": 20.0, "room_air": 12.0, "fan_state": "not-so fast"}
    assert evaluate(text, values).holds is holds


def test_dead_is_never_above_what_the_method_allows_whatever_the_unit() -> None:
    """On paper and in the chart too: 1 psi is 0.07 bar, not 1 bar."""
    gauge = usual().methods["gauge"]
    step = Prove(id="a", kind="prove", say="x", method="gauge", unit="bar")
    assert step.limit(gauge) == pytest.approx(0.0689, abs=1e-4)
    assert step.model_copy(update={"below": 3.0}).limit(gauge) == pytest.approx(0.0689, abs=1e-4)
    assert step.model_copy(update={"unit": ""}).measured_in(gauge) == "psi"


@pytest.mark.parametrize(("means", "told"), [("sound", "sound"), ("proved", "proved"), ("advice", "advice"), ("", "fault")])
def test_a_finding_says_itself_what_it_means(means: str, told: str) -> None:
    assert tells(FindingMade(("a",), "s", "belt-sound", "The belt is sound.", (), means)) == told


DECIDES = """  - id: d
    kind: decide
    say: x
    cases: [{when: 'pull_down(5.0, rows("%s")) == "reaches it"', go: over}]
    otherwise: over
"""


def test_a_series_is_any_name_that_a_reading_of_the_procedure_is_kept_under() -> None:
    steps = "steps:\n" + READING % ", series: [tank]" + DECIDES + END
    with pytest.raises(Trouble, match="names one of: food, proof, tank"):
        load.parse_procedure(HEAD + SHARED + steps % "tnak")
    with pytest.raises(Trouble, match="'reaches it'"):  # the series is known; only the word is none of the function's
        load.parse_procedure(HEAD + SHARED + steps % "tank")
