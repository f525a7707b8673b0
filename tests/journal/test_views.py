"""Terminal, page, PDF, captions, exports, service report: each shows what it must, the customer's nothing it must not."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from rich.console import Console

from handsfree.errors import Trouble
from handsfree.isolation.rules import TABLE, SourceEvent
from handsfree.journal import captions, commands, exports, keys
from handsfree.journal.account import Account, IsolationSpan, account
from handsfree.journal.canonical import entry_of
from handsfree.journal.events import (
    Attached,
    EvidenceTaken,
    FindingMade,
    Gate,
    PromptEnded,
    Resumed,
    Say,
    Stamped,
    TimerRang,
    Utterance,
)
from handsfree.journal.page import visit_page
from handsfree.journal.pdf import service_pdf, visit_pdf
from handsfree.journal.prune import prune_visits
from handsfree.journal.replay import LONGEST_PAUSE, replay, wish
from handsfree.journal.rows import row_of, rows
from handsfree.journal.screen import summary
from handsfree.journal.service import report_markdown, service
from handsfree.journal.story import gate_words, in_words, story
from handsfree.journal.tongue import say_in
from handsfree.journal.verify import verify
from handsfree.visit import sessions
from handsfree.visit.starting import begun_by
from tests.journal.made import EVENTS, TestClock, read_list, write_visit
from tests.journal.visited import LOCK, MACHINE, run, visit


def test_every_way_in_which_a_source_gets_live_is_told_in_words() -> None:
    """Apart from what the technician does in order: to restore, to leave off, to close the visit."""
    in_order = {SourceEvent.RESTORED, SourceEvent.LEFT, SourceEvent.CLOSED}
    for turn in set(SourceEvent) - in_order - {turn for _, turn in TABLE}:
        row = row_of(Stamped(4, "2026-03-02T08:00:00+00:00", 60.0, Gate("ISOLATED", "LIVE", turn, "", "off", "plug")))
        assert row is not None
        assert not row.aside.startswith("by "), turn


def _terminal(told: Account, *, only: str | None = None, begin: str | None = None, **more: object) -> str:
    out = io.StringIO()
    replay(told, wish(more.pop("speed", None), begin, only), Console(file=out, width=500), **more)  # type: ignore[arg-type]  # options by name
    return out.getvalue()


# ---- terminal -------------------------------------------------------------------------------------------------------


def test_the_terminal_shows_everything_a_supervisor_asks(told: Account) -> None:
    text = _terminal(told)
    for wanted in [
        "The chain of", "is intact, under no key", "58 °F", "out of its expected range", "expected 39 to 46",
        "typed, accepted, 100.0% sure",
        "Isolation: ISOLATING to ISOLATED", "by proof", "a denial was heard: not isolated", "Danger acknowledged",
        "said again", "Time is up", "condenser was dirty", "0:02:",
    ]:  # fmt: skip
        assert wanted in text, wanted
    assert "DOES NOT FOLLOW" not in text


@pytest.mark.parametrize(
    ("only", "has", "lacks"),
    [("gates", "gate phrase given", "58 °F:"), ("readings", "44 °F", "Isolation:"), ("trouble", "stays shut", "44 °F")],
)
def test_the_terminal_shows_only_a_topic(told: Account, only: str, has: str, lacks: str) -> None:
    text = _terminal(told, only=only)
    assert has in text
    assert lacks not in text


def test_the_terminal_begins_where_asked(told: Account) -> None:
    text = _terminal(told, begin="10:00")
    assert "not isolated" not in text.split("╯")[1]
    assert "gate phrase given" in text


def test_in_time_it_sleeps_as_the_visit_did_and_plays_its_sound(told: Account) -> None:
    slept: list[float] = []
    played: list[tuple[int, int]] = []
    _terminal(
        told, speed=2.0, sleep=slept.append, play=lambda samples, rate: played.append((len(samples), rate)),
        voice=lambda text: np.zeros(1600, np.float32),
    )  # fmt: skip
    assert len(played) > 40
    assert {rate for _, rate in played} == {32_000}
    assert (9600, 32_000) in played  # a clip of 0.6 s
    assert max(slept) <= LONGEST_PAUSE / 2.0
    assert sum(slept) < told.lasted / 2.0


@pytest.mark.parametrize(("speed", "begin", "only"), [(0.0, None, None), (None, "soon", None), (None, None, "colours")])
def test_what_cannot_be_asked_is_told(speed: float | None, begin: str | None, only: str | None) -> None:
    with pytest.raises(Trouble):
        wish(speed, begin, only)


def test_a_record_that_was_changed_is_shown_up_to_there_and_exits_3(done: Path, tmp_path: Path) -> None:
    folder = tmp_path / "visit"
    shutil.copytree(done, folder)
    data = (folder / "journal.jsonl").read_bytes()
    (folder / "journal.jsonl").write_bytes(data.replace(b"not isolated", b"now isolated", 1))
    out = io.StringIO()
    with pytest.raises(Trouble, match="is broken at event") as caught:
        commands.replay(folder, MACHINE, console=Console(file=out, width=300))
    assert caught.value.status == 3
    assert "THE RECORD IS BROKEN" in out.getvalue()
    with pytest.raises(Trouble) as caught:
        commands.verify(folder, keys_folder=tmp_path / "none")
    assert caught.value.status == 3


# ---- page and PDF ---------------------------------------------------------------------------------------------------


def test_the_page_is_self_contained_and_whole(told: Account) -> None:
    text = visit_page(told)
    assert not re.findall(r"""(?:src|href)=["'](?!#|data:)""", text)
    assert "://" not in text
    assert "<script" not in text
    assert text.count("<audio") == sum(1 for row in told.rows if row.clip)
    order = ("What needs a look", "What was found", "What was done", "What is next", "Isolations", "Before and after",
             'id="story"')  # fmt: skip
    assert sorted(order, key=text.index) == list(order)
    for row in told.rows:
        if row.what not in ("signed", "sealed", "opened"):
            assert f'id="e{row.n}"' in text
    for target in re.findall(r'href="#([^"]+)"', text):
        assert f'id="{target}"' in text, target


