"""The commands of recognition, which print: `models`, `evaluate`, `enrol`."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble
from handsfree.settings import load_settings

if TYPE_CHECKING:
    from handsfree.speech.engine import Samples


def models(add: Path | None, name: str, language: str, fetch: bool, fetch_whisper: str) -> None:
    """List what there is; first add a model from a zip or folder, or fetch the small English Vosk model or whisper's."""
    from handsfree.speech import models as module

    folder = load_settings().models
    if add is not None:
        added = module.add(add, folder, name, language)
        print(f"Added {added.name} ({added.kind}), sha256 {added.sha256}")
    if fetch:
        fetched = module.fetch_small_english(folder)
        print(f"Fetched {fetched.name} ({fetched.kind}), sha256 {fetched.sha256}")
    if fetch_whisper:
        fetched = module.fetch_whisper(folder, fetch_whisper)
        print(f"Fetched {fetched.name} ({fetched.kind}), sha256 {fetched.sha256}")
    for model in module.installed(folder, hashes=True):
        size = f"{model.size / 1e6:.0f} MB"
        print(f"{model.kind:<12} {model.name:<28} {model.language or '?':<3} {size:>8}  {model.where:<9}  {model.sha256}")
        print(f"{'':<12} from {model.origin}; licence: {model.licence}")
        if not module.unchanged(model):
            print(f"{'':<12} {model.name} is not as it was when it was added: its files have another hash. Add it again.")


def tell_missing(missing: str) -> None:
    """Print which witness is missing or damaged (`Recogniser.missing`). On standard error: standard output may be sound."""
    if missing:
        print(missing, file=sys.stderr)


def evaluate(manifest: Path, engine: str | None, as_json: bool, show: bool) -> int:
    """The exit status of the measurement."""
    from handsfree.speech.evaluate import command
    from handsfree.speech.processes import recogniser_here

    models = load_settings().models
    tell_missing(recogniser_here(engine, "en", str(models)).missing)
    return command(manifest, engine, as_json, models, show)


def enrolment_folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("handsfree") / "enrolment"


def enrol(sound_in: str | None, engine: str | None, forget: bool) -> None:
    """Read the phrases aloud once; what is learnt stays on this machine. A sound file may hold them, in their order."""
    from handsfree.speech import enrol as module
    from handsfree.speech.bars import thresholds
    from handsfree.speech.recogniser import build_recogniser

    folder = enrolment_folder()
    if forget:
        module.forget(folder)
        print(f"The enrolment in {folder} is deleted, recordings and all.")
        return
    recogniser = build_recogniser(engine or load_settings().engine or None, "en", load_settings().models)
    tell_missing(recogniser.missing)
    print("Read each line aloud when it is shown, as you would at work. It takes about two minutes.")
    spoken = []
    pieces = _pieces(sound_in)
    for reading in module.SCRIPT:
        print(f"  {reading.text}", flush=True)
        piece = next(pieces, None)
        if piece is None:
            raise Trouble(f"No speech came for '{reading.text}'; nothing was kept. Check the microphone and begin again.")
        spoken.append((reading, piece))
    shifts = module.learn(recogniser, spoken, thresholds())
    module.save(folder, shifts, spoken, recogniser.name)
    learnt = ", ".join(f"{stake} {shift:+.2f}" for stake, shift in shifts.items()) or "nothing: every phrase was too unlike"
    print(f"Learnt (log-odds): {learnt}. Kept in {folder}; delete it with: handsfree enrol --forget")
    opened, tried = module.gates_opened(recogniser, spoken)
    print(f"A gate would have opened to {opened} of your {tried} phrases at the first try; nothing learnt changes that.")
    if 2 * opened < tried:
        print("That is few: a gate will often stay shut to this voice. Try a microphone nearer the mouth, or --typed.")


def _pieces(sound_in: str | None) -> Iterator[Samples]:
    """Utterances of a file, or of the microphone as they come."""
    from handsfree.sound.files import is_file, read_sound
    from handsfree.speech.endpoint import Endpointer

    endpointer = Endpointer()
    if sound_in is not None and is_file(sound_in):
        samples = read_sound(sound_in)
        yield from (piece.samples for piece in (*endpointer.feed(samples), *endpointer.flush()))
        return
    yield from _from_microphone(sound_in, endpointer)


def _from_microphone(device: str | None, endpointer: Any) -> Iterator[Samples]:
    from handsfree.sound.microphone import Microphone
    from handsfree.sound.samples import RealClock
    from handsfree.speech import bars

    clock = RealClock()
    microphone = Microphone(device or load_settings().sound_in or None, clock, lambda event: None)
    try:
        last = clock.now()
        while clock.now() - last < bars.ENROL_WAIT.value * 60:
            block = microphone.read(0.5)
            for piece in endpointer.feed(block.samples) if block is not None else ():
                last = clock.now()
                yield piece.samples
    finally:
        microphone.close()
