"""The files of a recording: the procedure, the writer's sounds beside it, and the record of how they were made.

Rules of this file:

- The procedure file is replaced completely or not at all, and only after its sounds are on disk.
- The record of a recording is a journal like a visit's, in `NAME.recording/NNN` beside the procedure. Everything that was
  kept can be made again from it.
- If somebody has edited the procedure by hand since, the edited file counts: a new record begins from it.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from handsfree import __version__
from handsfree.authoring import machine
from handsfree.authoring.draft import Draft, as_yaml, data_of, draft_of, remarks_of
from handsfree.authoring.rewriting import rewritten
from handsfree.authoring.turn import RecorderState, Save
from handsfree.authoring.words import load_words
from handsfree.errors import Trouble
from handsfree.journal import reader
from handsfree.journal.clock import JournalClock
from handsfree.journal.events import Happening, Opened, Resumed
from handsfree.journal.writer import Journal
from handsfree.outputs import replace_file
from handsfree.procedure import load, yamlfile
from handsfree.procedure.model import text_digest


@dataclass(frozen=True)
class Shelf:
    """Where a procedure is kept: `folder` has `NAME.yaml` and the sounds of its steps; `session` the record. `base`: the
    file as it was when the recording began, '' if there was none; writing changes that text."""

    folder: Path
    name: str
    session: Path
    base: str = ""

    @property
    def path(self) -> Path:
        return self.folder / f"{self.name}.yaml"

    def sounds(self, draft: Draft) -> dict[int, tuple[str, str]]:
        """By uid: the file of the step's sound, and the SHA-256 of the text it speaks."""
        return {step.uid: (self._file(step.id, step.clips), text_digest(step.text)) for step in draft.steps if step.clips}

    def _file(self, step: str, clips: tuple[str, ...]) -> str:
        """The name tells which clips are in it, so that a file never changes while a procedure names it."""
        mark = hashlib.sha256("\n".join((self.session.name, *clips)).encode()).hexdigest()[:8]
        return f"{self.name}-{step}-{mark}.flac"

    def text(self, draft: Draft) -> str:
        sounds = self.sounds(draft)
        return rewritten(self.base, data_of(draft, sounds), remarks_of(draft)) if self.base else as_yaml(draft, sounds)

    def said(self) -> Iterator[str]:
        """What changed since the recording began, in the words of a comparison."""
        from handsfree.procedure import compare

        if self.base and self.path.is_file():
            try:
                old, new = load.parse_procedure(self.base, self.path.name), load.load_procedure(self.path)
            except Trouble:
                return
            yield from compare.lines(compare.compare(load.book_of(old), load.book_of(new)), new.language)

    def save(self, draft: Draft) -> None:
        """A procedure that has neither title nor step is not written. Trouble if the disk cannot be written."""
        if not draft.steps and not draft.header.get("title") and not self.path.is_file():
            return
        text = self.text(draft)
        try:
            for step in draft.steps:
                if step.clips:
                    self._write_sound(self._file(step.id, step.clips), step.clips)
            replace_file(self.path, text.encode("utf-8"))
        except OSError as error:
            why = error.strerror or str(error)
            raise Trouble(f"{self.path.name} cannot be saved ({why}); fix that, then record again: all is kept.") from None

    def _write_sound(self, name: str, clips: tuple[str, ...]) -> None:
        if (self.folder / name).is_file():
            return
        import numpy as np

        from handsfree.journal.writer import flac
        from handsfree.sound.files import read_sound

        pieces = [read_sound(self.session / clip) for clip in clips if (self.session / clip).is_file()]
        if pieces:
            replace_file(self.folder / name, flac(np.concatenate(pieces)))


@dataclass(frozen=True)
class Recording:
    """A recording ready to run: its record, its state, its first happening."""

    shelf: Shelf
    journal: Journal
    state: RecorderState
    first: Happening

    def abandon(self) -> None:
        """A recording that could not begin leaves nothing behind; a resumed one stays as it was."""
        self.journal.close()
        if self.journal.count == 0:
            shutil.rmtree(self.shelf.session, ignore_errors=True)
            with contextlib.suppress(OSError):
                self.shelf.session.parent.rmdir()  # not while other recordings are in it