def test_the_page_escapes_what_was_typed(tmp_path: Path) -> None:
    folder = visit(tmp_path, ['<script>alert("x")</script> \x07 & "q"'])
    text = visit_page(account(folder, MACHINE))
    assert "<script" not in text
    assert "\x07" not in text
    assert "&lt;script&gt;" in text


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: apt-get install chromium")
def test_the_page_in_chromium_passes_axe_and_is_used_by_keyboard(told: Account, done: Path, tmp_path: Path) -> None:
    """WCAG 2.2 A and AA by axe-core; zoomed to 320 CSS px nothing scrolls sideways but the tables (1.4.10); Tab reaches the
    skip link first; a clip plays."""
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    bad = account(visit(tmp_path, ["nine nine"]), MACHINE)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": 1200, "height": 900})
        asked: list[str] = []
        tab.on("request", lambda request: asked.append(request.url))
        for number, shown in enumerate([told, bad]):
            file = tmp_path / f"{number}.html"
            file.write_text(visit_page(shown), encoding="utf-8")
            tab.goto(file.as_uri())
            tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
            found = Axe().run(tab, options={"runOnly": tags})
            assert found.violations_count == 0, found.generate_report()
        tab.goto((tmp_path / "0.html").as_uri())
        assert all(url.startswith(("file:", "data:")) for url in asked)
        tab.keyboard.press("Tab")
        assert "Skip" in tab.evaluate("document.activeElement.textContent")
        tab.keyboard.press("Enter")
        assert tab.evaluate("location.hash") == "#look"
        tab.evaluate("async () => { const a = document.querySelector('audio'); a.muted = true; await a.play(); }")
        assert tab.evaluate("document.querySelector('audio').duration") == pytest.approx(0.6, abs=0.05)
        tab.set_viewport_size({"width": 320, "height": 800})
        assert tab.evaluate("document.documentElement.scrollWidth") <= 320
        pdf = tab.pdf(format="A4")
        assert pdf.startswith(b"%PDF")
        browser.close()


def test_the_pdfs_can_be_read(told: Account, tmp_path: Path) -> None:
    for number, data in enumerate([visit_pdf(told), service_pdf(service(told))]):
        assert data.startswith(b"%PDF")
        if shutil.which("pdftotext"):
            (tmp_path / f"{number}.pdf").write_bytes(data)
            text = subprocess.run(
                ["pdftotext", tmp_path / f"{number}.pdf", "-"], capture_output=True, check=True
            ).stdout.decode()
            assert "58 °F" in text
            assert "condenser was dirty" in text


