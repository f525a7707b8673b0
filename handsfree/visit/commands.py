"""The commands `visit` and `demo`: they put the parts together, and print."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.dialogue.runner import Runner, Watcher
from handsfree.errors import Trouble
from handsfree.journal.events import Stamped
from handsfree.journal.rows import clock
from handsfree.procedure import phrasing
from handsfree.settings import Settings, load_settings
from handsfree.visit.desk_questions import file_beside
from handsfree.visit.machine import MACHINE
from handsfree.visit.sessions import Session, Who, begin, provable, resume, run
from handsfree.visit.state import State
from handsfree.visit.telling import ToldLine, line

if TYPE_CHECKING:
    from handsfree.sound.samples import VirtualClock
    from handsfree.speech.recogniser import Recogniser
    from handsfree.visit.demo import Script


@dataclass(frozen=True)
class VisitOptions:
    """What the command line asked of a visit."""

    procedure: str | None
    resume: Path | None
    typed: bool
    sound_in: str | None
    sound_out: str | None
    engine: str | None
    visits: Path | None
    technician: str | None
    site: str | None
    cabinet: str | None
    screen: bool = False
    call: Path | None = None
    by_manual: bool = False


def visit(asked: VisitOptions, by_sound: Callable[[VisitOptions, bool], None], *, as_json: bool) -> None:
    """`by_sound` holds it where it is not typed. Trouble for anything that keeps the visit from running."""
    if sum(one is not None for one in (asked.procedure, asked.resume, asked.call)) > 1:
        raise Trouble("Name one procedure, one call sheet (--call) or one visit to resume (--resume), not two.")
    if not asked.typed:
        by_sound(asked, as_json)
        return
    session = opened(asked, "typed")
    if asked.screen and sys.stdout.isatty():
        state = _typed_on_screen(session)
    else:
        state = run(session, lambda s: typed_runner(s, printer(sys.stdout)))
    show(session, state, as_json)


def _typed_on_screen(session: Session) -> State:
    from handsfree.sound.screen import Screen
    from handsfree.visit.glance import Glance

    with Screen() as screen:
        glance = Glance(screen)
        return run(session, lambda s: typed_runner(s, glance, glance.typing))


def opened(asked: VisitOptions, engine: str, journal_clock: Any = None) -> Session:
    """The session asked for: a new one, or one that is resumed."""
    from handsfree.journal import keys
    from handsfree.procedure.cabinet import page_of
    from handsfree.visit.starting import begun_by

    settings = settings_of(asked)
    questions = file_beside(settings.outbox)
    if asked.resume is not None:
        session = resume(asked.resume, clock=journal_clock, key=keys.load(), technician=asked.technician or "")
        return replace(session, recordings=_folder_again(session.state.book.main), asked=questions)
    begun = begun_by(asked.procedure, asked.call)
    site = begun.sheet.site if begun.sheet is not None and asked.site is None else settings.site
    cabinet = begun.sheet.cabinet if begun.sheet is not None and asked.cabinet is None else settings.cabinet
    page = page_of(cabinet) if cabinet and not asked.by_manual else None
    book = provable(begun.procedure)
    who = Who(settings.technician, site, cabinet, settings.emergency_call, settings.form, settings.who_may_come)
    session = begin(
        book, settings.visits, who, engine, clock=journal_clock, key=keys.load(), page=page, asked=questions,
        known=begun.known,
    )  # fmt: skip
    return replace(session, recordings=_folder_of(begun.procedure))


def _folder_of(procedure: str) -> Path | None:
    """Where the writer's own recordings are: beside the procedure's file."""
    from handsfree.procedure.load import named_file, usual_folders

    return named_file(procedure, usual_folders()).parent


def _folder_again(name: str) -> Path | None:
    """For a procedure known only by its name; None if it is no longer in any of the usual folders. A recording of another
    text is never played: the record names the text that was read that day."""
    from handsfree.procedure.load import find_procedure, usual_folders

    found = find_procedure(name, usual_folders())
    return found.parent if found is not None else None


def demo(visits: Path | None, *, as_json: bool, engine: str | None, sound_out: str | None) -> None:
    """The whole visit of `audio_fixtures/demo`, heard through the real recogniser and spoken by the real synthesiser."""
    from handsfree.resources import shipped_folder
    from handsfree.sound.samples import VirtualClock
    from handsfree.visit.demo import DemoClock, load_script

    script = load_script(shipped_folder("audio_fixtures") / "demo")
    clock_ = VirtualClock()
    out = sys.stderr if as_json and sound_out == "-" else sys.stdout
    recogniser = recogniser_of(engine, "en")
    place = visits or load_settings().visits
    who = Who(script.technician, script.site, script.cabinet)
    session = begin(provable(script.procedure), place, who, recogniser.name, clock=DemoClock(clock_))
    title = session.state.book.procedures[script.procedure].title
    print(f"{title}: {who.cabinet}, {who.site}. Recogniser: {recogniser.name}.", file=out, flush=True)
    state = run(session, lambda s: _demo_runner(s, script, recogniser, clock_, sound_out, printer(out)))
    show(session, state, as_json)


def _demo_runner(
    session: Session, script: Script, recogniser: Recogniser, clock_: VirtualClock, sound_out: str | None,
    write: Watcher[State],
) -> Runner[State]:
    from handsfree.dialogue.hearing import Hearer
    from handsfree.dialogue.mouth import SpokenMouth
    from handsfree.journal.events import Happening
    from handsfree.sound.sinks import FileSink
    from handsfree.sound.synth import Synthesiser
    from handsfree.visit.demo import DemoEar

    ended: list[Happening] = []
    sink = FileSink(sound_out, clock_, ended.append)
    ear = DemoEar(script, Hearer(recogniser, session.journal), clock_, sink.hear)
    mouth = SpokenMouth(Synthesiser("en"), sink, session.state.language, ended)

    def watch(entry: Stamped, state: State) -> None:
        write(entry, state)
        ear.watch(entry, state)

    return Runner(MACHINE, session.state, session.journal, ear, mouth, clock_, watch)


def recogniser_of(engine: str | None, language: str) -> Recogniser:
    """Fitted to the person of this machine, if one has enrolled."""
    from handsfree.speech import enrol
    from handsfree.speech.commands import enrolment_folder, tell_missing
    from handsfree.speech.recogniser import build_recogniser

    recogniser = build_recogniser(engine, language, load_settings().models)
    shifts = enrol.load(enrolment_folder(), recogniser.name)
    if shifts is None:
        said = "The enrolment belongs to another recogniser and is not used; read the phrases again: handsfree enrol"
        print(said, file=sys.stderr)  # standard output may be sound
    tell_missing(recogniser.missing)
    recogniser.enrolment.update(shifts or {})
    return recogniser


def settings_of(asked: VisitOptions) -> Settings:
    return load_settings(
        engine=asked.engine, visits=asked.visits, technician=asked.technician, site=asked.site, cabinet=asked.cabinet
    )


def typed_runner(
    session: Session, write: Watcher[State], shows: Callable[[str], object] | None = None
) -> Runner[State]:
    from handsfree.dialogue.keyboard import TypedEar, WrittenMouth

    clock_ = RecordClock(session)
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")  # a stray byte is a word not understood, not the end of the visit
    ear = TypedEar(sys.stdin, session.state.language, clock_, shows)
    mouth = WrittenMouth(lambda text, role: None)
    beside, watch = session.incoming.beside(ear), session.incoming.watching(write)
    return Runner(MACHINE, session.state, session.journal, beside, mouth, clock_, watch)


class RecordClock:
    """The visit's clock as the record keeps it."""

    def __init__(self, session: Session) -> None:
        self._journal = session.journal

    def now(self) -> float:
        return self._journal.now()

    def wait(self, seconds: float) -> None:
        import time

        time.sleep(max(0.0, seconds))


