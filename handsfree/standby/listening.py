"""The listener: a process of its own that hears nothing but the words that start a visit, and ends when it has heard them.

Rules of this file:

- Nothing is kept: no sound, no text. Anything but the words is forgotten as soon as it is heard.
- The words heard are told on standard output, as the last line. Whatever else happens is a sentence on standard error.
- With `--ends-with-input` it ends when standard input does, which stand-by holds open as long as it runs.
"""

from __future__ import annotations

import argparse
import os
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handsfree.errors import Trouble
from handsfree.standby.core import GO_ON, START

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.language.meaning import Listening
    from handsfree.sound.happenings import Happenings


@dataclass(frozen=True)
class ListenerOptions:
    """Options of the listener: devices and language as the command line names them, what it says first, what may be
    answered."""

    sound_in: str | None
    sound_out: str | None
    language: str
    say: str
    may_go_on: bool


def listen(asked: ListenerOptions) -> str:
    """START or GO_ON, once one is said. Trouble for a device, voice or engine that cannot be had; EOFError where the sound
    ended."""
    from handsfree.dialogue.wiring import Devices, voice_of, wired
    from handsfree.language import base
    from handsfree.settings import load_settings
    from handsfree.sound.memory import share
    from handsfree.sound.prompts import Prompt
    from handsfree.sound.samples import RealClock
    from handsfree.speech.commands import tell_missing
    from handsfree.speech.endpoint import Endpointer
    from handsfree.speech.recogniser import build_recogniser

    share()
    settings, language, clock = load_settings(), base.load(asked.language), RealClock()
    recogniser = build_recogniser(settings.engine or None, asked.language, settings.models)
    tell_missing(recogniser.missing)
    wires = wired(Devices(asked.sound_in, asked.sound_out, settings), Endpointer(), recogniser, clock, recogniser.load)
    voice, words = voice_of(asked.language, settings), _words(language, asked.may_go_on)
    numbers = iter(range(1, sys.maxsize))

    def say(key: str) -> None:
        text = language.prompt(key, start=language.prompt("standby-start"), on=language.prompt("standby-on"))
        wires.sink.play(Prompt(next(numbers), text, voice.speak(language.speakable(text))))

    wires.loop.start()
    try:
        wires.loop.listen(_listening(tuple(words)))
        say(asked.say)
        found = _heard(wires.happenings, words, say)
        say("standby-taken")
        wires.sink.drain(5)
        return found
    finally:
        wires.loop.close()
        wires.sink.close()


def _words(language: Language, may_go_on: bool) -> dict[str, str]:
    """What may be said, with what it means."""
    words = {language.prompt("standby-start"): START}
    return {**words, language.prompt("standby-on"): GO_ON} if may_go_on else words


def _listening(words: tuple[str, ...]) -> Listening:
    from handsfree.language.meaning import Listening

    return Listening(phrases=words, commands=())


def _heard(happenings: Happenings, words: dict[str, str], say: Callable[[str], object]) -> str:
    from handsfree.language.meaning import Verdict
    from handsfree.sound.happenings import Ended, HeardPiece, ThreadFailed
    from handsfree.speech.bars import TAKE_START

    while True:
        told = happenings.next(None)
        if isinstance(told, Ended):
            raise EOFError
        if isinstance(told, ThreadFailed):
            raise told.error
        heard = told.heard if isinstance(told, HeardPiece) else None
        if heard is None or heard.meaning is None or heard.meaning.text not in words:
            continue
        if heard.verdict is Verdict.ACCEPTED and heard.sure >= TAKE_START.value:
            return words[heard.meaning.text]
        if heard.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED):
            say("standby-again")


def main(arguments: list[str]) -> int:
    """Exit status 0 with the word on standard output; 2 with a sentence on standard error."""
    parser = argparse.ArgumentParser(prog="listening")
    for name in ("sound-in", "sound-out"):
        parser.add_argument(f"--{name}", default=None)
    parser.add_argument("--language", default="en")
    parser.add_argument("--say", default="standby-ready")
    parser.add_argument("--may-go-on", action="store_true")
    parser.add_argument("--ends-with-input", action="store_true")
    given = parser.parse_args(arguments)
    if given.ends_with_input:
        threading.Thread(target=_end_with_input, name="stand-by gone", daemon=True).start()
    asked = ListenerOptions(given.sound_in, given.sound_out, given.language, given.say, given.may_go_on)
    try:
        print(listen(asked), flush=True)
    except Trouble as trouble:
        print(trouble.sentence, file=sys.stderr)
        return 2
    except EOFError:
        print("The sound ended. Check the microphone.", file=sys.stderr)
        return 2
    return 0


def _end_with_input() -> None:
    """Not by way of `sys.stdin`: a thread that waits with its lock would hold up an ordinary end."""
    while os.read(0, 1024):
        pass
    os._exit(2)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
