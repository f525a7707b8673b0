"""The verbs of sound, printed: the list of devices, and the check of a microphone before a visit."""

from __future__ import annotations

from handsfree.settings import load_settings
from handsfree.sound.check import Expected


def devices() -> None:
    """Trouble where PortAudio is missing, with the command that installs it."""
    from handsfree.sound import check
    from handsfree.sound.cards import every_device

    for line in check.device_lines(every_device()):
        print(line)


def check(sound_in: str | None, table: tuple[Expected, ...]) -> None:
    """Ten seconds of silence, then one phrase, from a device or from a file that holds them in that order."""
    from handsfree.sound import check as checking
    from handsfree.sound.files import is_file
    from handsfree.sound.samples import RealClock, VirtualClock
    from handsfree.sound.sources import FileSource, SoundSource

    source: SoundSource
    if sound_in is not None and (sound_in == "-" or is_file(sound_in)):
        source = FileSource(sound_in, VirtualClock())
    else:
        from handsfree.sound.microphone import Microphone

        source = Microphone(sound_in or load_settings().sound_in or None, RealClock(), lambda event: None)
    try:
        verdict = checking.measure(source, lambda text: print(text, flush=True), table)
    finally:
        source.close()
    for line in checking.in_words(verdict):
        print(line)
