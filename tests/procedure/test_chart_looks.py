"""Charts as a browser draws them: no two texts touch, no line runs through one, all stands inside its sheet, nothing raw."""

from __future__ import annotations

import itertools
import re
import shutil
from pathlib import Path

import pytest

from handsfree.procedure.chart_drawing import html
from handsfree.procedure.load import load_book
from handsfree.resources import shipped_folder

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
TRADES = Path(__file__).parent.parent / "trades" / "procedures"
NAMES = ("too-warm", "dead-or-trips", "deck-exchange", "compressor-does-not-start", "revision-de-anden")
#: Each text and each part of a line, of each picture: what it says and where it is.
_BOXES = """() => [...document.querySelectorAll('svg[role=img]')].map(sheet => {
  const at = one => { const r = one.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom] }
  return { sheet: at(sheet), texts: [...sheet.querySelectorAll('text')].map(one => [one.textContent, at(one)]),
    lines: [...sheet.querySelectorAll('path.line')].flatMap(path => {
      const m = path.getScreenCTM(), xy = path.getAttribute('d').slice(1).split('L').map(p => p.split(' ').map(Number))
        .map(([x, y]) => [m.a * x + m.e, m.d * y + m.f])
      return xy.slice(1).map(([x, y], i) => [Math.min(x, xy[i][0]), Math.min(y, xy[i][1]),
        Math.max(x, xy[i][0]), Math.max(y, xy[i][1])]) }) } })"""
Rectangle = tuple[float, float, float, float]


def _touch(a: Rectangle, b: Rectangle) -> bool:
    return a[0] < b[2] - 0.5 and b[0] < a[2] - 0.5 and a[1] < b[3] - 0.5 and b[1] < a[3] - 0.5


def _on(line: Rectangle, text: Rectangle) -> bool:
    return line[0] < text[2] and text[0] < line[2] and line[1] < text[3] and text[1] < line[3]


def _within(one: Rectangle, sheet: Rectangle) -> bool:
    return sheet[0] <= one[0] and sheet[1] <= one[1] and one[2] <= sheet[2] and one[3] <= sheet[3]


@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: apt-get install chromium")
def test_no_text_touches_another_or_a_line(tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    wrong = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 930, "height": 1315})
        for name in NAMES:
            page.set_content(html(load_book(name)))
            sheets = page.evaluate(_BOXES)
            assert sheets
            for sheet in sheets:
                texts = sheet["texts"]
                pairs = itertools.combinations(texts, 2)
                wrong += [(name, a, b) for (a, one), (b, other) in pairs if _touch(one, other)]
                wrong += [(name, a, "line") for a, one in texts for line in sheet["lines"] if _on(line, one)]
                wrong += [(name, a, "sheet") for a, one in texts if not _within(one, sheet["sheet"])]
        browser.close()
    assert not wrong


@pytest.mark.parametrize("path", sorted(shipped_folder("procedures").glob("*.yaml")), ids=lambda path: path.stem)
def test_nothing_on_it_is_raw(path: Path) -> None:
    """No operator, function name or number in powers of ten."""
    shown = re.findall(r"<text[^>]*>([^<]*)</text>", html(load_book(path)))
    assert not [text for text in shown if re.search(r"==|&[lg]t;=?|\w_\w|\de\+\d|\w\(", text)]
