"""The files of a page that is recorded, and the parts that record it: keyboard, or microphone and loudspeaker.

The page is `cabinets/NAME.yaml` beside the procedures; the record of the recording, with its sounds, is
`cabinets/NAME.recording/NNN`. What the file has is not asked again, so a stopped recording is resumed by its name.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree import __version__
from handsfree.authoring.asked import RecordOptions
from handsfree.authoring.page_fields import text_of
from handsfree.authoring.pages import PageSave, PageState, advance, start
from handsfree.authoring.words import load_words
from handsfree.dialogue.parts import Ear, Machine, Mouth
from handsfree.dialogue.runner import Runner
from handsfree.errors import Trouble
from handsfree.journal.events import Opened, StopAsked
from handsfree.journal.writer import Journal
from handsfree.outputs import replace_file
from handsfree.procedure import cabinet, load, yamlfile
from handsfree.sound.samples import RealClock


@dataclass(frozen=True)
class PageRecording:
    """A page about to be recorded: where it is kept, its record, its state, its first happening."""

    path: Path
    journal: Journal
    state: PageState
    first: Opened

    def save(self, page: Any) -> None:
        """Completely or not at all. Trouble if the disk cannot be written."""
        try:
            replace_file(self.path, text_of(page).encode("utf-8"))
        except OSError as error:
            why = error.strerror or str(error)
            raise Trouble(f"{self.path.name} cannot be saved ({why}); fix that, then record again: all is kept.") from None


def open_page(asked: RecordOptions, language: str, writer: str, engine: str) -> PageRecording:
    """A new page, or an existing one. Trouble if it is not possible, or the file is not a page."""
    if not load.is_name(asked.name):
        raise Trouble(f"'{asked.name[:80]}' cannot be a cabinet's name: small letters, digits and single '-' only.")
    words = load_words(language)
    folder = (asked.folder or Path("procedures")) / cabinet.FOLDER
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Trouble(f"The folder {folder} cannot be made ({error.strerror}); choose another with --folder.") from None
    path = folder / f"{asked.name}.yaml"
    page = _existing(path) if path.is_file() else {"cabinet": asked.name, "version": 1, "language": language}
    home = folder / f"{asked.name}.recording"
    numbers = [int(one.name) for one in home.iterdir() if re.fullmatch(r"\d{3,}", one.name)] if home.is_dir() else []
    session = home / f"{max(numbers, default=0) + 1:03d}"
    copies = ((asked.name, path.read_text(encoding="utf-8")),) if path.is_file() else ()
    first = Opened(
        visit=f"{asked.name} {session.name}", procedure=asked.name, language=language, technician=writer, site="",
        cabinet=asked.name, program=__version__, engine=engine, copies=copies,
    )  # fmt: skip
    return PageRecording(path, Journal.create(session), start(words, page), first)


def _existing(path: Path) -> dict[str, Any]:
    return dict(yamlfile.read_yaml(cabinet.load_page(path).text).data)


def run(recording: PageRecording, ear: Ear, mouth: Mouth, watch: Any = None) -> PageState:
    """To the end; an interrupt, or an ear that has nothing more, stops it. What was saved stays."""

    def save(state: PageState, effect: PageSave) -> Iterator[str]:
        recording.save(effect.page)
        return iter(())

    machine = Machine[PageState](advance, lambda state: state.words.prompt("unrecorded"), {PageSave: save})
    clock = RealClock(recording.journal.now())
    runner = Runner(machine, recording.state, recording.journal, ear, mouth, clock, watch)
    try:
        try:
            runner.run(recording.first)
        except KeyboardInterrupt:
            runner.happen(StopAsked("interrupted at the keyboard"))
        except EOFError:
            runner.happen(StopAsked("there is nothing more to hear"))
        recording.journal.seal()
    finally:
        runner.close()
        recording.journal.close()
    return runner.state


def record_page(asked: RecordOptions, *, as_json: bool = False) -> None:
    """Trouble for anything that keeps the recording from running."""
    from handsfree.settings import load_settings

    settings = load_settings()
    language = asked.language or settings.language
    engine = "typed" if asked.typed else asked.engine or settings.engine or "best"
    recording = open_page(asked, language, settings.technician, engine)
    try:
        ear, mouth = _typed(recording) if asked.typed else _spoken(recording, asked, settings)
    except Trouble:
        recording.journal.close()
        raise
    state = run(recording, ear, mouth)
    finished = state.outcome == "finished"
    if as_json:
        print(json.dumps({"page": str(recording.path), "finished": finished, "fields": len(state.page)}))
        return
    print(f"Written: {recording.path}" if recording.path.is_file() else "No file was written: the page has no title yet.")
    if not finished:
        print(f"Not finished; resume it with: handsfree record {asked.name} --cabinet")


def _typed(recording: PageRecording) -> tuple[Ear, Mouth]:
    from handsfree.dialogue.keyboard import TypedEar, WrittenMouth
    from handsfree.language import base

    ear = TypedEar(sys.stdin, base.load(recording.state.words.language.code), RealClock(recording.journal.now()))
    return ear, WrittenMouth(lambda text, role: print(text, flush=True))


def _spoken(recording: PageRecording, asked: RecordOptions, settings: Any) -> tuple[Ear, Mouth]:
    from handsfree.authoring.live import joined

    return joined(recording.journal, recording.state.words.language.code, asked, settings)
