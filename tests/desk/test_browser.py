"""The desk in a real browser: Debian's Chromium, by keyboard alone, and judged by axe-core."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from handsfree.desk import acts, queries, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import ingest
from handsfree.desk.queries import EVERYBODY
from tests.desk.conftest import PASSWORD
from tests.desk.made import BRANDNER, SUMMIT, Made
from tests.desk.serving import served

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: apt-get install chromium")
AXE = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield found
        found.close()


def reach(tab: Any, selector: str, key: str = "Tab") -> None:
    """By the Tab key alone."""
    for _ in range(120):
        tab.keyboard.press(key)
        if tab.evaluate("s => document.activeElement.matches(s)", selector):
            return
    raise AssertionError(f"{selector} cannot be reached by keyboard")


def until(tab: Any, expression: str, seconds: float = 60.0) -> None:
    """Asked again and again from here: the page's own policy allows no `eval` to ask it there."""
    end = time.monotonic() + seconds
    while not tab.evaluate(expression):
        assert time.monotonic() < end, f"never: {expression}"
        tab.wait_for_timeout(50)


def picture(tab: Any, name: str) -> None:
    """For looking at: HANDSFREE_PICTURES names a folder."""
    if folder := os.environ.get("HANDSFREE_PICTURES"):
        tab.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


def sign_in(tab: Any, address: str, name: str = "Vera") -> None:
    tab.goto(f"{address}/")
    tab.wait_for_selector("input[autofocus]:focus")  # the name has the focus as soon as the page is drawn
    tab.keyboard.type(name)
    tab.keyboard.press("Tab")
    tab.keyboard.type(PASSWORD)
    tab.keyboard.press("Enter")
    tab.wait_for_selector("nav")


def test_sign_in_find_play_and_sign_off_by_keyboard_alone(browser: Any, desk: Desk, season: Made) -> None:
    first = season.folders["first"].name
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        asked: list[str] = []
        troubles: list[str] = []
        tab.on("request", lambda request: asked.append(request.url))
        tab.on("console", lambda message: troubles.append(message.text) if message.type == "error" else None)
        tab.on("pageerror", lambda error: troubles.append(str(error)))
        sign_in(tab, address)

        reach(tab, 'nav a[href="/visits"]')
        tab.keyboard.press("Enter")
        tab.wait_for_selector("h1:text('Visits')")
        reach(tab, "input[name=cabinet]")
        tab.keyboard.type("HK-4")
        tab.keyboard.press("Enter")
        tab.wait_for_url("**cabinet=HK-4**")
        reach(tab, f'a[href="/visits/{first}"]')
        tab.keyboard.press("Enter")
        tab.wait_for_selector("#player:not([hidden])")

        reach(tab, "#record")
        tab.keyboard.press("ArrowRight")
        until(tab, "document.getElementById('sound').duration > 0")
        assert tab.evaluate("document.getElementById('sound').duration") == pytest.approx(0.6, abs=0.05)
        assert tab.locator(".row.now").count() == 1
        tab.keyboard.press(" ")
        before = tab.evaluate("document.querySelector('.row.now').id")
        tab.keyboard.press("ArrowRight")
        assert tab.evaluate("document.querySelector('.row.now').id") != before
        heard = tab.evaluate("document.querySelector('.row.now [data-sound]').dataset.sound")
        assert tab.evaluate("document.getElementById('sound').src").endswith(heard)
        tab.keyboard.press(" ")
        assert tab.evaluate("document.getElementById('sound').paused")

        reach(tab, 'nav a[href="/findings"]', "Shift+Tab")
        tab.keyboard.press("Enter")
        tab.wait_for_selector("h1:text('Findings')")
        reach(tab, ".findings input")
        tab.keyboard.press(" ")
        reach(tab, "textarea")
        tab.keyboard.type("Asked her: the door stood open.")
        reach(tab, "#many button")
        tab.keyboard.press("Enter")
        tab.wait_for_selector("[role=status]:text('signed off')")
        (kept,) = acts.read(desk.own)
        assert kept.act.text == "Asked her: the door stood open."
        assert troubles == [], "nothing is blocked by the policy, no script fails"
        assert all(url.startswith(address) for url in asked), "nothing is fetched from outside"
        tab.close()


def test_a_password_can_be_looked_at_while_it_is_typed(browser: Any, desk: Desk) -> None:
    with served(desk) as address:
        tab = browser.new_page()
        tab.goto(f"{address}/sign-in")
        tab.fill("input[name=password]", "what I typed")
        for kind in ("text", "password"):
            reach(tab, ".check input")
            tab.keyboard.press(" ")
            assert tab.get_attribute("input[name=password]", "type") == kind
        tab.close()


def test_a_row_on_a_narrow_screen_lies_wholly_in_sight_and_is_still_a_row(browser: Any, desk: Desk, season: Made) -> None:
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 390, "height": 800})
        sign_in(tab, address)
        visit = f"/visits/{season.folders['first'].name}"
        tab.goto(f"{address}{visit}")
        right = "Math.max(...[...document.querySelectorAll('.row *')].map(e => e.getBoundingClientRect().right))"
        assert tab.evaluate(right) <= 390
        picture(tab, "phone-visit")
        for path in ("/visits", "/due", "/search?q=isolated", "/writer", "/measures"):
            tab.goto(f"{address}{path}")
            right = "Math.max(...[...document.querySelectorAll('.stack tbody *')].map(e => e.getBoundingClientRect().right))"
            assert 0 < tab.evaluate(right) <= 390, path
            assert tab.get_by_role("row").count() > 1
            assert tab.get_by_role("cell").count() > 1
            picture(tab, f"phone-{path.strip('/').split('?')[0].split('/')[0]}")
        tab.close()


