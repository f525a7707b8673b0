"""Opening and resuming a visit: the folder, the record, the state it starts from."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from itertools import chain
from pathlib import Path

from handsfree import __version__
from handsfree.dialogue.runner import Runner
from handsfree.errors import Trouble, Unkept
from handsfree.journal import reader
from handsfree.journal.clock import JournalClock
from handsfree.journal.events import (
    EFFECTS,
    HAPPENINGS,
    Attached,
    EvidenceTaken,
    Happening,
    Opened,
    Resumed,
    Stamped,
    StopAsked,
)
from handsfree.journal.keys import DeviceKey
from handsfree.journal.words import words_of
from handsfree.journal.writer import Journal
from handsfree.language import base
from handsfree.procedure import cabinet, load, safe
from handsfree.procedure.asides import at_cabinet
from handsfree.procedure.cabinet import PageFile
from handsfree.procedure.model import Book
from handsfree.visit import desk_questions, habits, wayout
from handsfree.visit.advice import advice_digest
from handsfree.visit.incoming import Incoming
from handsfree.visit.machine import RULES, advance, start
from handsfree.visit.rebuilt import rebuilt
from handsfree.visit.starting import Known, known_of
from handsfree.visit.state import Form, State


@dataclass(frozen=True)
class Who:
    """Who works where on what, whom to call in an emergency, how much to say, who else may come; any may be empty."""

    technician: str = ""
    site: str = ""
    cabinet: str = ""
    emergency: str = ""
    form: str = ""
    technicians: tuple[str, ...] = ()


@dataclass(frozen=True)
class Session:
    """A visit ready to run: its record, its state, its first happening, the folder of the writer's recordings, the file of
    the desk's questions."""

    journal: Journal
    state: State
    first: Happening
    recordings: Path | None = None
    asked: Path | None = None

    @cached_property
    def incoming(self) -> Incoming:
        return Incoming(self.journal)

    @property
    def folder(self) -> Path:
        return self.journal.folder


def provable(name_or_path: str | Path) -> Book:
    """The book of a procedure that may run. Trouble with every fault if it may not."""
    book = load.load_book(name_or_path)
    safe.must_run(book)
    return book


def begin(
    book: Book, visits: Path, who: Who, engine: str, clock: JournalClock | None = None, key: DeviceKey | None = None,
    page: PageFile | None = None, asked: Path | None = None, known: Iterable[Known] = (),
) -> Session:
    """A new folder under `visits`. `page`: the cabinet's; `known`: facts besides those of the page; `asked`: file of the
    desk's questions. Trouble if it cannot be created."""
    language = base.load(book.procedures[book.main].language)
    now = clock.wall() if clock is not None else datetime.now().astimezone()
    name = f"{now:%Y-%m-%dT%H%M%S}-{book.main}-{secrets.token_hex(2)}"
    try:
        visits.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        sentence = f"The folder for visits {visits} cannot be made ({error.strerror}); choose another with --visits."
        raise Trouble(sentence) from None
    journal = Journal.create(visits / name, clock=clock, key=key)
    opened = Opened(
        visit=name,
        procedure=book.main,
        language=language.code,
        technician=who.technician,
        site=who.site,
        cabinet=who.cabinet,
        program=__version__,
        engine=engine,
        digests=tuple(sorted(book.digests.items())),
        copies=tuple(sorted(book.texts.items())),
        known=(*known, *(known_of(page.page) if page is not None else ())),
        page=page.page.cabinet if page is not None else "",
        page_copy=page.text if page is not None else "",
        page_sha256=page.digest if page is not None else "",
        rules=RULES,
        hazards=advice_digest(),
        emergency=who.emergency,
        technicians=who.technicians,
        form=who.form or habits.form_of(who.technician),
        questions=desk_questions.pending(asked, who.technician, who.site, who.cabinet) if asked is not None else (),
    )
    state = start(at_cabinet(book, page.page, language) if page is not None else book, language)
    return Session(journal, state, opened, asked=asked)


def resume(
    folder: Path, clock: JournalClock | None = None, key: DeviceKey | None = None, technician: str = ""
) -> Session:
    """Resumes a visit that was interrupted, stopped or is to be continued; `technician`: who resumes it, '' for the same as
    before. If its procedure may no longer run, it is resumed only while a lock is on, and only for the restore. Trouble if
    it had ended, if its record is not intact, or if one that may not run has nothing left to restore."""
    journal = Journal.resume(folder, clock=clock, key=key)
    try:
        state, whole = state_of(reader.read(folder), folder)
        if state.closed and state.outcome not in ("stopped", "to be continued"):
            raise Trouble(f"{folder} ended as '{state.outcome}'; begin a new visit instead.")
        barred = _barred(state)
    except Trouble:
        journal.close()
        raise
    why = "to be continued" if state.outcome == "to be continued" else "stopped" if state.closed else "interrupted"
    return Session(journal, state, Resumed(why, __version__, unrecorded=not whole, technician=technician, barred=barred))


def _barred(state: State) -> tuple[str, ...]:
    """Why the procedure may no longer run; () if it may, or if only the restore is left already. Trouble if it may not and
    nobody has a lock on."""
    if wayout.only_restores(state):
        return ()
    if not state.interlock.locks:
        safe.must_run(state.book)
        return ()
    return tuple(fault.shown for fault in safe.faults_of(state.book))