# ---- the customer's report ------------------------------------------------------------------------------------------


def test_the_service_report_says_what_a_customer_must_know(told: Account) -> None:
    text = report_markdown(service(told))
    for section in [
        "Fault", "Evidence", "Work done", "Parts", "Readings before and after", "Product temperature", "Cautions",
        "Open points",
    ]:  # fmt: skip
        assert f"## {section}" in text
    assert "condenser was dirty" in text
    assert "| Temperature of the cabinet | 58 °F (out of its expected range) |  | 39 to 46 °F |" in text
    assert "| Temperature of the delivery air |  | 44 °F |" in text
    assert "- Cabinet temperature: 58 °F" in text
    assert "degF" not in text
    assert "Mains voltage can kill" in text
    assert "Brush the condenser" in text
    work = next(section for section in service(told).sections if section.title == "Work done").lines
    assert "Switch off the cabinet at its own switch." not in work
    assert "Pull the plug, by its body." not in work
    assert "proved dead for 7 min" in text
    assert "The next steps put your hands near a fan and the mains." not in work
    assert "The supply comes back in this order." not in work


def test_a_caution_is_told_without_how_it_was_to_be_answered(told: Account) -> None:
    text = report_markdown(service(told))
    assert "Mains voltage can kill" in text
    assert "Say understood" not in text


@pytest.mark.parametrize(("begun", "lines"), [("service-call", ("dead", "understood")), ("too-warm", ("understood",))])
def test_the_complaint_is_what_was_said_to_be_wrong(tmp_path: Path, begun: str, lines: tuple[str, ...]) -> None:
    """Found by voice: every visit that began with 'what is wrong?' had the complaint 'Service call'."""
    known = begun_by(begun, None)
    book = sessions.provable(known.procedure)
    clock = TestClock(at=1000.0)
    who = sessions.Who("A. Brandner (invented)", "", "")
    session = sessions.begin(book, tmp_path, who, "typed", clock=clock, known=known.known)
    run(session, lines, clock)
    assert story(account(session.folder, MACHINE)).complaint == {"service-call": "Dead"}.get(begun, "Too warm")


def test_a_call_for_help_is_no_caution_of_the_customers_report(tmp_path: Path) -> None:
    """Found by voice: 'Stop work. Stop any bleeding.' stood among the cautions."""
    called = account(visit(tmp_path, ("understood", "i am hurt", "go ahead", "next step")), MACHINE)
    said = [entry.event.text for entry in called.entries if type(entry.event).__name__ == "Say"]
    assert any("Stop work" in text for text in said)
    text = report_markdown(service(called))
    assert "Mains voltage can kill" in text
    assert "Stop work" not in text


def test_a_source_that_was_relieved_met_no_shut_gate() -> None:
    gate = Gate("ISOLATING", "ISOLATING", "relieved", "", "off", "charge")
    row = row_of(Stamped(4, "2026-03-02T08:00:00+00:00", 60.0, gate))
    assert row is not None
    assert not row.trouble
    assert gate_words(row) == "Relieved, to be proved"


def test_an_isolation_that_was_cleared_was_not_given_back(told: Account) -> None:
    """Found by voice: 'power is on' in the middle of the work, and the customer read 'then given back'."""
    states = ("ISOLATED", "LIVE", "ISOLATING", "ISOLATED", "RESTORING", "LIVE")
    ends = (20.0, 21.0, 60.0, 90.0, 95.0, 99.0)
    begins = (0.0, *ends[:-1])
    cleared = tuple(IsolationSpan(*one) for one in zip(states, begins, ends, range(6), strict=True))
    text = report_markdown(service(dataclasses.replace(told, spans=cleared)))
    assert "proved dead for 20.0 s, then taken for live." in text
    assert "proved dead for 30.0 s, then given back." in text
    other = dataclasses.replace(cleared[1], state="MADE ELSEWHERE")  # a word of a later program, or of nobody
    text = report_markdown(service(dataclasses.replace(told, spans=(cleared[0], other, *cleared[1:]))))
    assert "proved dead for 20.0 s, then taken for live." in text


