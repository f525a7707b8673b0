"""A small archive with real sound, for `relisten`: recordings heard by a real engine (the cheap one) the way a visit hears,
and a visit of clips whose record says otherwise than they do. Invented throughout (the Hochgrat Mountain Railway)."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

from handsfree.dialogue.hearing import Hearer
from handsfree.dialogue.listening import listen_for, listening_of
from handsfree.journal.events import ListenFor, Opened, Utterance
from handsfree.journal.writer import Journal
from handsfree.resources import shipped_folder
from handsfree.sound.files import read_sound
from handsfree.speech.manifest import read_manifest
from handsfree.speech.recogniser import build_recogniser

ENGINE = "pocketsphinx"
LOCK = ("four", "two")
GATE = ListenFor(gate="isolated", lock=LOCK, commands=("say again", "go back"))
READING = ListenFor(number_unit="degF", number_low=-40.0, number_high=120.0, commands=())
WORDS = ListenFor(phrases=("cool", "warm"), commands=())
#: (in force, what the recording says, what the record says came of it: verdict, sense, text, value)
CROOKED: tuple[tuple[ListenFor, str, str, str, str, float | None], ...] = (
    (WORDS, "warm", "accepted", "phrase", "warm", None),
    (WORDS, "warm", "accepted", "phrase", "cool", None),
    (WORDS, "Did you bring the sandwiches?", "accepted", "phrase", "warm", None),
    (READING, "forty three point five", "accepted", "number", "", 63.5),
    (GATE, "isolated lock four three", "accepted", "gate", "isolated, lock four two", None),
    (GATE, "go back", "asked again", "denial", "half phrase", None),  # the cheap engine opens no gate on any recording
)


def recording(said: str) -> Path:
    """The first labelled one of it without noise."""
    top = shipped_folder("audio_fixtures")
    clips = read_manifest(top / "manifest.jsonl")
    return top / next(clip.audio for clip in clips if clip.tags["said"] == said and clip.snr == "clean")


def opened(name: str) -> Opened:
    return Opened(name, "summit-check", "en", "A. Brandner (invented)", "Hochgrat summit", "HK-4", "0", ENGINE)


def heard_visit(visits: Path, name: str, begin: int, step: int, engine: str = ENGINE) -> Path:
    """Every `step`-th labelled recording, heard under the listening of its label; every sound is kept."""
    top = shipped_folder("audio_fixtures")
    recogniser = build_recogniser(engine, "en", visits / "no-models")
    place = visits / name
    in_force = None
    with Journal.create(place) as journal:
        journal.append(opened(name))
        hearer = Hearer(recogniser, journal, keep_all=True)
        for clip in read_manifest(top / "manifest.jsonl")[begin::step]:
            event = replace(listen_for(clip.listen_for.listening()), commands=("say again", "next step"))
            if event != in_force:
                journal.append(event)
                in_force = event
            samples = read_sound(top / clip.audio)
            journal.append(hearer.hear_utterance(samples, listening_of(event), 0.0, len(samples) / 16_000))
        journal.seal()
    return place


def crooked_visit(visits: Path, name: str = "2026-05-02-crooked", rows: int = len(CROOKED)) -> Path:
    """The first `rows` of them."""
    place = visits / name
    with Journal.create(place) as journal:
        journal.append(opened(place.name))
        for listening, said, verdict, sense, text, value in CROOKED[:rows]:
            journal.append(listening)
            name, digest = journal.keep_sound(recording(said).read_bytes())
            journal.append(Utterance(verdict, sense, text, value, sure=0.9, engine=ENGINE, clip=name, clip_sha256=digest))
        journal.seal()
    return place


def copied(visit: Path, times: int) -> None:
    """More of the same, for the amount of work."""
    for number in range(times):
        shutil.copytree(visit, visit.with_name(f"{visit.name}-again-{number}"))
