"""A visit by sound: devices, files or pipes joined to the runner."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.dialogue.hearing import Hearer
from handsfree.dialogue.runner import Runner, Watcher
from handsfree.dialogue.wiring import Devices, voice_of, wired
from handsfree.errors import Trouble
from handsfree.journal.events import Happening, Stamped
from handsfree.settings import Settings, load_settings
from handsfree.visit import commands
from handsfree.visit.machine import MACHINE
from handsfree.visit.sessions import Session, run
from handsfree.visit.state import State

if TYPE_CHECKING:
    from handsfree.language.meaning import Heard, Listening
    from handsfree.sound.live import LiveLoop
    from handsfree.sound.samples import Samples, VirtualClock
    from handsfree.speech.recogniser import Recogniser


def live_visit(asked: commands.VisitOptions, as_json: bool) -> None:
    """Trouble for a microphone, loudspeaker, file or model that cannot be used: before the visit is opened."""
    from handsfree.sound.files import is_file
    from handsfree.sound.samples import VirtualClock
    from handsfree.visit.demo import DemoClock

    settings = commands.settings_of(asked)
    recorded = is_file(asked.sound_in)
    if recorded and asked.sound_in is not None and not Path(asked.sound_in).is_file():
        raise Trouble(f"There is no sound file '{asked.sound_in}'; check the name.")
    recogniser = commands.recogniser_of(settings.engine or None, _language_of(asked))
    out = sys.stderr if asked.sound_out == "-" else sys.stdout
    watch = commands.printer(out)
    if recorded:
        clock = VirtualClock()
        session = commands.opened(asked, recogniser.name, DemoClock(clock))
        state = run(session, lambda s: _from_recording(s, asked, recogniser, clock, watch))
    else:
        session = commands.opened(asked, recogniser.name)
        if asked.screen and out.isatty():
            state = _on_screen(session, asked, settings, recogniser)
        else:
            state = run(session, lambda s: joined(s, asked, settings, recogniser, watch)[0])
    commands.show(session, state, as_json, out)


def _language_of(asked: commands.VisitOptions) -> str:
    """The procedure's language, whatever the settings say; for a resumed visit, the one in its record."""
    from handsfree.journal import reader
    from handsfree.journal.events import Opened
    from handsfree.procedure import load
    from handsfree.visit.starting import begun_by

    if asked.resume is not None:
        return next((entry.event.language for entry in reader.read(asked.resume) if isinstance(entry.event, Opened)), "en")
    book = load.load_book(begun_by(asked.procedure, asked.call).procedure)
    return book.procedures[book.main].language


def _from_recording(
    session: Session, asked: commands.VisitOptions, recogniser: Recogniser, clock: VirtualClock, watch: Watcher[State]
) -> Runner[State]:
    from handsfree.dialogue.ears import RecordingEar
    from handsfree.dialogue.mouth import SpokenMouth
    from handsfree.sound.sinks import FileSink

    assert asked.sound_in is not None
    ended: list[Happening] = []
    ear = RecordingEar(asked.sound_in, hearer_of(session, recogniser), clock)
    sink = FileSink(asked.sound_out, clock, ended.append)
    voice = voice_of(session.state.language.code, load_settings())
    mouth = SpokenMouth(voice, sink, session.state.language, ended, session.recordings)

    def both(entry: Stamped, state: State) -> None:
        watch(entry, state)
        ear.watch(entry, state)

    return Runner(MACHINE, session.state, session.journal, ear, mouth, clock, both)


def _on_screen(session: Session, asked: commands.VisitOptions, settings: Settings, recogniser: Recogniser) -> State:
    from handsfree.sound.screen import Screen
    from handsfree.visit.glance import Glance

    with Screen() as screen:
        glance = Glance(screen)

        def runner_of(session: Session) -> Runner[State]:
            runner, loop = joined(session, asked, settings, recogniser, glance, glance.typing)
            glance.meter(loop)
            return runner

        try:
            return run(session, runner_of)
        finally:
            glance.close()


def joined(
    session: Session, asked: commands.VisitOptions, settings: Settings, recogniser: Recogniser, watch: Watcher[State],
    shows: Callable[[str], object] | None = None,
) -> tuple[Runner[State], LiveLoop]:  # fmt: skip
    """`shows` receives the line that is being typed, for a screen that is drawn."""
    from handsfree.dialogue import keyboard
    from handsfree.dialogue.ears import LiveEar
    from handsfree.dialogue.mouth import SpokenMouth
    from handsfree.sound.memory import share
    from handsfree.speech.endpoint import Endpointer
    from handsfree.speech.patience import so_far
    from handsfree.visit.ahead import sentences_ahead

    share()
    sentences = list(sentences_ahead(session.state))  # before a thread or a device is open that a fault would leave so
    clock = commands.RecordClock(session)
    devices = Devices(asked.sound_in, asked.sound_out, settings)
    cutter, language = Endpointer(), session.state.language

    def ahead(samples: Samples, heard: Heard, listening: Listening) -> None:
        cutter.expect(samples, so_far(heard, listening, language))

    wires = wired(devices, cutter, recogniser, clock, lambda: _load(recogniser, session), ahead)
    loop, synthesiser = wires.loop, voice_of(session.state.language.code, load_settings())
    synthesiser.ahead(sentences)
    ear = LiveEar(loop, hearer_of(session, recogniser), clock, session.state.language)
    loop.start()
    if asked.sound_in != "-" and sys.stdin is not None and sys.stdin.isatty():  # a hand that is dry may type
        keyboard.beside(sys.stdin, wires.happenings.tell, clock, shows)
    mouth = SpokenMouth(synthesiser, wires.sink, session.state.language, [], session.recordings, ear.said)
    beside, shown = session.incoming.beside(ear), session.incoming.watching(watch)

    def watching(entry: Stamped, state: State) -> None:
        ear.watch(entry.event)
        shown(entry, state)

    return Runner(MACHINE, session.state, session.journal, beside, mouth, clock, watching), loop


def hearer_of(session: Session, recogniser: Recogniser) -> Hearer:
    """With the voice witness, if it is installed; if it is not, that is said before the visit begins."""
    from handsfree.speech import enrol
    from handsfree.speech.commands import enrolment_folder
    from handsfree.speech.speaker import Voices, installed_encoder

    encoder, missing = installed_encoder()
    if missing:
        print(f"{missing[0].upper()}{missing[1:]}.", file=sys.stderr)  # standard output may be sound
    voices = Voices(encoder, enrolment=lambda: enrol.clips(enrolment_folder()))
    return Hearer(recogniser, session.journal, load_settings().keep_all_sound, voices)


def _load(recogniser: Recogniser, session: Session) -> None:
    """Loads all engines, because a gate may be the first to need the second. Then it hears half a second of near silence
    and forgets it: what is in force is prepared with the first sound."""
    import numpy as np

    from handsfree.sound.samples import RATE
    from handsfree.visit.questions import listening

    nothing = 1e-3 * np.random.default_rng(0).standard_normal(RATE // 2)
    recogniser.load()
    recogniser.hear(nothing.astype(np.float32), listening(session.state))
