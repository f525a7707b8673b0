"""`tests.bench.meant --voice`: the sentences spoken by synthetic voices and heard by the real recogniser."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.dialogue.hearing import utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import ListenFor, Say
from handsfree.sound.samples import Samples
from tests.bench.corpus import noise, speech_level

if TYPE_CHECKING:
    from tests.bench.meant import Said

VOICES = ("rms", "slt", "awb")
LEVEL = 10.0  # dB of speech over noise


def sound(words: str, voice: str, seed: int) -> Samples:
    """In pink noise, LEVEL dB below it by the active speech level (ITU-T P.56)."""
    speech = made.padded(made.synthesise(words, voice), 0.5, 0.9)
    scale = 10 ** ((speech_level(speech).active - LEVEL) / 20)
    return np.asarray(speech + noise("pink", len(speech) / made.RATE, seed)[: len(speech)] * scale, dtype=np.float32)


def by_voice(every: list[Said], questions: dict[str, Any], count: int) -> tuple[list[Said], list[bool]]:
    """`count` of each side at random, and of each whether it got an answer."""
    from handsfree.settings import load
    from handsfree.speech.recogniser import build_recogniser
    from tests.bench.meant import scene

    recogniser, chance = build_recogniser(None, "en", load().models), random.Random(7)
    sides = [[said for said in every if said.natural], [said for said in every if not said.natural and not said.soon]]
    chosen = [said for side in sides for said in chance.sample(side, min(count, len(side)))]
    got = []
    for at, said in enumerate(chosen):
        here = scene(said.question, questions[said.question])
        listening = listening_of(here.state.listening or ListenFor())
        started = here.now + said.late
        heard = replace(
            recogniser.hear(sound(said.words, VOICES[at % 3], at), listening), started=started, ended=started + 1.5
        )
        effects = here.tell(utterance_of(heard), said.late + 1.5)
        got.append(any(isinstance(effect, Say) for effect in effects))
        side = "natural" if said.natural else "bystander"
        print(f"  {side}, {said.question}, {said.late:.0f} s: {said.words!r} heard as {heard.words!r}: {heard.verdict}, "
              f"{heard.reason or heard.meaning}, {'answered' if got[-1] else 'silent'}")  # fmt: skip
    return chosen, got
