"""The README's pictures, made from the real program: `python -m tests.bench.pictures [--visit FOLDER]`.

The demo is run (or a visit of it given); its status screen at the shut gate, its replay page, the chart of a procedure
and the desk's first page, over a season of made visits with the demo's among them, are drawn by Chromium and written to
handsfree/handbook/pictures/.
"""

from __future__ import annotations

import argparse
import io
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.console import Console

from handsfree.desk import database
from handsfree.desk.configuration import Desk
from handsfree.desk.files import Files
from handsfree.desk.ingest import refresh
from handsfree.desk.people import make_tables
from handsfree.desk.readout import machine
from handsfree.journal.account import account
from handsfree.journal.events import Gate, Say
from handsfree.journal.page import visit_page
from handsfree.sound.screen import Screen, Status, render
from handsfree.visit.glance import Glance
from handsfree.visit.sessions import state_of
from tests.desk import made, many
from tests.desk.serving import served
from tests.desk.test_browser import ARGUMENTS, CHROMIUM
from tests.journal.made import read_list

PLACE = Path(__file__).resolve().parents[2] / "handsfree" / "handbook" / "pictures"
CHART, STRETCH = "deck-take-out", {"x": 0, "y": 568, "width": 616, "height": 750}  # where the isolation begins
COLUMNS = 78
PAGE = """<!doctype html><meta charset="utf-8"><style>body {{ margin: 0; background: #101418; color: #e6e6e6 }}
pre {{ display: inline-block; margin: 12px; font: 15px "DejaVu Sans Mono", monospace }}</style>{code}"""


def handsfree(*words: str, cwd: Path) -> str:
    done = subprocess.run([sys.executable, "-m", "handsfree", *words], cwd=cwd, capture_output=True, text=True, check=True)
    return done.stdout


@contextmanager
def browser(width: int, height: int) -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield found.new_page(viewport={"width": width, "height": height})
        found.close()


def at_the_gate(visit: Path) -> Status:
    """What stood on the screen when a denial had been heard at the gate."""
    screen = Screen()
    screen.show(level=-24.0)
    glance, entries = Glance(screen), read_list(visit)
    for at, entry in enumerate(entries):
        glance(entry, state_of(entries[: at + 1], visit)[0])
        if isinstance(entry.event, Gate) and entry.event.how == "denied":
            screen.show(notice=next(e.event.text for e in entries[at:] if isinstance(e.event, Say)))
            break
    return screen.status


def drawn(status: Status) -> str:
    console = Console(record=True, width=COLUMNS, file=io.StringIO(), force_terminal=True, color_system="truecolor")
    console.print(render(status, COLUMNS))
    return PAGE.format(code=console.export_html(inline_styles=True, code_format="<pre>{code}</pre>"))


def desk_over(place: Path, visit: Path) -> Desk:
    """A season of made visits, sixty more of their kind, one of which had its record changed, and the demo's."""
    season = made.season(place / "season" / "visits")
    shutil.copytree(visit, season.visits / visit.name)
    once = season.folders["once"] / "journal.jsonl"
    once.write_bytes(once.read_bytes().replace(b'"not isolated"', b'"now isolated"', 1))
    engine, people = (database.open_engine(database.sqlite_url(place / f"{name}.sqlite3")) for name in ("desk", "people"))
    database.migrate(engine)
    make_tables(people)
    refresh(engine, season.visits)
    found = Desk(season.visits, engine, people, Files(season.visits), ("http://desk.test",), door="the door to the pictures")
    many.fill(found, replace(season, folders={n: f for n, f in season.folders.items() if n != "once"}), 60)
    return found


def main(visit: Path | None) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        if visit is None:
            told = handsfree("demo", "--visits", "visits", "--json", cwd=folder).splitlines()[-1]
            visit = folder / json.loads(told)["visit"]
        (folder / "screen.html").write_text(drawn(at_the_gate(visit)), encoding="utf-8")
        (folder / "replay.html").write_text(visit_page(account(visit, machine())), encoding="utf-8")
        handsfree("chart", CHART, "--out", "flow.svg", cwd=folder)
        PLACE.mkdir(exist_ok=True)
        with browser(820, 600) as tab:
            tab.goto((folder / "screen.html").as_uri())
            tab.locator("pre").screenshot(path=str(PLACE / "screen.png"))
        with browser(1000, 760) as tab:
            tab.goto((folder / "replay.html").as_uri())
            tab.screenshot(path=str(PLACE / "replay.png"))
        with browser(700, 3000) as tab:
            tab.goto((folder / "flow.svg").as_uri())
            tab.screenshot(path=str(PLACE / "chart.png"), clip=STRETCH)
        desk = desk_over(folder, visit)
        with served(desk) as address, browser(1180, 720) as tab:
            tab.goto(f"{address}/enter/{desk.door}".replace(" ", "%20"))
            tab.goto(f"{address}/")
            tab.screenshot(path=str(PLACE / "desk.png"))
            tab.goto(f"{address}/visits/{visit.name}")
            tab.screenshot(path=str(PLACE / "desk-visit.png"))
    for path in sorted(PLACE.glob("*.png")):
        print(f"{path.name}: {path.stat().st_size // 1024} kB")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make the README's pictures from the real program.")
    parser.add_argument("--visit", type=Path, help="a visit of the demo, in place of running it")
    main(parser.parse_args().visit)
