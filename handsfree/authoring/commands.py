"""The verbs of the procedure writer that put parts together: `record` and `rehearse`."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.authoring.keeping import Recording, open_recording
from handsfree.authoring.recorder import Recorder
from handsfree.authoring.turn import State


@dataclass(frozen=True)
class Asked:
    """What the command line asked of a recording. `folder`: where the procedure is kept; `procedures` here when absent."""

    name: str
    folder: Path | None = None
    typed: bool = False
    language: str | None = None
    sound_in: str | None = None
    sound_out: str | None = None
    engine: str | None = None


def record(asked: Asked, *, as_json: bool = False) -> None:
    """Trouble for anything that keeps the recording from running."""
    from handsfree.settings import load

    settings = load()
    folder = asked.folder or Path("procedures")
    language = asked.language or settings.language
    engine = "typed" if asked.typed else asked.engine or settings.engine or "best"
    recording = open_recording(asked.name, folder, language, settings.technician, engine)
    if asked.typed:
        recorder = _typed(recording)
    else:
        from handsfree.authoring.live import live_recorder

        recorder = live_recorder(recording, asked, settings)
    _show(recording, recorder.run(), as_json)


def _typed(recording: Recording) -> Recorder:
    from handsfree.language import base
    from handsfree.sound.samples import RealClock
    from handsfree.visit.keyboard import TypedEar, WrittenMouth

    ear = TypedEar(sys.stdin, base.load(recording.state.words.language.code), RealClock())
    return Recorder(recording, ear, WrittenMouth(lambda text, role: print(text, flush=True)))


def _show(recording: Recording, state: State, as_json: bool) -> None:
    path, finished = recording.shelf.path, state.outcome == "finished"
    if as_json:
        unsure = sum(len(step.unsure) for step in state.draft.steps)
        data: dict[str, Any] = {"procedure": str(path), "finished": finished, "steps": len(state.draft.steps)}
        print(json.dumps(data | {"unsure": unsure}, ensure_ascii=False))
        return
    print(f"Written: {path}")
    if not finished:
        print(f"Not finished; take it up with: handsfree record {recording.shelf.name}")