def test_the_replay_runs_with_its_sound_in_step_with_the_text(browser: Any, desk: Desk, season: Made) -> None:
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        sign_in(tab, address)
        tab.goto(f"{address}/visits/{season.folders['first'].name}")
        tab.evaluate("""() => { window.steps = []; const sound = document.getElementById('sound');
            sound.addEventListener('playing', () => window.steps.push(
                [document.querySelector('.row.now [data-sound]')?.dataset.sound, new URL(sound.src).pathname])); }""")
        tab.select_option("#pauses", "0")
        tab.select_option("#speed", "1.5")
        tab.focus("#record")
        tab.keyboard.press(" ")
        until(tab, "window.steps.length >= 5")
        tab.keyboard.press(" ")
        assert tab.evaluate("document.getElementById('sound').paused")
        steps = tab.evaluate("window.steps")
        assert all(row == playing for row, playing in steps), "the marked row is the one that is heard"
        order = tab.evaluate("[...document.querySelectorAll('#record [data-sound]')].map(row => row.dataset.sound)")
        assert [playing for _, playing in steps][:5] == order[:5]
        tab.close()


def test_a_missing_clip_is_said_and_passed_over(browser: Any, desk: Desk, season: Made) -> None:
    folder = desk.visits / season.folders["first"].name
    (folder / "sound" / "00002.flac").unlink()
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        sign_in(tab, address)
        tab.goto(f"{address}/visits/{folder.name}")
        tab.evaluate("""() => { window.said = []; new MutationObserver(() => window.said.push(
            document.getElementById('now').textContent)).observe(document.getElementById('now'), {childList: true}); }""")
        tab.select_option("#pauses", "0")
        tab.focus("#record")
        tab.keyboard.press(" ")
        until(tab, "window.said.some(text => text.includes('missing'))")
        missed = tab.evaluate("window.said.findIndex(text => text.includes('missing'))")
        until(tab, f"window.said.length > {missed} + 2")
        tab.close()


def test_from_signing_in_to_hearing_what_was_wrong_in_two_acts(browser: Any, desk: Desk, season: Made) -> None:
    """The gravest finding stands first on the first page; it leads to its visit, which plays from what was said there. By
    keyboard alone."""
    folder = desk.visits / season.folders["once"].name
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"not isolated"', b'"now isolated"', 1))
    ingest(desk.engine, folder)
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        sign_in(tab, address)
        reach(tab, "#open ~ ul a")
        assert "Record does not hold" in tab.evaluate("document.activeElement.textContent")
        tab.keyboard.press("Enter")  # the first act
        tab.wait_for_selector("#player:not([hidden])")
        assert folder.name in tab.url
        assert tab.locator(".warn").first.is_visible()
        reach(tab, "button.from")
        tab.keyboard.press("Enter")  # the second
        until(tab, "document.getElementById('sound').duration > 0")
        assert tab.locator(".row.now").count() == 1
        picture(tab, "broken-visit")
        tab.close()


def test_no_page_has_a_fault_by_axe_and_none_scrolls_sideways(browser: Any, desk: Desk, season: Made) -> None:
    """WCAG 2.2 A and AA and best practice, by axe-core; at 320 CSS px only boxes that say so scroll (1.4.10)."""
    from axe_playwright_python.sync_playwright import Axe

    names = {name: folder.name for name, folder in season.folders.items()}
    pages = {
        "today": "/",
        "visits": "/visits",
        "visit": f"/visits/{names['first']}",
        "broken": f"/visits/{names['stopped']}",
        "search": "/search?q=isolated",
        "due": "/due",
        "findings": "/findings",
        "signed": "/findings?signed=yes",
        "cabinet": f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}",
        "figures": "/measures",
        "writer": "/writer",
        "account": "/account",
        "digest": "/digest?days=7",
        "people": "/people",
        "team": "/people?team=summit",
        "technician": f"/technician?name={quote(BRANDNER)}",
        "devices": "/devices",
        "registry": "/registry",
        "sorry": "/nope",
    }
    finding = queries.findings(desk.engine, EVERYBODY)[0]
    off = acts.DeskAct(
        finding.key, finding.name, finding.n, finding.rule, finding.sentence, finding.head, "Vera", "seen"
    )
    threads.note(desk.engine, acts.append(desk.own, [off], None))
    with served(desk) as address:
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        tab.goto(f"{address}/sign-in")
        faults = _faults(Axe(), tab, "sign-in")
        picture(tab, "sign-in")
        sign_in(tab, address)
        for name, path in pages.items():
            tab.set_viewport_size({"width": 1280, "height": 900})
            tab.goto(f"{address}{path}")
            faults += _faults(Axe(), tab, name)
            picture(tab, name)
            tab.set_viewport_size({"width": 320, "height": 800})
            if tab.evaluate("document.documentElement.scrollWidth") > 320:
                faults.append(f"{name} scrolls sideways at 320 px")
            picture(tab, f"{name}-narrow")
        tab.close()
    assert faults == []


def _faults(axe: Any, tab: Any, name: str) -> list[str]:
    found = axe.run(tab, options=AXE).response["violations"]
    return [f"{name}: {fault['id']} ({fault['impact']}): {fault['nodes'][0]['html'][:200]}" for fault in found]
