"""What was tried against the desk by scripts written beside the program: what got through is held here."""

from __future__ import annotations

import json
import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from handsfree.desk import queries
from handsfree.desk.configuration import Desk
from handsfree.desk.digest import digest_for, markdown
from handsfree.desk.ingest import ingest
from handsfree.desk.queries import EVERYBODY
from handsfree.journal.canonical import as_line, canonical
from handsfree.journal.events import Opened
from handsfree.journal.findings import AHEAD
from tests.desk import made
from tests.desk.browsing import signed_in
from tests.desk.made import HUBER, SUMMIT, Made

TURNED = "\u202egnissim\u2066 \x1b[2J<b>bold</b>"


def written_anew(folder: Path, place: Path, change: Any) -> Path:
    """An unsigned record of another content, whole and with a good chain: what one device can make."""
    found = place / f"{folder.name[:-4]}abcd"
    found.mkdir(parents=True)
    prev, out = "", []
    for n, line in enumerate((folder / "journal.jsonl").read_bytes().splitlines()):
        entry = json.loads(line)["entry"]
        change(entry)
        if entry["kind"] == "Opened":
            entry["event"]["visit"] = found.name
        if entry["kind"] == "Sealed":
            entry["event"] = {"events": n, "head": prev}
        whole, prev = as_line(canonical({**entry, "prev": prev}))
        out.append(whole)
    (found / "journal.jsonl").write_bytes(b"".join(out))
    for clip in (folder / "sound").iterdir():
        (found / "sound").mkdir(exist_ok=True)
        os.link(clip, found / "sound" / clip.name)
    return found


def test_no_page_turns_the_direction_of_writing_or_has_what_cannot_be_seen(desk: Desk, season: Made) -> None:
    def turn(entry: dict[str, Any]) -> None:
        event = entry["event"]
        if entry["kind"] == "Opened":
            event.update(site=f"S{TURNED}", cabinet=f"K{TURNED}", technician=f"T{TURNED}")
        event.update({name: TURNED for name in ("text", "finding") if name in event and entry["kind"] != "Utterance"})

    ingest(desk.engine, written_anew(season.folders["back"], desk.visits, turn))
    vera = signed_in(desk, "Vera")
    (found,) = queries.visits(desk.engine, EVERYBODY, queries.Filter(site="S"), most=9)[:1]
    pages = ("/", "/visits", "/findings", "/search?q=gnissim", "/people", "/registry?kind=site", "/digest", "/measures",
             f"/visits/{found.name}")  # fmt: skip
    for address in pages:
        text = vera.get(address).text
        assert not {c for c in text if not c.isprintable() and c not in "\n\t"}, address
    assert "gnissim" in vera.get("/visits").text


def test_a_visit_that_begins_after_it_came_has_a_clock_that_is_ahead(desk: Desk) -> None:
    now = datetime.now().astimezone()
    for hours, ahead in ((2, False), (26, True)):
        folder = made.visit(desk.visits, ("understood",), HUBER, SUMMIT, f"HK-{hours}", now + timedelta(hours=hours))
        ingest(desk.engine, folder)
        row = queries.visit(desk.engine, EVERYBODY, folder.name)
        assert row is not None
        rules = [one.rule for one in queries.findings_of(desk.engine, row.id)]
        assert (AHEAD in rules) is ahead, hours


def test_a_name_is_no_link_and_no_picture_in_a_digest(desk: Desk, season: Made) -> None:
    """It goes on as a message, and a program that shows Markdown would fetch the picture."""
    def link(entry: dict[str, Any]) -> None:
        if entry["kind"] == Opened.__name__:
            entry["event"].update(cabinet="![x](https://elsewhere.example/p.png)", site="[click](https://elsewhere.example)")

    ingest(desk.engine, written_anew(season.folders["stopped"], desk.visits, link))
    text = markdown(digest_for(desk.engine, EVERYBODY, 7))
    assert "elsewhere.example" in text
    assert "](" not in text


def test_a_visit_whose_clock_is_ahead_is_in_the_digest(desk: Desk, season: Made) -> None:
    """It was in none: neither new, nor from before."""

    def ahead(entry: dict[str, Any]) -> None:
        entry["wall"] = (datetime.fromisoformat(entry["wall"]) + timedelta(days=4000)).isoformat(timespec="milliseconds")
        if entry["kind"] == Opened.__name__:
            entry["event"].update(cabinet="HK-ahead")

    ingest(desk.engine, written_anew(season.folders["stopped"], desk.visits, ahead))
    found = digest_for(desk.engine, EVERYBODY, 1)
    assert {row.cabinet for row in found.found} == {"HK-ahead"}
    assert found.grave + found.looks >= 1
    assert "clock is ahead" in markdown(found)