def printer(out: Any) -> Watcher[State]:
    """Prints each thing a bystander would notice, with its time."""
    paint = _painter(out)

    def watch(entry: Stamped, state: State) -> None:
        code = state.book.procedures[state.book.main].language
        found = line(entry, code)
        if found is not None:
            _put(out, paint(found, code))

    return watch


def _put(out: Any, text: str) -> None:
    """Printed lines are for bystanders: a terminal without these characters, or one that is gone, must not end the visit."""
    with contextlib.suppress(OSError):
        try:
            print(text, file=out, flush=True)
        except UnicodeEncodeError:
            print(text.encode("ascii", "backslashreplace").decode("ascii"), file=out, flush=True)


def _painter(out: Any) -> Callable[[ToldLine, str], str]:
    bold, dim, end = ("\x1b[1m", "\x1b[2m", "\x1b[0m") if getattr(out, "isatty", lambda: False)() else ("", "", "")

    def paint(found: ToldLine, code: str) -> str:
        aside = f"  {dim}({found.aside}){end}" if found.aside else ""
        strong = bold if found.who == "technician" else ""
        mark = phrasing.value(code, "mark", found.who)
        return f"{dim}{clock(found.at)}{end}  {mark:<5}  {strong}{found.text}{end if strong else ''}{aside}"

    return paint


def show(session: Session, state: State, as_json: bool, out: Any = None) -> None:
    """Where the visit is, and how it ended."""
    from handsfree.journal.words import words_of

    out = out or sys.stdout
    finished = state.outcome not in ("", "stopped", "to be continued")
    if as_json:
        result = {"visit": str(session.folder), "finished": finished, "outcome": state.outcome,
                  "isolation": str(state.interlock.power), "seconds": round(state.now, 3),
                  "head": session.journal.head, "words": words_of(session.journal.head)}
        _put(out, json.dumps(result))
    else:
        _put(out, f"The visit is in {session.folder}")
        _put(out, f"The words of its record, to note elsewhere: {words_of(session.journal.head)}")
        if not finished:
            again = f"handsfree visit --resume {session.folder}"
            _put(out, f"It was {state.outcome or 'not finished'}; resume it with: {again}")