def test_no_customer_report_carries_the_lock_number_or_the_voice(told: Account, tmp_path: Path) -> None:
    """The number was stated, read back, used in both gate phrases, typed wrong once: in the record, and in no report."""
    record = (told.folder / "journal.jsonl").read_text()
    assert LOCK in record
    texts = [report_markdown(service(told))]
    if shutil.which("pdftotext"):
        (tmp_path / "r.pdf").write_bytes(service_pdf(service(told)))
        texts.append(subprocess.run(["pdftotext", tmp_path / "r.pdf", "-"], capture_output=True, check=True).stdout.decode())
    # the record's hash and the end of the visit's name are drawn anew each time, and may hold any three figures by chance
    drawn = [r"\s*".join(map(re.escape, name)) for name in (told.report.head, told.folder.name)]
    for whole in texts:
        text, taken = re.subn("|".join(drawn), "", whole)
        assert taken >= 2
        assert not re.search(r"seven|three|nine|739|7 3 9|lock(ed)?, ", text.lower())
        assert ".flac" not in text
        assert "isolated, lock" not in text.lower()
        for row in told.rows:
            if row.who == "technician" and len(row.text) > 12:
                assert row.text not in text


def test_a_visit_that_was_stopped_has_open_points_and_claims_no_work_it_did_not_do(tmp_path: Path) -> None:
    from tests.journal.visited import LINES

    folder = visit(tmp_path, LINES[: LINES.index("say again") + 1])
    text = report_markdown(service(account(folder, MACHINE)))
    assert "ended as: stopped" in text
    assert "was isolated, and its lock is still on." in text
    assert "Brush the condenser" not in text


def test_a_reading_that_was_taken_back_is_on_no_curve_and_marked_in_the_table(tmp_path: Path) -> None:
    """Found by voice: 23 V, corrected to 223 V, was drawn as a voltage that rose."""
    lines = ("understood", 60.0, "next step", "warm", "fifty eight", LOCK, "affirm", "correction", "sixty two", "affirm")
    told = account(visit(tmp_path, lines), MACHINE)
    (curve,) = story(told).curves
    assert [point.value for point in curve.points] == [62.0]
    table = csv.DictReader(io.StringIO(exports.readings_csv(told.entries), newline=""))
    assert [(float(row["value"]), row["taken_back"]) for row in table] == [(58.0, "yes"), (62.0, "no")]


def test_a_photo_that_nobody_attached_is_said_to_be_missing(told: Account) -> None:
    """Found by voice: the customer's report listed a photo that is nowhere."""
    taken = (EvidenceTaken(("p",), "wiring", "photo"), EvidenceTaken(("p",), "plate", "photo"),
             EvidenceTaken(("p",), "sheet", "photo", taken=False))  # fmt: skip
    asked = (*taken, Attached("plate", "1.jpg", "0" * 64))
    more = tuple(Stamped(9000 + n, "2026-03-02T08:00:00+00:00", 900.0, event) for n, event in enumerate(asked))
    text = report_markdown(service(dataclasses.replace(told, entries=(*told.entries, *more))))
    assert "Photo: Wiring (not attached)" in text
    assert "Photo: Plate\n" in text
    assert "Photo: Sheet (not taken)" in text
    shown = [row.text for entry in more if (row := row_of(entry)) is not None]
    assert shown[:3] == ["Photo taken: wiring", "Photo taken: plate", "Photo not taken: sheet"]


def test_a_wait_that_was_cut_short_is_an_open_point_and_no_work_done(told: Account, tmp_path: Path) -> None:
    from tests.journal.visited import LINES

    rest = "The compressor rests before it starts."
    whole = report_markdown(service(told))
    assert rest not in whole  # a wait is no work either where it was kept
    assert "cut short" not in whole
    wait = LINES.index(200.0)
    cut = visit(tmp_path, [*LINES[:wait], "next step", "affirm", *LINES[wait + 2 :]])
    text = report_markdown(service(account(cut, MACHINE)))
    assert f"- {rest}" not in text
    assert f"- A wait was cut short: {rest}" in text.partition("## Open points")[2]


