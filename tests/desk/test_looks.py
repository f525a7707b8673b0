"""What a supervisor meets first: the one bad visit among hundreds, heard in a few acts; and pages that stay small whatever a
record holds."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import ingest
from handsfree.journal import events as ev
from handsfree.journal.writer import Journal
from tests.desk import many, test_browser
from tests.desk.browsing import signed_in
from tests.desk.made import HUBER, SUMMIT, Made
from tests.desk.serving import served
from tests.desk.test_browser import browser, picture, sign_in, until
from tests.journal.made import TestClock

__all__ = ["browser"]
LARGEST_PAGE = 200_000


@pytest.fixture
def among_many(desk: Desk, season: Made) -> Path:
    """Three hundred visits, of which one had its record changed. Its folder."""
    many.fill(desk, season, 299 - len(season.folders) + 1)
    folder = desk.visits / season.folders["once"].name
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"not isolated"', b'"now isolated"', 1))
    ingest(desk.engine, folder)
    return folder


@pytest.mark.skipif(test_browser.CHROMIUM is None, reason="Chromium is not installed: apt-get install chromium")
@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_the_bad_visit_among_three_hundred_is_heard_in_three_acts(
    browser: Any, desk: Desk, among_many: Path, width: int, dark: bool
) -> None:
    """From signing in: to what is gravest, and play. By keyboard alone; an act is a press of Enter."""
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": width, "height": 800}, color_scheme="dark" if dark else "light")
        sign_in(tab, address)
        picture(tab, f"today-{width}")
        acts = 0
        for _ in range(3):  # past the skip link: skip, then the first thing on the page
            tab.keyboard.press("Tab")
            if tab.evaluate("document.activeElement.className") == "skip":
                tab.keyboard.press("Enter")
                acts += 1
                break
        for _ in range(4):
            tab.keyboard.press("Tab")
            if "Record does not hold" in tab.evaluate("document.activeElement.textContent"):
                break
        tab.keyboard.press("Enter")
        acts += 1
        tab.wait_for_selector("#player:not([hidden])")
        assert among_many.name in tab.url
        assert tab.evaluate("document.activeElement.matches('button.from')"), "the focus is on what to hear"
        tab.keyboard.press("Enter")
        acts += 1
        until(tab, "document.getElementById('sound').duration > 0")
        assert acts <= 4
        assert tab.locator(".row.now").count() == 1
        heard = tab.evaluate("Number(document.querySelector('.row.now').id.slice(1))")
        assert heard < 64, "what was said last before the break"
        tab.keyboard.press(" ")
        tab.keyboard.press("ArrowLeft")  # the story has the focus now
        assert tab.evaluate("Number(document.querySelector('.row.now').id.slice(1))") < heard
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        picture(tab, f"bad-visit-{width}")
        tab.close()


@pytest.mark.skipif(test_browser.CHROMIUM is None, reason="Chromium is not installed: apt-get install chromium")
def test_the_line_of_time_leads_to_what_was_said_then(browser: Any, desk: Desk, season: Made) -> None:
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        sign_in(tab, address)
        tab.goto(f"{address}/visits/{season.folders['first'].name}")
        assert tab.locator("#line .speech").count() > 10
        tab.focus("#place")
        tab.evaluate("document.getElementById('place').value = 700")
        tab.keyboard.press("ArrowRight")
        at = tab.evaluate("Number(document.querySelector('.row.now').dataset.at)")
        assert 701 <= at < 720
        assert tab.get_attribute("#place", "aria-valuetext").startswith("0:11:")
        tab.close()


def sizes(desk: Desk, paths: list[str]) -> dict[str, int]:
    client = signed_in(desk, "Vera")
    return {path: len(client.get(path).content) for path in paths}


def test_every_page_stays_small_among_hundreds(desk: Desk, among_many: Path) -> None:
    pages = ["/", "/visits", "/search?q=isolated", "/due", "/findings", "/measures", "/writer", f"/visits/{among_many.name}"]
    assert {path: size for path, size in sizes(desk, pages).items() if size > LARGEST_PAGE} == {}


def test_names_as_a_program_writes_them_are_on_no_page(desk: Desk, season: Made) -> None:
    """What a person reads, that is: attributes and addresses may have them."""
    vera = signed_in(desk, "Vera")
    first = season.folders["first"].name
    words = ("place-thermometer", "delivery-air", "clean-condenser", "platform-check", "prove-dead", "whisper+", "ISOLATING")
    for path in ("/", "/visits", "/search?q=isolated", "/due", "/findings", "/measures", "/writer", f"/visits/{first}",
                 "/digest?days=7", "/people", "/cabinet?cabinet=HK-4&site=Hochgrat summit platform (invented)"):  # fmt: skip
        page = vera.get(path).text
        shown = re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<section class=.worth.*?</section>|<title>.*?</title>", "", page))
        assert not [word for word in words if word in shown], path
        assert not re.findall(r"\b\d:\d\d:\d\d\.\d", shown), f"tenths of seconds on {path}"


def test_a_visit_of_thousands_of_long_rows_stays_small_and_is_shown_to_its_end(desk: Desk) -> None:
    """All that a page shows of a record is bounded: rows, gates, findings, readings, curves, what was done and is next."""
    with Journal.create(desk.visits / "huge", clock=TestClock()) as journal:
        journal.append(ev.Opened("huge", "kiosk-warm", "en", HUBER, SUMMIT, "HK-4", "0.1", "typed"))
        for n in range(700):
            said = f"{n} " + "<&> äöü " * 200
            journal.append(ev.StepEntered(("kiosk-warm",), f"step-{n}-{'x' * 300}", "instruct", "LIVE"))
            journal.append(ev.Utterance("accepted", "command", said, words=said, started=float(n), ended=n + 0.5))
            air = f"air {n % 30} {'y' * 500}"
            journal.append(ev.ReadingTaken(("kiosk-warm",), f"s{n}", air, float(n), "degC", float(n), "degC"))
            journal.append(ev.Gate("LIVE", "ISOLATING", "refused", said, f"s{n}", f"source {n}"))
            journal.append(ev.Gate("ISOLATING", "LIVE", "break", said, f"s{n}", f"source {n}"))
            journal.append(ev.Say(2 * n, said, "step", step=f"step-{n}"))
        journal.append(ev.Closed("stopped"))
        journal.seal()
    ingest(desk.engine, desk.visits / "huge")
    client = signed_in(desk, "Vera")
    first = client.get("/visits/huge")
    assert first.status_code == 200
    assert len(first.content) <= LARGEST_PAGE
    last = client.get("/visits/huge?at=4200")
    assert len(last.content) <= LARGEST_PAGE
    assert 'id="e4200"' in last.text or "Closed: stopped" in last.text
