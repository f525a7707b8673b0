"""A step in one breath: what is understood of it, what leaves the sentence, and how few utterances a procedure takes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from handsfree.authoring.breath import breath
from handsfree.authoring.words import load_words
from handsfree.procedure.check import check_file
from handsfree.procedure.load import load_procedure
from handsfree.procedure.remarks import Weight
from tests.authoring.scenes import typed

ENGLISH, SPANISH = load_words("en"), load_words("es")
SAID: list[tuple[str, str, dict[str, Any]]] = [
    (
        "Look under the grinder. Is the seal torn, whole or missing? If it is torn go on, if not, end, nothing to do.",
        "Look under the grinder. Is the seal torn, whole or missing?",
        {"kind": "ask", "answers": [
            {"say": "torn", "go": None}, {"say": "whole", "go": "@later"}, {"say": "missing", "go": "@later"}]},
    ),
    (
        "How does the air feel, cool, warm or dead calm? If it is dead calm, step two.",
        "How does the air feel, cool, warm or dead calm?",
        {"kind": "ask", "answers": [
            {"say": "cool", "go": None}, {"say": "warm", "go": None}, {"say": "dead calm", "go": "@7"}]},
    ),
    (
        "Grind one dose. Is it clean or dusty?", "Grind one dose. Is it clean or dusty?",
        {"kind": "ask", "answers": [{"say": "clean", "go": None}, {"say": "dusty", "go": None}]},
    ),
    (
        "Give the width of the groove in millimetres, between zero point five and twelve. Expect three to three point four. "
        "Hazard blades.",
        "Give the width of the groove in millimetres.",
        {"kind": "read", "quantity": "width of the groove", "unit": "millimeter", "plausible": [0.5, 12.0],
         "expected": [3.0, 3.4], "hazards": ["blades"]},
    ),
    (
        "Isolate the grinder plug. Switch off the grinder. Pull the plug.", "Isolate the grinder plug.",
        {"kind": "isolate", "sources": ["grinder plug"], "do": ["Switch off the grinder.", "Pull the plug."]},
    ),
    (
        "Isolate the boiler switch and the gas cock. Switch off the boiler. Close the cock.",
        "Isolate the boiler switch and the gas cock.",
        {"kind": "isolate", "sources": ["boiler switch", "gas cock"], "do": ["Switch off the boiler.", "Close the cock."]},
    ),
    (
        "Prove it dead by the switch. Watch the burrs.", "Watch the burrs.", {"kind": "prove", "method": "switch"},
    ),
    (
        "Restore the supply. Put the hopper on. Look that no tool is left. Then put the plug in.", "Restore the supply.",
        {"kind": "restore", "checks": ["Put the hopper on.", "Look that no tool is left."], "power": "Put the plug in."},
    ),
    ("Lift the hopper off. Hazard blades.", "Lift the hopper off.", {"kind": "instruct", "hazards": ["blades"]}),
    (
        "Close the gas cock. Hazards are gas and hot water.", "Close the gas cock.",
        {"kind": "instruct", "hazards": ["gas", "hot water"]},
    ),
    ("The end, fixed. The seal is changed.", "The seal is changed.", {"kind": "end", "outcome": "fixed"}),
    (
        "Finding, worn groove. The groove is too wide.", "The groove is too wide.",
        {"kind": "finding", "finding": "worn-groove"},
    ),
]  # fmt: skip


@pytest.mark.parametrize(("said", "text", "facets"), SAID, ids=[one[0][:30] for one in SAID])
def test_what_is_said_becomes_fields_and_is_not_said_again(said: str, text: str, facets: dict[str, Any]) -> None:
    assert breath(said, ENGLISH, {1: 3, 2: 7}) == (text, facets)


def test_in_spanish() -> None:
    said = "Dé la anchura de la ranura en milímetros, entre uno y doce. Se espera entre tres y cuatro."
    assert breath(said, SPANISH, {}) == (
        "Dé la anchura de la ranura en milímetros.",
        {"kind": "read", "quantity": "anchura de la ranura", "unit": "millimeter", "plausible": [1.0, 12.0],
         "expected": [3.0, 4.0]},
    )  # fmt: skip
    text, facets = breath("Mire debajo. ¿Está la junta rota, entera o ausente? Si está rota siga, si no, fin.", SPANISH, {})
    assert text == "Mire debajo. ¿Está la junta rota, entera o ausente?"
    leads = {one["say"]: one["go"] for one in facets["answers"]}
    assert leads == {"rota": None, "entera": "@later", "ausente": "@later"}


#: A procedure of an invented coffee grinder, a step a breath.
GRINDER = """\
Seal of the grinder
Warning. The burrs cut and start without warning. Hazards are blades and mains.
Look under the grinder. Is the seal torn, whole or missing? If it is whole, end.
Isolate the plug. Switch off the grinder. Pull the plug by its body. Put the plug in its box with your lock and tag.
Prove it dead by the switch. Switch on the grinder's switch. Watch the burrs.
Take the upper burr carrier out. Hazard blades.
Give the width of the groove in millimetres, between 0.5 and 12 millimetres. Expect 3 to 3.4 millimetres. Hazard blades.
Press the new seal into the groove. Hazard blades.
Restore the supply. Put the hopper on. Look that no tool is left between the burrs. Then put the plug in.
The end, done. The seal is changed.
The end, no fault found. The seal is whole.
finish
step ten
finish
"""


def test_a_whole_procedure_takes_a_breath_a_step(tmp_path: Path) -> None:
    lines = GRINDER.splitlines()
    told = typed(GRINDER, tmp_path, "grinder")
    assert told.state.outcome == "finished", told.said[-3:]
    procedure = load_procedure(tmp_path / "grinder.yaml")
    kinds = [step.kind for step in procedure.steps]
    assert kinds == ["caution", "ask", "isolate", "prove", "instruct", "read", "instruct", "restore", "end", "end"]
    errors = [one for one in check_file(tmp_path / "grinder.yaml").remarks if one.weight is Weight.ERROR]
    assert errors == []
    assert len(lines) <= 14  # a title, ten steps, one way left open, two words to finish


def test_a_word_alone_is_no_step(tmp_path: Path) -> None:
    told = typed(["A title", "hello there", "finish"], tmp_path, "grinder")
    assert told.state.draft.steps == ()


def test_what_is_missing_is_asked_for_and_nothing_else(tmp_path: Path) -> None:
    told = typed(["A title", "Give the pressure of the pump in bar.", "0", "10"], tmp_path, "grinder")
    asked = [said for said in told.said if said.endswith("?")]
    assert asked[:2] == ["What is the lowest plausible reading?", "And the highest plausible reading?"]
    assert "Step one, a reading." in " ".join(told.said)


def test_what_only_the_keyboard_could_say_before(tmp_path: Path) -> None:
    lines = [
        "A title", "The purpose is to find a leak.", "Give the pressure of the pump in bar, between 0 and 10.",
        "Give the flow of the pump in percent, between 0 and 100. It takes five minutes. Accuracy two percent. "
        "Instrument the flow meter. Over range, step one.",
        "keep",
    ]  # fmt: skip
    told = typed(lines, tmp_path, "pump")
    assert told.state.draft.header["purpose"] == "To find a leak."
    step = told.state.draft.steps[1]
    wanted = {"minutes": 5.0, "accuracy": "2 percent", "instrument": "flow meter", "over_range": "@1"}
    assert {key: step.facets.get(key) for key in wanted} == wanted
    assert step.text == "Give the flow of the pump in percent."


def test_a_number_that_no_step_has_is_answered(tmp_path: Path) -> None:
    lines = ["A title", "new step", "Is it torn or whole?", "torn", "whole", "that is all", "step nine"]
    told = typed(lines, tmp_path, "seal")
    assert any("There is no step nine yet." in said for said in told.said)


def test_help_at_a_number_says_that_a_number_is_wanted(tmp_path: Path) -> None:
    told = typed(["A title", "Give the pressure of the pump in bar.", "what can i say"], tmp_path, "pump")
    assert any(said.startswith("You can say a number") for said in told.said)


def test_help_says_what_may_be_said_and_becomes_no_title(tmp_path: Path) -> None:
    told = typed(["help", "A title"], tmp_path, "pump")
    assert any(said.startswith("You can say") for said in told.said)
    assert "title: A title" in (tmp_path / "pump.yaml").read_text(encoding="utf-8")


def test_help_names_no_step_that_is_not_there_yet(tmp_path: Path) -> None:
    lines = ["A title", "Is it torn or whole?", "keep", "Finding: the seal is torn.", "what can i say"]
    told = typed(lines, tmp_path, "seal")
    helped = [said for said in told.said if said.startswith("You can say")]
    assert len(helped) == 1
    assert "step one" in helped[0]
    assert "step two" not in helped[0]


@pytest.mark.parametrize("said", ["three millimetres", "3", "three"])
def test_a_number_with_its_unit_is_taken(said: str, tmp_path: Path) -> None:
    told = typed(["A title", "Give the width of the groove in millimetres.", said, "12", "keep"], tmp_path, "groove")
    assert told.state.draft.steps[0].facets["plausible"] == [3.0, 12.0]


def test_ids_are_of_the_object(tmp_path: Path) -> None:
    lines = ["A title", "Look under the grinder, where you can. Is the seal torn, whole or missing?",
             "Press the new seal into the groove, all the way round.", "keep"]  # fmt: skip
    told = typed(lines, tmp_path, "grinder")
    assert [step.id for step in told.state.draft.steps] == ["seal", "press-new-seal-groove"]


def test_words_that_no_ear_can_tell_apart_are_no_doubt() -> None:
    from handsfree.authoring.dictation import _differences

    assert [doubt.word for doubt in _differences(["the", "main's", "voltage"], ["the", "mains", "voltage"])] == []
    assert [doubt.word for doubt in _differences(["press", "the", "bottom"], ["press", "the", "button"])] == ["bottom"]