def test_speech_that_was_answered_is_not_told_as_not_for_the_program() -> None:
    """Found by voice: 'it leans a bit to the front' was answered with a question, and marked '(not for the program)'."""
    not_mine = Utterance("not for me", "phrase", "it leans", words="It leans a bit.", sure=0.01)
    asked = (not_mine, PromptEnded(3), Say(4, "Leans forward?", "readback"), not_mine, not_mine, TimerRang("quiet"),
             Say(5, "Ready when you are.", "notice"))  # fmt: skip
    shown = list(rows([Stamped(n, "2026-03-02T08:00:00+00:00", 60.0, event) for n, event in enumerate(asked)]))
    whats = [row.what for row in shown if row.who == "technician"]
    assert whats == ["not understood", "not for the program", "not for the program"]
    assert say_in("es")(whats[0]) == "no se entendió"
    assert in_words(shown[0]).aside == ""


def test_a_visit_of_two_days_names_both(told: Account) -> None:
    later = (Stamped(9000, "2026-05-21T08:00:00+00:00", 90000.0, Resumed("to be continued")),)
    (day,) = [text for name, text in service(told).facts if name == "Date"]
    two = service(dataclasses.replace(told, entries=(*told.entries, *later)))
    (days,) = [text for name, text in two.facts if name == "Date"]
    assert days == f"{day}, 2026-05-21"


def test_every_fault_that_was_found_is_on_the_screen_and_on_paper(told: Account, tmp_path: Path) -> None:
    """Found by voice: of a leaning cabinet and a blocked drain the supervisor read the drain alone."""
    leans = FindingMade(("p",), "level", "cabinet-not-level", "The cabinet leans.")
    both = dataclasses.replace(told, entries=(Stamped(1, told.began, 0.0, leans), *told.entries))
    assert story(both).besides == ((1, "The cabinet leans."),)
    assert story(told).besides == ()
    page = summary(story(both), both, "")
    assert "Found besides:" in page
    assert "The cabinet leans." in page
    assert "Found besides:" not in summary(story(told), told, "")
    assert say_in("es")("Found besides:") == "Se encontró además:"
    if shutil.which("pdftotext"):
        (tmp_path / "v.pdf").write_bytes(visit_pdf(both))
        text = subprocess.run(["pdftotext", tmp_path / "v.pdf", "-"], capture_output=True, check=True).stdout.decode()
        assert "The cabinet leans." in text


def test_a_report_on_a_record_that_does_not_hold_says_so_and_exits_3(tmp_path: Path) -> None:
    """Here: one that a device signed whose key is not among the known ones. Alone, nothing else is wrong with it."""
    commands.keys(make="van-7", keys_folder=tmp_path / "known", console=Console(file=io.StringIO()))
    stranger = keys.make("van-8", tmp_path / "stranger")
    folder = visit(tmp_path, key=stranger)
    for to in (tmp_path / "r.md", tmp_path / "r.pdf"):
        commands.report(folder, to, keys_folder=tmp_path / "stranger")
        with pytest.raises(Trouble, match="whose key is not known here") as caught:
            commands.report(folder, to, keys_folder=tmp_path / "known")
        assert caught.value.status == 3
    assert "IS BROKEN" in (tmp_path / "r.md").read_text(encoding="utf-8")


def test_the_journal_itself_may_be_named_in_place_of_its_folder(done: Path) -> None:
    assert account(done / "journal.jsonl").folder == done


# ---- exports and captions -------------------------------------------------------------------------------------------


def test_readings_come_back_from_csv_and_parquet(done: Path, tmp_path: Path) -> None:
    commands.export(done, "readings", tmp_path / "r.csv")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "r.csv").read_text())))
    assert [(row["step"], float(row["value"]), row["unit"]) for row in rows] == [
        ("cabinet-temperature", 58.0, "degF"), ("delivery-temperature", 44.0, "degF"),
    ]  # fmt: skip
    pq = pytest.importorskip("pyarrow.parquet")
    commands.export(done, "readings", tmp_path / "r.parquet")
    table = pq.read_table(tmp_path / "r.parquet").to_pylist()
    assert [row["value"] for row in table] == [58.0, 44.0]
    assert table[0]["verdict"] == "out of its expected range"