def state_of(entries: Iterable[Stamped], folder: Path) -> tuple[State, bool]:
    """`advance` over every happening of a record. Returns the state, and whether all effects of the last happening are on
    the record. Trouble if its first event does not open a visit."""
    state: State | None = None
    due = 0
    entries = iter(entries)
    for entry in entries:
        if isinstance(entry.event, Opened) and state is None:
            state = start(recorded_book(entry.event), base.load(entry.event.language))
            if (entry.event.rules, entry.event.hazards) != (RULES, advice_digest()):
                return rebuilt(state, chain((entry,), entries)), False
        if state is None:
            raise Trouble(f"{folder} does not begin with an opened visit; it cannot be resumed.", 3)
        if isinstance(entry.event, HAPPENINGS):
            state, effects = advance(state, entry)
            due = len(effects) + (0 if isinstance(entry.event, Resumed) else due)
        elif isinstance(entry.event, EFFECTS):
            due -= 1
    if state is None:
        raise Trouble(f"{folder} holds no event; begin a new visit instead.")
    return state, due <= 0


def recorded_book(opened: Opened) -> Book:
    """The procedures as they were read that day, from the copies in the record."""
    procedures = {name: load.parse_procedure(text, f"{name}.yaml") for name, text in opened.copies}
    book = Book(opened.procedure, procedures, dict(opened.digests), dict(opened.copies))
    if not opened.page_copy:
        return book
    return at_cabinet(book, cabinet.parse(opened.page_copy, f"{opened.page}.yaml"), base.load(opened.language))


def book_named(named: str) -> Book:
    """A procedure by its name or file, or, given a visit's folder, as that visit read it."""
    folder = Path(named)
    if not (folder / reader.JOURNAL).is_file():
        return load.load_book(named)
    opened = next((entry.event for entry in reader.read(folder) if isinstance(entry.event, Opened)), None)
    if opened is None:
        raise Trouble(f"{folder} does not begin with an opened visit, so it names no procedure.", 3)
    return recorded_book(opened)


def run(session: Session, runner_of: Callable[[Session], Runner[State]]) -> State:
    """Run to the end and seal the record. An interrupt, or an ear that has nothing more, stops the visit on the record.
    Trouble if anything failed: then it was said, the isolation is cleared, and the record is closed."""
    try:
        runner = runner_of(session)
    except BaseException:  # a fault, too, must not keep the visit from being taken up
        _abandon(session)
        raise
    try:
        state = _to_its_end(session, runner)
        if isinstance(session.first, Opened) and state.form != (session.first.form or Form.USUAL):
            habits.remember(session.first.technician, state.form)
        while (photo := session.incoming.look(last=True)) is not None:
            runner.happen(photo)
        session.journal.seal()
        if session.asked is not None:
            with contextlib.suppress(Trouble):  # it is asked once too often
                desk_questions.take_out(session.asked, session.folder)
        runner.tell(state.language.prompt("head-in-words", words=words_of(session.journal.head)))
    except Trouble as trouble:
        if not isinstance(trouble, Unkept):
            with contextlib.suppress(Trouble):  # what was written holds without a seal
                session.journal.seal()
        raise _told(session, runner.state, trouble) from trouble.__cause__
    finally:
        try:
            runner.close()
        finally:
            session.journal.close()
    if state.fault:
        raise _told(session, state, Trouble(f"The program has a fault: {' '.join(state.fault.split())}."))
    return state


def _to_its_end(session: Session, runner: Runner[State]) -> State:
    try:
        return runner.run(session.first)
    except KeyboardInterrupt:
        runner.happen(StopAsked(_why(session, "why-keyboard")))
    except EOFError:
        runner.happen(StopAsked(_why(session, "why-silence")))
    return runner.state


def _told(session: Session, state: State, trouble: Trouble) -> Trouble:
    """For whoever reads it at the desk: what to do about the cabinet, and about the visit."""
    if state.outcome not in ("", "stopped"):
        return Trouble(f"{trouble.sentence} The visit had already ended; it is in {session.folder}", trouble.status)
    again = f"handsfree visit --resume {session.folder}"
    what_now = f"Treat the cabinet as live; the visit is stopped. Resume it with: {again}"
    return Trouble(f"{trouble.sentence} {what_now}", trouble.status)


def _why(session: Session, key: str) -> str:
    """It is spoken, so it is in the procedure's language."""
    return session.state.language.prompt(key)


def _abandon(session: Session) -> None:
    """A visit that could not begin leaves nothing behind; a resumed one stays as it was."""
    import shutil

    session.journal.close()
    if session.journal.count == 0:
        shutil.rmtree(session.folder, ignore_errors=True)


def attach(folder: Path, file: Path, step: str, key: DeviceKey | None = None) -> str:
    """Adds a file (a photo) to the record of a visit that is not running; its step must have asked for evidence. Returns
    the name it is kept under. Trouble if there is no such step, or if the file cannot be read."""
    asked = [entry.event.step for entry in reader.read(folder) if isinstance(entry.event, EvidenceTaken)]
    if step not in asked:
        known = ", ".join(dict.fromkeys(asked)) or "none"
        raise Trouble(f"No evidence was taken at '{step}' in {folder}; it was taken at: {known}.")
    with Journal.resume(folder, key=key) as journal:
        name, digest = journal.attach(file)
        journal.append(Attached(step, name, digest))
        journal.seal()
    return name
