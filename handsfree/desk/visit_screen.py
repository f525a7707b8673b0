"""A visit as its page shows it: the one screen of `journal.screen`, the rows' sound served by the desk.

Rules of this file:

- It is worked out from the folder, and again once anything was written there or another key counts: it cannot be older than
  the record. Only the words of its head are in the database.
- Those looked at last are kept, because whoever signs something off looks at the same visit again. Long ones are not.
- A long story comes in parts of about ROOM bytes: a page stays small whatever a record holds.
- What cannot be read is shown as a sentence; it is not a fault of the desk.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, update

from handsfree.desk import queries
from handsfree.desk.configuration import Desk
from handsfree.desk.database import put_alone
from handsfree.desk.marks import judged_by, mark_of
from handsfree.desk.quarantine import folder_of
from handsfree.desk.tables import Visit
from handsfree.errors import Trouble
from handsfree.journal import screen
from handsfree.journal.account import Account, account
from handsfree.journal.page import foot
from handsfree.journal.reader import JOURNAL
from handsfree.journal.rows import Row
from handsfree.journal.screen import safe, short
from handsfree.journal.story import Chapter, story

#: Bytes of the story on one page, and of a row beside its words, about.
ROOM, A_ROW = 90_000, 420
#: Visits kept of those looked at last, and the most bytes of the journal of one: some 25 MB in all. Not events:
#: 1,900 of 30 kB took 64 MB.
KEPT_LAST, LARGEST_KEPT = 8, 2_000_000
_LOOKING = threading.Lock()


@dataclass(frozen=True)
class Shown:
    """HTML, escaped by `screen`. `part` of `parts`, with the events `first` to `last`; `problem`: why nothing can be shown,
    '' if it can. `words`: of its head, '' where nobody asked for them yet."""

    title: str
    verdict: str
    summary: str
    story: str
    foot: str
    part: int = 0
    parts: int = 1
    problem: str = ""
    first: int = 0
    last: int = -1
    words: str = ""


#: Placeholder for the desk's own list of findings.
LOOK = "<!--look-->"


def _seen(desk: Desk, name: str) -> Account:
    folder, kept = folder_of(desk.visits, name), desk.heads.kept_of(name)
    mark = folder, judged_by(folder, desk.known, desk.rights), mark_of(folder, moved=False), kept
    with _LOOKING:
        seen = desk.seen_last.get(mark)
    if seen is None:
        # what is in quarantine has its sound beside it, whatever store there is
        sound = not desk.files.elsewhere or folder.parent != desk.visits
        seen = account(folder, None, desk.known, desk.rights, kept, sound=sound)
        if (folder / JOURNAL).stat().st_size <= LARGEST_KEPT:
            with _LOOKING:
                desk.seen_last[mark] = seen
                while len(desk.seen_last) > KEPT_LAST:
                    del desk.seen_last[next(iter(desk.seen_last))]
    return seen


def shown_of(desk: Desk, found: Any, part: int, at: int | None = None, *, in_words: bool = False) -> Shown:
    """`at`: an event that is to be on the page, whatever `part` says. `in_words`: the head, too."""
    try:
        seen = _seen(desk, found.name)
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
    if at is not None:
        part = max((n for n, some in enumerate(parts) if n == 0 or _begin(some) <= at), default=0)
    part = min(part, len(parts) - 1)
    pieces = "".join(screen.chapter(one, heard) for one in parts[part])
    first = _begin(parts[part]) if part else 0
    last = _begin(parts[part + 1]) - 1 if part + 1 < len(parts) else sys.maxsize
    summary = screen.summary(told, seen, LOOK)
    words = _words(desk, found, seen, in_words)
    told_last = foot(seen, words)
    return Shown(told.title, told.verdict, summary, pieces, told_last, part, len(parts), first=first, last=last, words=words)


def _words(desk: Desk, found: Any, seen: Account, wanted: bool) -> str:
    """Of its head: slow by design, five times as long as the page, so worked out when somebody asks for them, and kept."""
    if found.head != seen.report.head:
        return seen.report.words if wanted else ""
    if wanted and not found.words:
        kept = update(Visit).where(Visit.id == found.id, Visit.head == found.head).values(words=seen.report.words)

        def keep(connection: Connection) -> None:
            connection.execute(kept)

        put_alone(desk.engine, keep)
    return found.words or (seen.report.words if wanted else "")


def _begin(some: Sequence[Chapter]) -> int:
    """The first event of a part."""
    return next((row.n for one in some for row in one.rows), 0)


def in_parts(chapters: Sequence[Chapter]) -> list[list[Chapter]]:
    """Chapters of at most ROOM bytes together; a longer one is cut into several with its title."""
    found: list[list[Chapter]] = [[]]
    left = ROOM
    for one in chapters:
        for at, some in enumerate(_pieces(one.rows)):
            size = sum(map(_size, some))
            if size > left and found[-1]:
                found.append([])
                left = ROOM
            found[-1].append(replace(one, n=one.n if at == 0 else -1, rows=some))
            left -= size
    return found


def _pieces(rows: Sequence[Row]) -> Iterator[tuple[Row, ...]]:
    """As few as hold all rows, each of at most ROOM bytes or one row."""
    some: list[Row] = []
    left = ROOM
    for row in rows:
        if some and _size(row) > left:
            yield tuple(some)
            some, left = [], ROOM
        some.append(row)
        left -= _size(row)
    yield tuple(some)


def _size(row: Row) -> int:
    return A_ROW + len(safe(row.text).encode()) + len(safe(row.aside).encode())
