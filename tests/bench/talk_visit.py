"""How a job of `tests.bench.talk` begins: the state and the first happening, as the program opens a visit.

The visit is begun without a name, at a cabinet that has a page; the technician says what is wrong."""

from __future__ import annotations

from handsfree.journal.events import Happening, Opened
from handsfree.language import base
from handsfree.procedure.asides import at_cabinet
from handsfree.procedure.cabinet import page_of
from handsfree.procedure.load import load_book
from handsfree.resources import shipped_folder
from handsfree.visit.machine import start
from handsfree.visit.starting import VISIT, known_of
from handsfree.visit.state import State

CABINET = "firnkasten-40"
#: What the page tells, by the names of `talk_topics`: asking it would be asking what is known.
OF_THE_PAGE = ("plate voltage", "plate current", "deck mass", "flame symbol", "heater fitted", "table ohms")


def opening(form: str) -> tuple[State, Happening]:
    """`form`: usual or short."""
    place, english = shipped_folder("procedures"), base.load("en")
    book = load_book(place / f"{VISIT}.yaml", [place])
    page = page_of(CABINET).page
    first = Opened("v", book.main, "en", "", "", "", "bench", "typed", form=form, known=known_of(page), page=CABINET)
    return start(at_cabinet(book, page, english), english), first
