"""Joins microphone, loudspeaker, recogniser and voice for a dialogue, in the same way for the visit and the recorder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handsfree.sound.samples import Clock

if TYPE_CHECKING:
    from handsfree.language.meaning import Heard, Listening
    from handsfree.settings import Settings
    from handsfree.sound.happenings import Happenings
    from handsfree.sound.live import Cutter, HearsSound, LiveLoop
    from handsfree.sound.prompts import Sink, Tell
    from handsfree.sound.samples import Samples
    from handsfree.sound.sources import SoundSource
    from handsfree.sound.synth import Synthesiser


@dataclass(frozen=True)
class Devices:
    """As the command line and the settings name them; None and '' for the usual ones, '-' for a pipe."""

    sound_in: str | None
    sound_out: str | None
    settings: Settings


@dataclass(frozen=True)
class Wires:
    """The live loop, not started yet, the sink for prompts, and the queue on which both report what happened."""

    loop: LiveLoop
    sink: Sink
    happenings: Happenings


def wired(
    devices: Devices, cutter: Cutter, recogniser: HearsSound, clock: Clock, first: Callable[[], object] | None = None,
    ahead: Callable[[Samples, Heard, Listening], object] | None = None,
) -> Wires:  # fmt: skip
    """`first`: what the recognising thread does before its first utterance; `ahead`: receives what was heard ahead. Trouble
    for a device that cannot be used."""
    from handsfree.sound.echo import EchoGuard
    from handsfree.sound.happenings import Happenings
    from handsfree.sound.live import LiveLoop

    happenings, settings = Happenings(), devices.settings
    sink = sink_of(devices.sound_out, settings.sound_out, clock, happenings.tell)
    try:
        source = source_of(devices.sound_in, settings.sound_in, clock, happenings.tell)
    except BaseException:
        sink.close()  # its keeper would look for a loudspeaker while the program ends
        raise
    guard = EchoGuard(headset=settings.headset)
    return Wires(LiveLoop(source, cutter, sink, recogniser, happenings, clock, guard, first, ahead), sink, happenings)


def source_of(named: str | None, usual: str, clock: Clock, tell: Tell) -> SoundSource:
    if named == "-":
        from handsfree.sound.sources import FileSource

        return FileSource("-", clock)
    from handsfree.sound.microphone import Microphone

    return Microphone(named or usual or None, clock, tell)


def sink_of(named: str | None, usual: str, clock: Clock, tell: Tell) -> Sink:
    from handsfree.sound.files import is_file

    if named == "-" or is_file(named):
        from handsfree.sound.sinks import FileSink

        return FileSink(named, clock, tell)
    from handsfree.sound.loudspeaker import Loudspeaker

    return Loudspeaker(named or usual or None, clock, tell)


def voice_of(code: str, settings: Settings) -> Synthesiser:
    """The program's own voice, with a cache of what it has said before."""
    from platformdirs import user_cache_path

    from handsfree.sound.synth import Synthesiser

    return Synthesiser(code, settings.voice, settings.words_a_minute, user_cache_path("handsfree") / "voice")