def test_every_exported_event_is_as_the_published_schema_says(done: Path, tmp_path: Path) -> None:
    commands.export(done, "events", tmp_path / "e.jsonl")
    commands.export(None, "schema", tmp_path / "s.json")
    schema = json.loads((tmp_path / "s.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)
    validator.check_schema(schema)
    lines = (tmp_path / "e.jsonl").read_text().splitlines()
    assert len(lines) == len(read_list(done))
    for line in lines:
        validator.validate(json.loads(line))
    wrong = json.loads(lines[3])
    wrong["event"]["surprise"] = 1
    assert not validator.is_valid(wrong)


@given(EVENTS)
@settings(max_examples=200, deadline=None)
def test_the_schema_takes_every_event(event: object) -> None:
    entry = entry_of(Stamped(0, "2026-02-11T09:30:00.125+01:00", 0.0, event, ""))
    assert _VALIDATOR.is_valid(json.loads(json.dumps(entry)))


_VALIDATOR = jsonschema.Draft202012Validator(exports.schema())


def test_the_sound_of_the_visit_has_captions_that_fit_it(told: Account, tmp_path: Path) -> None:
    vtt = captions.write(told, tmp_path / "visit.flac", lambda text: np.full(len(text) * 400, 0.1, np.float32))
    samples, rate = soundfile.read(tmp_path / "visit.flac")
    text = vtt.read_text()
    assert text.startswith("WEBVTT\n\n")
    assert "[0:02:" in text
    assert "<v Technician>not isolated" in text
    assert "<v Program>You said it is not." in text
    times = [
        [
            sum(float(part) * 60**power for power, part in enumerate(reversed(time.split(":"))))
            for time in line.split(" --> ")
        ]
        for line in re.findall(r"^(\d\d:\d\d:\d\d\.\d{3} --> \d\d:\d\d:\d\d\.\d{3})", text, re.MULTILINE)
    ]
    assert len(times) > 60
    assert all(begin < end for begin, end in times)
    assert [begin for begin, _ in times] == sorted(begin for begin, _ in times)
    assert times[-1][0] <= len(samples) / rate
    heard = next(n for n, block in enumerate(text.split("\n\n")) if "not isolated" in block)
    begin, end = times[heard - 1]
    assert np.abs(samples[int((begin + 0.05) * rate) : int((end - 0.05) * rate)]).max() > 0.15  # the clip's tone is there


def test_a_clip_that_is_no_sound_is_named_and_nothing_is_left(done: Path, tmp_path: Path) -> None:
    visit = tmp_path / "visit"
    shutil.copytree(done, visit)
    clip = sorted((visit / "sound").glob("*.flac"))[2]
    clip.write_bytes(b"no sound at all" * 50)
    with pytest.raises(Trouble, match=rf"{clip.name} is not readable sound .* run 'handsfree verify") as trouble:
        commands.export(visit, "sound", tmp_path / "out.flac")
    assert trouble.value.status == 3
    assert not [path for path in tmp_path.iterdir() if path != visit]


def test_a_file_is_written_whole_or_not_at_all(done: Path, tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="cannot be written"):
        commands.export(done, "events", tmp_path / "no" / "such" / "e.jsonl")
    with pytest.raises(Trouble, match="such a name"):
        commands.export(done, "readings", tmp_path / "r.xlsx")
    with pytest.raises(Trouble, match="cannot be exported"):
        commands.export(done, "secrets", tmp_path / "x")
    for folder in (Path(""), Path("/"), Path(".."), tmp_path):
        with pytest.raises(Trouble, match="is a folder"):
            commands.export(done, "schema", folder)
    assert list(tmp_path.iterdir()) == []


# ---- prune and keys -------------------------------------------------------------------------------------------------

NOW = datetime(2026, 4, 1, tzinfo=UTC)


def test_prune_removes_old_sound_and_the_record_still_verifies(tmp_path: Path) -> None:
    old = write_visit(tmp_path / "visits" / "old")
    new = write_visit(tmp_path / "visits" / "new", clock=TestClock(began=datetime(2026, 3, 30, tzinfo=UTC)))
    key_of = keys.make("van-7", tmp_path / "keys")
    signed = write_visit(tmp_path / "visits" / "signed", key=key_of)
    changed = write_visit(tmp_path / "visits" / "changed")
    (changed / "sound" / "00002.flac").write_bytes(b"other")
    clock = TestClock(at=5000.0)
    done = {p.visit.name: p for p in prune_visits(tmp_path / "visits", timedelta(days=30), now=NOW, clock=clock)}
    assert done["old"].removed == 10
    assert list((old / "sound").iterdir()) == []
    report = verify(old)
    assert report.holds, report
    assert report.removed == 10
    assert "was removed" in " ".join(report.remarks)
    assert done["new"].removed == 0
    assert verify(new).holds
    assert len(list((new / "sound").iterdir())) == 10
    assert "signed" in done["signed"].why_not
    assert "is broken" in done["changed"].why_not
    assert len(list((changed / "sound").iterdir())) == 10
    pruned = prune_visits(tmp_path / "visits", timedelta(days=30), now=NOW, key=key_of, clock=clock)
    again = {one.visit.name: one for one in pruned}
    assert again["signed"].removed == 10
    assert verify(signed, known=keys.known(tmp_path / "keys"), signed=True).holds


def test_a_crash_between_the_mark_and_the_files_leaves_a_record_that_holds(tmp_path: Path) -> None:
    old = write_visit(tmp_path / "old")
    clips = {path: path.read_bytes() for path in (old / "sound").iterdir()}
    assert next(iter(prune_visits(old, timedelta(days=1), now=NOW, clock=TestClock(at=5000.0)))).removed == 10
    for path, data in list(clips.items())[:4]:
        path.write_bytes(data)  # as if those had not gone yet
    assert verify(old).holds
    done = next(iter(prune_visits(old, timedelta(days=0), now=NOW, clock=TestClock(at=6000.0))))
    assert done.removed == 4
    assert verify(old).holds


def test_prune_takes_a_clip_that_a_crash_left_without_its_event(tmp_path: Path) -> None:
    old = write_visit(tmp_path / "old")
    (old / "sound" / "00099.flac").write_bytes(b"somebody's voice")
    changed = write_visit(tmp_path / "changed")
    (changed / "sound" / "00099.flac").write_bytes(b"somebody's voice")
    (changed / "sound" / "00002.flac").write_bytes(b"other")
    done = {p.visit.name: p for p in prune_visits(tmp_path, timedelta(days=30), now=NOW, clock=TestClock(at=5000.0))}
    assert done["old"].removed == 11
    assert list((old / "sound").iterdir()) == []
    assert verify(old).holds
    assert len(list((changed / "sound").iterdir())) == 11
    (old / "sound" / "00098.flac").write_bytes(b"found when nothing else is there")
    assert next(iter(prune_visits(old, timedelta(0), now=NOW, clock=TestClock(at=6000.0)))).removed == 1
    assert list((old / "sound").iterdir()) == []
    assert next(iter(prune_visits(old, timedelta(0), now=NOW, clock=TestClock(at=7000.0)))).removed == 0
    assert verify(old).holds


def test_keys_are_made_once_shown_and_trusted(tmp_path: Path) -> None:
    out = io.StringIO()
    console = Console(file=out, width=300)
    commands.keys(make="van-7", keys_folder=tmp_path / "a", console=console)
    commands.keys(make="van-8", keys_folder=tmp_path / "b", console=console)
    with pytest.raises(Trouble, match="already has a key"):
        commands.keys(make="van-9", keys_folder=tmp_path / "a")
    with pytest.raises(Trouble, match="cannot name a device"):
        commands.keys(make="../x", keys_folder=tmp_path / "c")
    other = keys.load(tmp_path / "b")
    assert other is not None
    commands.keys(trust=("van-8", other.public_key), keys_folder=tmp_path / "a", console=console)
    assert set(keys.known(tmp_path / "a").values()) == {"van-7", "van-8"}
    with pytest.raises(Trouble, match="Another key is known"):
        commands.keys(trust=("van-8", "0" * 64), keys_folder=tmp_path / "a")
    (tmp_path / "file").touch()
    with pytest.raises(Trouble, match="No key can be written"):
        keys.trust("van-8", other.public_key, tmp_path / "file")
    for junk in (b"\xff\xfe", b"garbage", b""):
        (tmp_path / "b" / "trusted" / "van-9.pub").write_bytes(junk)
        with pytest.raises(Trouble, match="holds no public key"):
            keys.known(tmp_path / "b")
    (tmp_path / "a" / "device.pem").write_bytes(b"junk")
    with pytest.raises(Trouble, match="cannot be read"):
        keys.load(tmp_path / "a")
    assert (tmp_path / "b" / "device.pem").stat().st_mode & 0o077 == 0


def test_ed25519_test_vector_1_of_rfc_8032() -> None:
    """RFC 8032 section 7.1, TEST 1 (from memory): the empty message."""
    public = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    r = "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
    s = "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    assert keys.signed_by(public, r + s, b"")
    assert not keys.signed_by(public, r + s, b"x")
