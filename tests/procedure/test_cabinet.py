"""Cabinets' pages: what ships, what is refused, what steps and questions make of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.language import base
from handsfree.procedure import cabinet, check, load
from handsfree.procedure.asides import asides, at_cabinet
from handsfree.resources import shipped_folder

SHIPPED = sorted((shipped_folder("procedures") / cabinet.FOLDER).glob("*.yaml"))
PLATE = "plate: {volts: 230, hertz: 50, amperes: 2.0, refrigerant: R-290, charge-grams: 85, flame-symbol: true}"
GOOD = f"""cabinet: testkasten
title: Testkasten
keys: {{show-mode: Hold the lower key.}}
places: {{relay: behind the grille}}
leads:
  - {{terminal: 1, colour: brown, from: the cord, to: the relay}}
{PLATE}
setting: {{works: 43, low: 39, high: 46}}
sensor: {{kind: thermistor, table: {{32: 27300, 77: 10000}}}}
"""
STEPS = """procedure: look
title: Look
steps:
  - id: mode
    kind: ask
    say: Show the mode, as the cabinet's manual says. Is it cooling?
    with_page: "{show-mode} Is it cooling?"
    answers: {cooling: end, other: end}
  - {id: end, kind: end, say: Done., outcome: done}
"""


def test_two_pages_ship_and_check_finds_nothing() -> None:
    assert len(SHIPPED) == 2
    for path in SHIPPED:
        (report,) = check.check_path(path)
        assert report.remarks == ()


@pytest.mark.parametrize("named", ["firnkasten-40", "Firnkasten 40", "HK-4", "platform 2, hk 4", "Firnkasten 40 (HK-4)"])
def test_a_cabinet_is_known_by_its_model_or_its_number(named: str) -> None:
    assert cabinet.page_of(named).page.cabinet == "firnkasten-40"


@pytest.mark.parametrize("named", ["x", "firnkasten", "firnkasten-400", "firnkasten-40 and gratkasten-65"])
def test_a_cabinet_that_is_not_known_is_a_sentence(named: str) -> None:
    with pytest.raises(Trouble) as trouble:
        cabinet.page_of(named)
    assert trouble.value.status == 2
    assert "firnkasten-40" in trouble.value.sentence


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("title: Testkasten\n", "", "lacks 'title'"),
        ("title: Testkasten", "title: Testkasten\ncolour: red", "has a field 'colour'"),
        ("flame-symbol: true", "flame-symbol: false", "R-290 burns"),
        ("works: 43", "works: 50", "between 'low' and 'high'"),
        ("77: 10000", "77: 30000", "falls with the temperature"),
        ("77: 10000", "warm: 10000", "a temperature in degrees Fahrenheit"),
        ("to: the relay}", "to: the relay}\n  - {terminal: 1, colour: red, from: a, to: b}", "terminal 1 has two leads"),
        ("volts: 230", "volts: 23000", "'plate.volts'"),
        ("cabinet: testkasten", "cabinet: [", "not YAML"),
        (GOOD, "", "empty"),
        (GOOD, "just words", "fields and their values"),
    ],
)
def test_a_faulty_page_is_a_sentence(old: str, new: str, says: str) -> None:
    assert cabinet.parse(GOOD).title == "Testkasten"
    with pytest.raises(load.FileProblems) as trouble:
        cabinet.parse(GOOD.replace(old, new))
    assert trouble.value.status == 2
    assert says in trouble.value.sentence


def test_a_step_speaks_from_the_page_and_from_the_manual_where_there_is_none() -> None:
    book = load.book_of(load.parse_procedure(STEPS))
    english = base.load("en")
    spoken = at_cabinet(book, cabinet.parse(GOOD), english)
    assert spoken.at("look", "mode").say == "Hold the lower key. Is it cooling?"
    silent = at_cabinet(book, cabinet.parse(GOOD.replace("keys: {show-mode: Hold the lower key.}\n", "")), english)
    assert "as the cabinet's manual says" in silent.at("look", "mode").say


def test_a_name_that_no_page_can_have_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "look.yaml").write_text(STEPS.replace("{show-mode}", "{show-mood}"), encoding="utf-8")
    (report,) = check.check_path(tmp_path / "look.yaml")
    assert any("show-mood" in remark.why and remark.weight == "error" for remark in report.remarks)


def test_every_question_has_its_answer_and_is_told_from_the_others() -> None:
    english = base.load("en")
    for path in SHIPPED:
        page = cabinet.load_page(path).page
        found = asides(page, english)
        assert found["where is the relay"].endswith(page.places["relay"] + ".")
        assert page.leads[1].colour in found["what colour goes to terminal two"]
        assert found["how do i show the setting"] == page.keys.show_setting
        assert len(found) == len({question.casefold() for question in found})


def test_a_fault_in_the_page_of_another_cabinet_keeps_nobody_from_this_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "procedures" / "cabinets"
    place.mkdir(parents=True)
    (place / "half-1.yaml").write_text("cabinet: half-1\ntitle: Half\nplate: {volts: 12}\n")
    monkeypatch.chdir(tmp_path)
    assert cabinet.page_of("HK-4").page.cabinet == "firnkasten-40"
    with pytest.raises(Trouble, match=r"Not looked into, for there are faults in it: cabinets/half-1.yaml"):
        cabinet.page_of("nobody-9")
    with pytest.raises(Trouble, match=r"the page lacks 'plate.amperes'"):
        cabinet.page_of("half-1")
