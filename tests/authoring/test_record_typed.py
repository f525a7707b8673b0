"""Recording from the keyboard: the same machine as by voice, word for word."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.procedure.check import check_file
from handsfree.procedure.load import load_book, load_procedure
from handsfree.procedure.model import Ask, Caution, Decide, Finding, Level, Read
from handsfree.procedure.proofs import prove
from handsfree.resources import shipped_folder
from tests.authoring.scenes import LOOK_AT_FAN, typed

TITLE = "Look at the fan"
END = ["new step", "The work is over.", "the end", "all done", "keep"]


def test_a_whole_procedure_loads_is_proved_and_has_nothing_to_remark(tmp_path: Path) -> None:
    told = typed(LOOK_AT_FAN, tmp_path)
    assert told.state.outcome == "finished"
    path = tmp_path / "fan-look.yaml"
    procedure = load_procedure(path)
    caution, ask, read, finding, *_ = procedure.steps
    assert isinstance(caution, Caution)
    assert (caution.level, caution.hazards) == (Level.DANGER, ("mains",))
    assert caution.say == "Mains voltage can kill."  # its signal word is the level: the visit says it, once
    assert isinstance(ask, Ask)
    assert [(answer.say, answer.go) for answer in ask.answers] == [
        ("cool", None), ("warm", None), ("dead calm", "fan-moves-little-air"),
    ]  # fmt: skip
    assert isinstance(read, Read)
    assert (read.unit, read.plausible, read.expected) == ("degF", (-20, 130), (39, 46))
    assert isinstance(finding, Finding)
    assert finding.evidence == (ask.id, read.id)
    assert prove(load_book(path)) == ()
    assert check_file(path).remarks == ()
    assert "The check found nothing." in told.said


def _one(folder: Path, *lines: str) -> object:
    typed([TITLE, "new step", *lines, "keep", *END, "finish", "finish"], folder)
    return load_procedure(folder / "fan-look.yaml").steps[0]


KINDS: dict[str, tuple[tuple[str, ...], dict[str, object]]] = {
    "instruct": (("Brush the condenser.", "an instruction", "sharp fins", "that is all"), {"hazards": ("sharp fins",)}),
    "ask": (
        ("Look at the lamp.", "a question", "lit", "dark", "that is all", "straight on", "straight on", "none"),
        {"kind": "ask"},
    ),
    "read": (
        ("Read the meter, in volts, between 100 and 130 volts.", "supply voltage", "leave that open", "none"),
        {"unit": "volt", "plausible": (100.0, 130.0), "quantity": "supply voltage", "expected": None},
    ),
    "isolate": (
        ("The next steps put your hands near the fan.", "isolation", "Pull the plug.", "Put your lock on it.", "that is all",
         "mains by cord and plug", "that is all"),
        {"do": ("Pull the plug.", "Put your lock on it."), "sources": ("mains by cord and plug",)},
    ),
    "prove": (("Prove it dead. Watch the fans.", "by the switch"), {"method": "switch"}),
    "restore": (
        ("The supply comes back.", "Take every tool out.", "that is all", "Put the grille back.", "that is all",
         "Put the plug in."),
        {"checks": ("Take every tool out.", "Put the grille back."), "power": "Put the plug in."},
    ),
    "wait": (
        ("Wait for three minutes.", "The compressor rests."),
        {"lasts": "3 min", "because": "The compressor rests."},
    ),
    "evidence": (("Take a photo of the plate.", "none"), {"what": "photo"}),
    "call": (("Do the close out.", "another procedure", "close out"), {"procedure": "close-out"}),
    "end": (("It is over.", "the end", "made safe"), {"outcome": "made safe"}),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_asked_for_what_was_not_said(kind: str, tmp_path: Path) -> None:
    lines, fields = KINDS[kind]
    step = _one(tmp_path, *lines)
    assert getattr(step, "kind") == kind  # noqa: B009
    for name, value in fields.items():
        assert getattr(step, name) == value, name


def test_a_list_that_is_too_short_goes_on(tmp_path: Path) -> None:
    told = typed([TITLE, "new step", "Look at the lamp.", "a question", "lit", "that is all"], tmp_path)
    assert "There must be at least two." in told.said
    assert told.state.at == "answers"


def test_a_decision_and_a_hand_over_name_steps_that_were_recorded(tmp_path: Path) -> None:
    lines = [
        TITLE,
        "new step", "Give the temperature in degrees Celsius.", "temperature", "0", "60", "leave that open", "none", "keep",
        "new step", "The temperature decides.", "a decision", "step one", "below", "5 degrees", "a later step",
        "negative", "the following step", "keep",
        "new step", "It is warm.", "hand over", "the support desk", "step one", "that is all", "keep",
        "new step", "Handed over.", "the end", "handed over", "keep",
        "new step", "It is cold.", "the end", "no fault found", "keep",
        "finish", "step five", "finish",
    ]  # fmt: skip
    assert typed(lines, tmp_path).state.outcome == "finished"
    path = tmp_path / "fan-look.yaml"
    steps = load_procedure(path).steps
    decide = steps[1]
    assert isinstance(decide, Decide)
    assert (decide.cases[0].when, decide.cases[0].go, decide.otherwise) == ("temperature < 5", "cold", steps[2].id)
    assert prove(load_book(path)) == ()


def _three(*more: str) -> list[str]:
    lines = [TITLE]
    for text in ("Open the door.", "Look at the lamp.", "Close the door."):
        lines += ["new step", text, "an instruction", "none", "keep"]
    return [*lines, *more]


def _says(folder: Path) -> list[str]:
    import yaml

    return [step["say"] for step in yaml.safe_load((folder / "fan-look.yaml").read_text(encoding="utf-8"))["steps"]]


def test_a_step_is_moved_before_another(tmp_path: Path) -> None:
    told = typed(_three("move before", "step three", "step one"), tmp_path)
    assert _says(tmp_path) == ["Close the door.", "Open the door.", "Look at the lamp."]
    assert "It is step one now." in told.said


def test_nothing_is_deleted_before_it_was_affirmed_twice(tmp_path: Path) -> None:
    told = typed(_three("delete", "step two", "affirm", "negative", "delete", "step two", "affirm"), tmp_path)
    assert len(_says(tmp_path)) == 3
    assert told.said.count("Once more. Delete it for good? Affirm or negative.") == 2
    typed(["affirm"], tmp_path)  # taken up where it was: the second affirm
    assert _says(tmp_path) == ["Open the door.", "Close the door."]


def test_yes_counts_at_the_first_question_about_deleting_and_not_at_the_last(tmp_path: Path) -> None:
    told = typed(_three("delete", "step two", "yes", "yes"), tmp_path)
    assert told.said.count("Once more. Delete it for good? Affirm or negative.") == 1
    assert len(_says(tmp_path)) == 3
    typed(["no", "affirm"], tmp_path)
    assert _says(tmp_path) == ["Open the door.", "Close the door."]


def test_a_step_is_said_again_before_it_is_kept(tmp_path: Path) -> None:
    lines = [TITLE, "new step", "Open the dor.", "an instruction", "none", "again"]
    typed([*lines, "Open the door.", "an instruction", "none", "keep"], tmp_path)
    assert _says(tmp_path) == ["Open the door."]


def test_one_field_is_changed_and_nothing_else(tmp_path: Path) -> None:
    typed(LOOK_AT_FAN.replace("finish\nstep six\nfinish\n", ""), tmp_path)
    typed(["change a step", "step three", "change", "the range", "0", "100", "keep"], tmp_path)
    typed(["change a step", "step one", "change", "the words", "Warning. Mains voltage can hurt.", "keep"], tmp_path)
    steps = load_procedure(tmp_path / "fan-look.yaml").steps
    read, caution = steps[2], steps[0]
    assert isinstance(read, Read)
    assert (read.plausible, read.expected, read.quantity) == ((0, 100), (39, 46), "temperature of the cabinet")
    assert isinstance(caution, Caution)
    assert caution.say == "Mains voltage can hurt."


def test_correction_takes_back_the_last_answer(tmp_path: Path) -> None:
    lines = [TITLE, "new step", "Brush the fins.", "a question", "correction", "an instruction", "none", "keep"]
    typed(lines, tmp_path)
    assert "kind: instruct" in (tmp_path / "fan-look.yaml").read_text(encoding="utf-8")


def test_a_range_upside_down_is_asked_again(tmp_path: Path) -> None:
    lines = [TITLE, "new step", "Read the meter in volts.", "voltage", "130", "100", "100", "130"]
    told = typed([*lines, "leave that open", "none", "keep"], tmp_path)
    assert "The highest must be above the lowest. Give the lowest again." in told.said
    assert "plausible: [100, 130]" in told.text


def test_a_reading_in_another_unit_is_converted_and_a_contradiction_asked(tmp_path: Path) -> None:
    lines = [TITLE, "new step", "Read the gauge in degrees Fahrenheit.", "temperature", "5 volts", "0 celsius", "20 celsius"]
    told = typed([*lines, "leave that open", "none", "keep"], tmp_path)
    assert "That is another unit. Give it again." in told.said
    assert "plausible: [32, 68]" in told.text


@pytest.mark.parametrize("name", ["platform-check", "too-warm", "deck-take-out"])
def test_a_procedure_that_is_there_comes_back_as_it_was(name: str, tmp_path: Path) -> None:
    source = shipped_folder("procedures") / f"{name}.yaml"
    (tmp_path / source.name).write_bytes(source.read_bytes())
    typed(["stop recording"], tmp_path, name)
    assert load_procedure(tmp_path / source.name) == load_procedure(source)


@pytest.mark.parametrize("name", ["../up", "Fan", "a b", ""])
def test_what_is_no_name_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="cannot be a procedure's name"):
        typed([], tmp_path, name)


def test_findings_of_the_check_are_read_out(tmp_path: Path) -> None:
    """By the number of their step, once, and without the words and signs of the file."""
    told = typed([*_three("finish")], tmp_path)
    at = told.said.index("The check found one.")
    assert told.said[at + 1] == (
        "Step three runs off the end of the procedure. Say where it leads, or record an end after it."
    )
    sharp = ["new step", "Brush the fins.", "an instruction", "sharp fins", "that is all", "keep"]
    both = ["new step", "Open the door and look at the lamp.", "an instruction", "none", "keep"]
    told = typed([TITLE, *sharp, *both, *END, "finish"], tmp_path / "other")
    at = told.said.index("The check found two.")
    assert told.said[at + 1 : at + 3] == [
        "Step one meets sharp fins but can be reached without a caution that names it. Record a caution before it.",
        "Step two has two instructions in one sentence: 'Open the door and look at the lamp.'. "
        "Begin a new sentence at 'look'.",
    ]
    assert not any(sign in said for said in told.said for sign in "`@>_")


def test_a_step_that_lost_what_it_names_is_said_to_be_incomplete(tmp_path: Path) -> None:
    lines = [
        TITLE, "new step", "Look at the lamp.", "a question", "lit", "dark", "that is all", "straight on", "straight on",
        "none", "keep", "new step", "The lamp is dark.", "a finding", "lamp dark", "step one", "that is all", "keep", *END,
        "delete", "step one", "affirm", "affirm", "check it now",
    ]  # fmt: skip
    told = typed(lines, tmp_path)
    assert "Step one is not complete: the evidence. Change it." in told.said


def test_it_can_be_stopped_at_any_question(tmp_path: Path) -> None:
    for lines in ([], [TITLE], [TITLE, "new step"], [TITLE, "new step", "Brush the fins."]):
        told = typed([*lines, "stop recording", "new step"], tmp_path / str(len(lines)))
        assert told.state.outcome == "stopped"
        assert told.said[-1] == "The recording is stopped. Everything kept is saved."


BY_HAND = """# Written by hand. All names are invented.
procedure: fan-look
title: Look at the fan  # a remark
version: 1
language: en
steps:
  # common practice, no source
  - {id: brush, kind: instruct, say: Brush the condenser.}
  - {id: end-done, kind: end, outcome: done, say: The work is over.}