def open_recording(
    name: str, folder: Path, language: str, writer: str, engine: str, clock: JournalClock | None = None
) -> Recording:
    """A new recording, a resumed one, or one of an existing procedure. Trouble if none is possible."""
    if not load.is_name(name):
        raise Trouble(f"'{name[:80]}' cannot be a procedure's name: small letters, digits and single '-' only.")
    load_words(language)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Trouble(f"The folder {folder} cannot be made ({error.strerror}); choose another with --folder.") from None
    last = _last_session(folder, name)
    if last is not None and (taken := _take_up(Shelf(folder, name, last), clock)) is not None:
        return taken
    session = folder / f"{name}.recording" / f"{int(last.name) + 1 if last else 1:03d}"
    shelf = Shelf(folder, name, session)
    if shelf.path.is_file():
        shelf = replace(shelf, base=_existing(shelf.path))
    copies = ((name, shelf.base),) if shelf.base else ()
    opened = Opened(
        visit=f"{name} {session.name}", procedure=name, language=language, technician=writer, site="", cabinet="",
        program=__version__, engine=engine, digests=_procedures(folder, name), copies=copies,
    )  # fmt: skip
    state = state_before(opened)
    return Recording(shelf, Journal.create(session, clock=clock), state, opened)


def state_before(opened: Opened) -> RecorderState:
    """From what the record says of the beginning."""
    words = load_words(opened.language)
    if opened.copies:
        text = opened.copies[0][1]
        draft = draft_of(yamlfile.read_yaml(text).data, text)
    else:
        draft = Draft({"procedure": opened.procedure, "title": "", "version": 1, "language": opened.language})
    return machine.start(draft, words, tuple(name for name, _ in opened.digests))


def _existing(path: Path) -> str:
    return load.load_file(path).text


def _procedures(folder: Path, own: str) -> tuple[tuple[str, str], ...]:
    """Those that may be called, with the SHA-256 of their files."""
    found: dict[str, str] = {}
    for place in (folder, *load.usual_folders()):
        for path in load.procedure_files(place) if place.is_dir() else ():
            if path.stem != own and load.is_name(path.stem):
                found.setdefault(path.stem, hashlib.sha256(path.read_bytes()).hexdigest())
    return tuple(sorted(found.items()))


def _last_session(folder: Path, name: str) -> Path | None:
    home = folder / f"{name}.recording"
    found = sorted(path for path in home.iterdir() if re.fullmatch(r"\d{3,}", path.name)) if home.is_dir() else []
    return found[-1] if found else None


def _take_up(shelf: Shelf, clock: JournalClock | None) -> Recording | None:
    """None if that recording was finished, contains nothing, or the procedure has been edited since."""
    try:
        journal = Journal.resume(shelf.session, clock=clock)
    except Trouble:
        if next(iter(_lines(shelf.session)), None) is not None:
            raise
        return None  # a crash before its first event reached the disk
    state, saved, base = replayed(shelf)
    shelf = replace(shelf, base=base)
    on_disk = shelf.path.read_text(encoding="utf-8", errors="replace") if shelf.path.is_file() else None
    if state.outcome == "finished" or (on_disk is not None and text_digest(on_disk) not in saved):
        journal.close()
        return None
    why = "stopped" if state.closed else "interrupted"
    return Recording(shelf, journal, state, Resumed(why, __version__))


def _lines(session: Path) -> list[str]:
    path = session / reader.JOURNAL
    return path.read_text(encoding="utf-8", errors="replace").splitlines()[:1] if path.is_file() else []


def replayed(shelf: Shelf) -> tuple[RecorderState, Mapping[str, int], str]:
    """The state at the end of the record, the digests of every text of the procedure that it saved, and the text it began
    from."""
    state: RecorderState | None = None
    saved: dict[str, int] = {}
    for entry in reader.read(shelf.session):
        if isinstance(entry.event, Opened) and state is None:
            state = state_before(entry.event)
            shelf = replace(shelf, base=entry.event.copies[0][1] if entry.event.copies else "")
        if state is None:
            raise Trouble(f"{shelf.session.name} is not a recording; it cannot be resumed.", 3)
        state, effects = machine.advance(state, entry)
        for effect in effects:
            if isinstance(effect, Save):
                saved[text_digest(shelf.text(effect.draft))] = entry.n
    if state is None:
        raise Trouble(f"{shelf.session.name} contains no event; remove it and record again.")
    return state, saved, shelf.base
