"""The procedure writer's commands that put parts together: `record` and `rehearse`."""

from __future__ import annotations

import json
import sys
from functools import partial
from pathlib import Path
from typing import Any

from handsfree.authoring.asked import MOST_WORDS, RecordOptions, Rehearse
from handsfree.authoring.keeping import Recording, open_recording
from handsfree.authoring.recorder import Recorder
from handsfree.authoring.turn import RecorderState
from handsfree.errors import Trouble
from handsfree.procedure import phrasing


def record(asked: RecordOptions, as_json: bool = False) -> None:
    """Trouble for anything that keeps the recording from running."""
    from handsfree.settings import load_settings

    if (letters := len(" ".join(asked.words.split()))) > MOST_WORDS:
        raise Trouble(f"--words has {letters} letters, and only {MOST_WORDS} are used. Keep the words that few people say.")
    if asked.cabinet:
        from handsfree.authoring.page_files import record_page

        record_page(asked, as_json=as_json)
        return
    settings = load_settings()
    folder = asked.folder or Path("procedures")
    language = asked.language or settings.language
    engine = "typed" if asked.typed else asked.engine or settings.engine or "best"
    recording = open_recording(asked.name, folder, language, settings.technician, engine)
    try:
        recorder = _typed(recording) if asked.typed else _live(recording, asked, settings)
    except Trouble:
        recording.abandon()
        raise
    _show(recording, recorder.run(), as_json)


def _live(recording: Recording, asked: RecordOptions, settings: Any) -> Recorder:
    from handsfree.authoring.live import live_recorder

    return live_recorder(recording, asked, settings)


def _typed(recording: Recording) -> Recorder:
    from handsfree.dialogue.keyboard import TypedEar, WrittenMouth
    from handsfree.language import base
    from handsfree.sound.samples import RealClock

    ear = TypedEar(sys.stdin, base.load(recording.state.words.language.code), RealClock(recording.journal.now()))
    return Recorder(recording, ear, WrittenMouth(lambda text, role: print(text, flush=True)))


def _show(recording: Recording, state: RecorderState, as_json: bool) -> None:
    path, finished = recording.shelf.path, state.outcome == "finished"
    if as_json:
        unsure = len(state.draft.doubts) + sum(len(step.unsure) for step in state.draft.steps)
        data: dict[str, Any] = {"procedure": str(path), "finished": finished, "steps": len(state.draft.steps)}
        print(json.dumps(data | {"unsure": unsure}, ensure_ascii=False))
        return
    say = partial(phrasing.say, recording.state.words.language.code)
    print(say("record-written", path=path) if path.is_file() else say("record-unwritten"))
    for line in recording.shelf.said():
        print(line)
    if not finished:
        where = "" if recording.shelf.folder == Path("procedures") else f" --folder {recording.shelf.folder}"
        print(say("record-resume", command=f"handsfree record {recording.shelf.name}{where}"))


def rehearse(asked: Rehearse, *, as_json: bool = False) -> None:
    """Exits with 1 if a phrase was taken for another, or a path did not end."""
    if asked.typed or asked.spoken:
        from handsfree.authoring.interactive import interactive

        interactive(asked)
        return
    from handsfree.authoring import paths, rehearsal, report
    from handsfree.visit.sessions import provable

    book = provable(asked.procedure)
    found, every = paths.find(book)
    chosen = found[: asked.most]
    code = book.procedures[book.main].language
    key = "rehearse-paths" if every else "rehearse-paths-some"
    print(phrasing.say(code, key, found=len(found), chosen=len(chosen)), flush=True)
    bench = _bench(asked, book)
    walked = []
    for one in rehearsal.rehearse(bench, chosen):
        walked.append(one)
        print(_line(one, code), flush=True)
    for line in report.lines(walked, code):
        print(line)
    if as_json:
        print(json.dumps(report.as_data(walked, len(found), every), ensure_ascii=False))
    if any(one.mistaken or not one.finished for one in walked):
        sys.exit(1)


def _bench(asked: Rehearse, book: Any) -> Any:
    from platformdirs import user_cache_path

    from handsfree.authoring import rehearsal, voices
    from handsfree.dialogue.mouth import SpokenMouth
    from handsfree.journal.events import Happening
    from handsfree.language import base
    from handsfree.settings import load_settings
    from handsfree.sound.sinks import FileSink
    from handsfree.sound.synth import Synthesiser
    from handsfree.speech.commands import tell_missing
    from handsfree.speech.recogniser import build_recogniser

    settings = load_settings()
    code = book.procedures[book.main].language
    language, cache = base.load(code), user_cache_path("handsfree") / "voice"
    recogniser = build_recogniser(asked.engine or settings.engine or None, code, settings.models)
    tell_missing(recogniser.missing)
    own = Synthesiser(code, settings.voice, settings.words_a_minute, cache)

    def mouth_of(clock: Any) -> SpokenMouth:
        ended: list[Happening] = []
        return SpokenMouth(own, FileSink(None, clock, ended.append), language, ended)

    speakers = voices.speakers(asked.voices, code, lambda name: Synthesiser(code, name, settings.words_a_minute, cache))
    return rehearsal.Bench(book, recogniser, speakers, mouth_of)


def _line(one: Any, code: str) -> str:
    from handsfree.authoring.paths import shortened

    minutes, seconds = divmod(round(one.seconds), 60)
    end = phrasing.value(code, "outcome", one.path.outcome) if one.finished else phrasing.say(code, "rehearse-unfinished")
    return phrasing.say(
        code, "rehearse-walk", number=one.number, voice=one.voice, time=f"{minutes}:{seconds:02d}",
        minutes=f"{one.minutes:g}", again=len(one.asked_again), sayings=one.sayings, end=end, path=shortened(one.path),
    )