"""


def test_a_file_written_by_hand_is_left_alone_until_something_is_changed(tmp_path: Path) -> None:
    path = tmp_path / "fan-look.yaml"
    path.write_text(BY_HAND, encoding="utf-8")
    typed([], tmp_path)
    assert path.read_text(encoding="utf-8") == BY_HAND


def test_a_recording_adds_its_step_and_leaves_the_rest_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "fan-look.yaml"
    path.write_text(BY_HAND, encoding="utf-8")
    told = typed(["new step", "Look that the fan turns.", "an instruction", "that is all", "keep"], tmp_path)
    assert len(told.state.draft.steps) == 3
    text = path.read_text(encoding="utf-8")
    assert text.startswith(BY_HAND.replace("version: 1", "version: 2"))
    added = text.removeprefix(BY_HAND.replace("version: 1", "version: 2"))
    assert added.split()[:3] == ["-", "id:", "look-fan-turns"]
    typed(["new step", "Look that the lamp is lit.", "an instruction", "that is all", "keep"], tmp_path)
    assert text.rstrip() in path.read_text(encoding="utf-8").replace("version: 3", "version: 2")


def test_nothing_recorded_leaves_no_file(tmp_path: Path) -> None:
    typed([], tmp_path)
    assert not (tmp_path / "fan-look.yaml").exists()
