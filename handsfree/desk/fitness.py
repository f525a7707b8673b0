"""Whether the procedure that a visit ran may still run: asked when a record is sent.

A record goes to the desk whatever its procedure, because nothing of it may be lost. The sender is told."""

from __future__ import annotations

from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal import reader
from handsfree.journal.events import Opened
from handsfree.procedure import safe

#: Digests of the procedures of a visit -> what is wrong with them.
Fitness = dict[tuple[tuple[str, str], ...], tuple[str, ...]]


def faults_of(folder: Path, judged: Fitness) -> tuple[str, ...]:
    """Why the procedures of this visit may not run; () if they may, or if it names none. `judged`: kept from visit to
    visit, because most ran the same ones."""
    from handsfree.visit.sessions import recorded_book

    try:
        opened = next((entry.event for entry in reader.read(folder) if isinstance(entry.event, Opened)), None)
        if opened is None or not opened.copies:
            return ()
        if opened.digests not in judged:
            judged[opened.digests] = tuple(fault.shown for fault in safe.faults_of(recorded_book(opened)))
        return judged[opened.digests]
    except Trouble as trouble:  # what it ran cannot be read by this program: nobody may run it here
        return (trouble.sentence,)
