"""A visit as its page shows it: the one screen of `journal.screen`, the rows' sound served by the desk.

Rules of this file:

- It is worked out from the folder each time; nothing of it is in the database, so it cannot be older than the record.
- A long story comes in parts of at most ROWS rows: a page stays small whatever a record holds.
- What cannot be read is a sentence and not a fault of the desk.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from handsfree.desk import queries
from handsfree.desk.quarantine import folder_of
from handsfree.desk.setting import Desk
from handsfree.errors import Trouble
from handsfree.journal import screen
from handsfree.journal.account import account
from handsfree.journal.page import foot
from handsfree.journal.rows import Row
from handsfree.journal.screen import safe, short
from handsfree.journal.story import Chapter, story

#: Rows of the story on one page, and chapters in which nothing needs a look.
ROWS = 400


@dataclass(frozen=True)
class Shown:
    """HTML, escaped by `screen`. `part` of `parts`; `problem`: why nothing can be shown, '' where it can."""

    title: str
    verdict: str
    summary: str
    story: str
    foot: str
    part: int = 0
    parts: int = 1
    problem: str = ""


#: Stands where the desk's own list of findings goes.
LOOK = "<!--look-->"


def shown_of(desk: Desk, found: Any, part: int) -> Shown:
    try:
        seen = account(folder_of(desk.visits, found.name), None, desk.known, desk.removers)
    except (Trouble, OSError) as trouble:
        return Shown(found.procedure or found.name, "", "", "", "", problem=str(trouble))
    told, files = story(seen), queries.files(desk.engine, found.id)

    def heard(row: Row) -> str:
        kept = files.get(row.n)
        if kept is None or row.unverified:
            return '<span class="soft">no sound kept</span>' if row.clip and not row.unverified else ""
        address = f"/visits/{quote(found.name, safe='')}/file/{row.n}"
        if not kept.path.endswith(".flac"):
            return f'<a href="{address}">{safe(kept.path.split("/")[-1])}</a>'
        label = safe(f"Play from {short(row.at)}: {row.text}"[:100])
        return f'<button type="button" class="hear" data-sound="{address}" aria-label="{label}">Play</button>'

    parts = in_parts(told.chapters)
    part = min(part, len(parts) - 1)
    pieces = "".join(screen.chapter(one, heard) for one in parts[part])
    return Shown(
        told.title, told.verdict, screen.summary(told, seen, LOOK), pieces, foot(seen), part, len(parts)
    )


def in_parts(chapters: Sequence[Chapter]) -> list[list[Chapter]]:
    """Chapters of at most ROWS rows together; one that is longer alone is cut into several of its name."""
    found: list[list[Chapter]] = [[]]
    room = ROWS
    for one in chapters:
        for at in range(0, len(one.rows), ROWS):
            some = one.rows[at : at + ROWS]
            if len(some) > room and found[-1]:
                found.append([])
                room = ROWS
            found[-1].append(Chapter(one.n if at == 0 else -1, one.at, one.title, one.kind, one.seconds, some, one.look))
            room -= len(some)
    return found
