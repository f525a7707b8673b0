"""`tests.bench.meant --voice`: the sentences spoken by synthetic voices and heard by the real recogniser. Voices are
compared, with a person of whom BEFORE answers were taken, where the witness of voices is installed."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.dialogue.hearing import level_of, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import ListenFor, Say
from handsfree.language.meaning import Heard, Listening, Verdict
from handsfree.sound.samples import Samples
from handsfree.speech.speaker import Voices, installed_encoder
from tests.bench.corpus import noise, speech_level

if TYPE_CHECKING:
    from tests.bench.meant import Said

VOICES = ("rms", "slt", "awb")
BEFORE = 6
ROOM = 0.45  # s of reverberation, of whoever stands away


def sound(words: str, voice: str, seed: int, usual: float, louder: float, over: float, *, away: bool) -> Samples:
    """`usual` dB full scale and `louder` by the active speech level (ITU-T P.56), in pink noise `over` dB below the usual;
    from across a room where `away`."""
    dry = made.synthesise(words, voice)
    speech = made.padded(made.room(dry, ROOM, seed) if away else dry, 0.5, 0.9)
    speech = speech * 10 ** ((usual + louder - speech_level(speech).active) / 20)
    hiss = noise("pink", len(speech) / made.RATE + 0.1, seed)[: len(speech)]
    return np.asarray(speech + hiss * 10 ** ((usual - over) / 20), dtype=np.float32)


def known(voice: str, said: list[str], usual: float, over: float) -> Voices:
    """The witness, after this voice's answers were taken."""
    voices = Voices(installed_encoder()[0])
    for at, words in enumerate(said):
        taken = Heard(Verdict.ACCEPTED, None, 1.0, engine="bench")
        voices.of(taken, sound(words, voice, 1000 + at, usual, 0.0, over, away=False), Listening())
    return voices


def by_voice(
    every: list[Said], questions: dict[str, Any], count: int, over: float, show: bool
) -> tuple[list[Said], list[bool]]:
    """`count` of each side at random, and of each whether it got an answer. `over`: dB of the person over the noise."""
    from handsfree.settings import load_settings
    from handsfree.speech.recogniser import build_recogniser
    from tests.bench.meant import USUAL, scene

    recogniser, chance = build_recogniser(None, "en", load_settings().models), random.Random(7)
    sides = [[said for said in every if said.natural], [said for said in every if not said.natural and not said.soon]]
    chosen = [said for side in sides for said in chance.sample(side, min(count, len(side)))]
    person = {name: known(name, [said.words for said in chance.sample(sides[0], BEFORE)], USUAL, over) for name in VOICES}
    got = []
    for at, said in enumerate(chosen):
        here = scene(said.question, questions[said.question])
        listening = listening_of(here.state.listening or ListenFor())
        started = here.now + said.late
        samples = sound(said.words, VOICES[at % 3], at, USUAL, said.louder, over, away=not said.natural)
        heard = replace(recogniser.hear(samples, listening), started=started, ended=started + 1.5)
        heard = replace(heard, voice=person[VOICES[(at + (not said.natural)) % 3]].of(heard, samples, listening))
        effects = here.tell(replace(utterance_of(heard), level=level_of(samples)), said.late + 1.5)
        got.append(any(isinstance(effect, Say) for effect in effects))
        side = "natural" if said.natural else "bystander"
        if show:
            print(f"  {side}, {said.question}, {said.late:.0f} s: {said.words!r} heard as {heard.words!r}: {heard.verdict}, "
                  f"{heard.reason or heard.meaning}, voice {heard.voice or 'not judged'}, "
                  f"{'answered' if got[-1] else 'silent'}")  # fmt: skip
    return chosen, got
