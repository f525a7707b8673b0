"""How a visit begins: what is wrong, in the technician's words or the dispatcher's; a bad sheet gets a sentence."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import AnswerTaken, Opened, Say, Stamped, StepEntered, Utterance
from handsfree.journal.reader import read
from handsfree.language import base
from handsfree.procedure import load
from handsfree.visit import starting
from handsfree.visit.callsheet import load_call_sheet
from handsfree.visit.commands import VisitOptions, visit
from handsfree.visit.machine import advance, start

SHEET = {"site": "Talstation", "cabinet": "HK-4", "complaint": "it is too warm inside"}
BOOK = load.load_book(starting.VISIT)
WALL = "2026-03-02T08:00:00+00:00"


def asked(**fields: Any) -> VisitOptions:
    usual: dict[str, Any] = dict.fromkeys(
        ("procedure", "resume", "sound_in", "sound_out", "engine", "technician", "site", "cabinet")
    )
    return VisitOptions(**{**usual, "typed": True, "visits": Path("visits"), **fields})


def visited(lines: str, monkeypatch: pytest.MonkeyPatch, **fields: Any) -> list[Any]:
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    visit(asked(**fields), lambda *_: None, as_json=False)
    (folder,) = Path("visits").iterdir()
    return [entry.event for entry in read(folder)]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def sheet(**changes: Any) -> Path:
    path = Path("call.json")
    path.write_text(json.dumps({name: value for name, value in {**SHEET, **changes}.items() if value is not None}))
    return path


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("the beer is lukewarm", "Mains voltage can kill"),
        ("it rattles and there is a puddle", "Was that noisy or wet?"),
        ("the door handle is broken", "In a few words, for example: too warm, freezing or dead"),
    ],
)
def test_what_is_wrong_may_be_typed_in_ones_own_words(words: str, says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    events = visited(f"{words}\n", monkeypatch)
    assert says in next(event.text for event in reversed(events) if isinstance(event, Say) and event.role != "notice")


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("it is too warm inside", "too warm"), ("Warm", "too warm"), ("makes a noise since Monday", "noisy"),
        ("the breaker trips", "trips"), ("full of ice", "iced up"), ("Please exchange the deck", "exchange the deck"),
        ("it is warm and it makes a noise", None), ("come quickly", None), ("", None),
    ],
)  # fmt: skip
def test_a_complaint_in_other_words_counts_where_one_alone_fits(text: str, complaint: str | None) -> None:
    assert starting.complaint_in(text, BOOK) == complaint


def test_every_complaint_has_its_way_and_every_way_its_complaint() -> None:
    ways = starting.ways(BOOK)
    assert set(ways) == {
        "too-warm", "freezing-the-stock", "dead-or-trips", "noisy-or-vibrating", "iced-up", "deck-exchange",
        "runs-all-the-time", "wet",
    }  # fmt: skip
    assert starting.begun_by("iced-up", None) == starting.VisitStart("service-call", (("complaint", "iced up"),))
    assert starting.begun_by("platform-check", None) == starting.VisitStart("platform-check")
    assert starting.begun_by(None, None) == starting.VisitStart("service-call")


def test_a_visit_without_a_name_asks_what_is_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    events = visited("four two\naffirm\nnoise\n", monkeypatch)
    said = [event.text for event in events if isinstance(event, Say)]
    assert any("What is wrong?" in text for text in said)
    assert any("Mains voltage can kill" in text for text in said), "whatever the way, the hazards of the site come first"


def test_a_call_sheet_says_where_and_what(monkeypatch: pytest.MonkeyPatch) -> None:
    events = visited("four two\naffirm\nunderstood\ndry\n", monkeypatch, call=sheet())
    opened = events[0]
    assert isinstance(opened, Opened)
    assert (opened.site, opened.cabinet, opened.page) == ("Talstation", "HK-4", "firnkasten-40")
    assert ("complaint", "too warm") in opened.known
    said = [event.text for event in events if isinstance(event, Say)]
    assert not any("What is wrong?" in text for text in said)
    assert any(isinstance(event, StepEntered) and event.path[-1] == "too-warm" for event in events)
    assert any("Hold the lower key" in text for text in said), "its page speaks"


def test_a_sheet_in_yaml_is_one_too() -> None:
    Path("call.yaml").write_text("site: Talstation\ncabinet: HK-4\ncomplaint: noisy\n", encoding="utf-8")
    assert load_call_sheet(Path("call.yaml")).complaint == "noisy"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("site: A\ncabinet: HK-4\n", "lacks 'complaint'"),
        ("site: A\ncabinet: HK-4\ncomplaint: warm\nprice: 3\n", "has a field 'price'"),
        ("site: A\ncabinet: HK-4\ncomplaint: 3\n", "'complaint'"),
        ("site: [", "ends too soon"),
        ("[1, 2]", "fields and their values"),
        ("", "empty"),
        ("site: A\ncabinet: nobody knows it\ncomplaint: warm\n", "There is no page for the cabinet"),
    ],
)
def test_a_faulty_sheet_is_a_sentence_and_leaves_no_visit(text: str, says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("call.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(Trouble) as trouble:
        visited("", monkeypatch, call=Path("call.yaml"))
    assert trouble.value.status == 2
    assert says in trouble.value.sentence
    assert not Path("visits").exists()


def test_what_cannot_stand_together_or_is_not_there_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    for fields in ({"procedure": "too-warm", "call": sheet()}, {"call": Path("absent.yaml")}, {"cabinet": "unheard of"}):
        with pytest.raises(Trouble) as trouble:
            visited("", monkeypatch, **fields)
        assert trouble.value.status == 2
        assert not Path("visits").exists()


def test_a_cabinet_without_a_page_is_worked_on_by_the_manual(monkeypatch: pytest.MonkeyPatch) -> None:
    events = visited("four two\naffirm\n", monkeypatch, procedure="too-warm", cabinet="X-1", by_manual=True)
    assert (events[0].cabinet, events[0].page) == ("X-1", "")


def heard(state: Any, words: str, verdict: str = "asked again", sense: str = "") -> tuple[Any, list[str]]:
    """A sentence that no witness was sure of, as a microphone gives it."""
    event = Utterance(verdict, sense, words=words, engine="test", meant=1.0, started=2.0, ended=3.0)
    after, effects = advance(state, Stamped(1, WALL, 4.0, event))
    return after, [effect.text for effect in effects if isinstance(effect, Say)]


def test_what_is_wrong_may_be_spoken_in_ones_own_words_and_is_read_back() -> None:
    english = base.load("en")
    first = Opened("v", BOOK.main, "en", "", "", "", "t", "test")
    state = advance(start(BOOK, english), Stamped(0, WALL, 0.0, first))[0]
    proposed, said = heard(state, "the beer is lukewarm")
    assert said == ["Too warm?"]
    yes = Utterance("accepted", "command", "affirm", sure=1.0, engine="test", meant=1.0)
    _, effects = advance(proposed, Stamped(2, WALL, 6.0, yes))
    assert [effect.answer for effect in effects if isinstance(effect, AnswerTaken)] == ["too warm"]
    assert heard(state, "it rattles and there is a puddle")[1] == ["Was that noisy or wet?"]
    (asked,) = heard(state, "it is not warm", "proposed", "denial")[1]
    assert asked.startswith("What is wrong? In a few words")
