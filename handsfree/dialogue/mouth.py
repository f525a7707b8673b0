"""Speaks a prompt: the language makes it speakable, the synthesiser turns it into sound, the sink plays it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.journal.events import Happening, Say, Tone
from handsfree.language.base import Language

if TYPE_CHECKING:
    from handsfree.sound.prompts import Sink
    from handsfree.sound.samples import Samples
    from handsfree.sound.synth import Synthesiser


LAST_WORDS = 60.0  # s that the end of a visit waits for


class SpokenMouth:
    """`ended` collects what a sink reports at once (a file does); a loudspeaker reports to the ear instead. `folder`: where
    the writer's own recordings of steps are, played instead of the synthetic voice. `told` receives every prompt before it
    is played."""

    def __init__(
        self, synthesiser: Synthesiser, sink: Sink, language: Language, ended: list[Happening], folder: Path | None = None,
        told: Callable[[Say], None] | None = None,
    ) -> None:
        self._told = told
        self._synthesiser, self._sink, self._language = synthesiser, sink, language
        self._ended, self._folder = ended, folder

    def say(self, say: Say, rate: int, volume: int) -> Sequence[Happening]:
        from handsfree.sound.prompts import Prompt

        if self._told is not None:
            self._told(say)
        samples = self._recording(say.sound) if say.sound else None
        if samples is None:
            samples = self._spoken(say, rate)
        self._sink.play(Prompt(say.number, say.text, samples, say.cuttable, volume))
        ended = tuple(self._ended)
        self._ended.clear()
        return ended

    def _spoken(self, say: Say, rate: int) -> Samples:
        """What was accepted and the next question are separate: the question was often synthesised ahead."""
        import numpy as np

        parts = (say.text[: say.front], say.text[say.front :].strip())
        spoken = [self._synthesiser.speak(self._language.speakable(part), rate) for part in parts if part]
        return np.concatenate(spoken) if len(spoken) > 1 else spoken[0]

    def _recording(self, name: str) -> Samples | None:
        """None if the recording is missing: then the synthetic voice says it."""
        from handsfree.errors import Trouble
        from handsfree.sound.files import read_sound

        if self._folder is None or Path(name).name != name:
            return None
        try:
            return read_sound(self._folder / name)
        except Trouble:
            return None

    def tone(self, tone: Tone) -> None:
        self._sink.tone(tone.name)

    def close(self) -> None:
        """Once everything is said: the last words of a visit are that a lock may still be on."""
        self._sink.drain(LAST_WORDS)
        self._sink.close()
        self._synthesiser.close()
