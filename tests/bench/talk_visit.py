"""How a job of `tests.bench.talk` begins: the state and the first happening, as the program opens a visit."""

from __future__ import annotations

from handsfree.journal.events import Happening, Opened
from handsfree.language import base
from handsfree.procedure.load import load_book
from handsfree.resources import folder
from handsfree.visit.machine import start
from handsfree.visit.state import State

#: The procedure that a job is begun with.
BEGUN_WITH = {
    "dirty-condenser": "too-warm", "wrong-mode": "too-warm", "wrong-setting": "too-warm", "relay-terminal-off": "too-warm",
    "sensor-reads-low": "too-warm", "deck-exchange": "deck-exchange", "dead-cabinet": "dead-or-trips", "iced-up": "iced-up",
    "noisy": "noisy-or-vibrating", "freezing-stock": "freezing-the-stock",
}  # fmt: skip


def opening(job: str, form: str) -> tuple[State, Happening]:
    """`form`: usual or short."""
    place = folder("procedures")
    book = load_book(place / f"{BEGUN_WITH[job]}.yaml", [place])
    return start(book, base.load("en")), Opened("v", book.main, "en", "", "", "", "bench", "typed")
