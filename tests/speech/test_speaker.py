"""Whose voice: what is compared with what, what it comes to, and that it is never more than a doubt."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from handsfree.dialogue.hearing import Hearer
from handsfree.journal.events import Utterance
from handsfree.language.meaning import GateAsked, Heard, Listening, Meaning, Sense, Verdict
from handsfree.speech import bars, speaker
from handsfree.speech.speaker import DOUBTFUL, OTHER, SAME, Voiceprint, Voices, verdict
from handsfree.speech.speaker_sound import above_noise, spoken_part, windows

RATE = 16_000
LOCK = ("four", "two")
STATED = Heard(Verdict.ACCEPTED, Meaning(Sense.DIGITS, "four two"), 0.9)
GATE = Heard(Verdict.ACCEPTED, Meaning(Sense.GATE, "isolated, lock four two"), 0.99)
AT_GATE = Listening(gate=GateAsked("isolated", LOCK))
STATING = Listening(digits=(2, 8))


def turned(degrees: float) -> speaker.Direction:
    angle = np.radians(degrees)
    return np.array([np.cos(angle), np.sin(angle)], np.float32)


def sound(value: float, seconds: float = 2.0) -> np.ndarray:
    return np.full(round(seconds * RATE), value + 360, np.float32)  # the same direction, and never silence


@dataclass
class Turns:
    """An encoder by which a sound's value is its direction in degrees; not a number where nothing can be told."""

    heard: list[float] = field(default_factory=list)

    def direction(self, samples: np.ndarray) -> speaker.Direction | None:
        self.heard.append(float(samples[0]))
        return None if np.isnan(samples[0]) else turned(float(samples[0]))


def test_the_voice_that_stated_the_number_is_the_one_compared_with() -> None:
    voices = Voices(Turns())
    assert voices.of(GATE, sound(0), AT_GATE) == ""  # nobody stated a number
    assert voices.of(STATED, sound(0), STATING) == ""
    assert voices.of(GATE, sound(10), AT_GATE) == SAME
    assert voices.of(GATE, sound(170), AT_GATE) == OTHER
    assert voices.of(GATE, sound(170, 0.9), AT_GATE) == ""  # too little speech to tell
    assert voices.of(GATE, sound(np.nan), AT_GATE) == ""
    assert voices.of(GATE, sound(10), Listening(gate=GateAsked("isolated", ("nine",)))) == ""


def test_two_people_each_have_their_number_and_a_proof_takes_either() -> None:
    voices = Voices(Turns())
    voices.of(STATED, sound(0), STATING)
    voices.of(Heard(Verdict.ACCEPTED, Meaning(Sense.DIGITS, "nine one"), 0.9), sound(90), STATING)
    assert voices.of(GATE, sound(90), AT_GATE) == OTHER
    assert voices.of(GATE, sound(90), Listening(gate=GateAsked("isolated", ("nine", "one")))) == SAME
    nothing_runs = Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, "nothing runs"), 0.99)
    proof = Listening(phrases=("nothing runs", "it runs"), proof=True)
    assert [voices.of(nothing_runs, sound(at), proof) for at in (0, 90, 200)] == [SAME, SAME, OTHER]


def test_clips_that_are_surely_of_the_voice_add_up_and_no_others() -> None:
    voices = Voices(Turns())
    voices.of(STATED, sound(0), STATING)
    warm, choice = Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, "warm"), 0.99), Listening(phrases=("warm", "hot"))
    assert voices.of(warm, sound(20), choice) == ""  # learnt from, said nowhere
    assert voices.known[LOCK].clips == 2
    voices.of(warm, sound(170), choice)
    voices.of(Heard(Verdict.ASKED_AGAIN, None, 0.2), sound(0), choice)
    voices.of(Heard(Verdict.NOT_FOR_ME, None, 0.0), sound(0), AT_GATE)
    assert voices.known[LOCK].clips == 2


def test_who_states_the_number_last_owns_it() -> None:
    voices = Voices(Turns())
    voices.of(STATED, sound(0), STATING)
    voices.of(STATED, sound(120), STATING)
    assert voices.known[LOCK].clips == 1
    assert voices.of(GATE, sound(120), AT_GATE) == SAME


def test_the_better_a_voice_is_known_the_more_alike_it_must_be() -> None:
    at = bars.VOICE_SAME.value
    assert verdict(at, 4) == verdict(at, 40) == SAME
    assert verdict(at - 0.01, 4) == DOUBTFUL
    assert verdict(at - 0.01, 2) == SAME
    assert verdict(at - bars.VOICE_GAP.value - 0.01, 4) == OTHER
    for clips in (1, 2, 4, 8):
        order = [OTHER, DOUBTFUL, SAME]
        found = [order.index(verdict(likeness, clips)) for likeness in np.linspace(-1, 1, 41)]
        assert found == sorted(found)


def test_a_witness_that_fails_or_is_not_there_says_nothing() -> None:
    class Fails:
        def direction(self, samples: np.ndarray) -> speaker.Direction | None:
            raise RuntimeError("no memory")

    voices = Voices(Fails())
    voices.known[LOCK] = Voiceprint(turned(0))
    assert voices.of(GATE, sound(0), AT_GATE) == ""
    assert voices.encoder is None
    assert Voices(None).of(GATE, sound(0), AT_GATE) == ""


def test_missing_and_damaged_weights_are_told_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(speaker, "_MODULE", "no_such_module_at_all")
    assert speaker.installed_encoder() == (None, speaker.MISSING)
    monkeypatch.setattr(speaker, "_MODULE", "handsfree")
    assert speaker.installed_encoder() == (None, speaker.DAMAGED)
    monkeypatch.setattr(speaker, "_WEIGHTS", "errors.py")
    assert speaker.installed_encoder() == (None, speaker.DAMAGED)


def test_the_spoken_part_and_its_windows() -> None:
    rng = np.random.default_rng(1)
    quiet, loud = rng.normal(0, 1e-4, RATE), rng.normal(0, 0.1, RATE)
    samples = np.concatenate([quiet, loud, quiet]).astype(np.float32)
    assert len(spoken_part(samples)) == pytest.approx(RATE, abs=0.1 * RATE)
    assert above_noise(samples) == pytest.approx(60, abs=3)
    assert windows(loud.astype(np.float32)).shape[1:] == (80, 40)
    assert windows(loud[: RATE // 4].astype(np.float32)).shape == (1, 80, 40)
    assert len(spoken_part(np.zeros(0, np.float32))) == 0


def test_with_the_real_encoder_a_voice_is_its_own_and_not_another() -> None:
    encoder, missing = speaker.installed_encoder()
    if encoder is None:
        pytest.skip(missing)
    from audio_fixtures import voices as made

    assert hashlib.sha256(encoder._weights).hexdigest() == speaker.SHA256
    voices = Voices(encoder)
    say = {name: made.padded(made.synthesise("isolated, lock four two", name)) for name in ("slt", "rms")}
    voices.of(STATED, made.padded(made.synthesise("my lock number is four two", "slt")), STATING)
    assert voices.of(GATE, say["slt"], AT_GATE) == SAME
    assert voices.of(GATE, say["rms"], AT_GATE) in (DOUBTFUL, OTHER)
    assert voices.of(GATE, np.zeros(RATE, np.float32), AT_GATE) == ""


def test_with_the_real_encoder_voices_are_told_apart_at_10_dB_and_not_judged_in_louder_noise() -> None:
    encoder, missing = speaker.installed_encoder()
    if encoder is None:
        pytest.skip(missing)
    from audio_fixtures import voices as made
    from handsfree.sound.levels import speech_level

    def noisy(text: str, name: str, snr: float) -> np.ndarray:
        edge = np.zeros(RATE // 3, np.float32)
        said = np.concatenate([edge, made.synthesise(text, name), edge])
        noise = made._unit(made.compressor_noise(len(said) / RATE + 1, 5))[: len(said)]
        return np.asarray(said + noise * 10 ** ((speech_level(said).active - snr) / 20), np.float32)

    voices = Voices(encoder)
    voices.of(STATED, noisy("my lock number is four two", "slt", 10), STATING)
    assert voices.of(GATE, noisy("isolated, lock four two", "slt", 10), AT_GATE) == SAME
    assert voices.of(GATE, noisy("isolated, lock four two", "rms", 10), AT_GATE) in (DOUBTFUL, OTHER)
    assert voices.of(GATE, noisy("isolated, lock four two", "rms", 3), AT_GATE) == ""


class Given:
    """In place of the encoder's network: of windows the mean of each band, so that what it was given shows."""

    def __init__(self) -> None:
        self.lengths: list[int] = []

    def run(self, _: None, given: dict[str, np.ndarray]) -> list[np.ndarray]:
        found = given["mel_window"]
        self.lengths.append(len(found))
        return [np.pad(found.mean(axis=1), ((0, 0), (0, 216)))]


@pytest.mark.parametrize(("noise", "times"), [(0.01, 1), (0.12, 2), (0.4, 0)])
def test_in_noise_a_voice_is_heard_in_a_filtered_copy_too_and_in_louder_noise_not_at_all(noise: float, times: int) -> None:
    encoder, network = speaker.Encoder(b""), Given()
    encoder._session = network
    rng = np.random.default_rng(2)
    edge = np.zeros(RATE // 2)
    said = np.concatenate([edge, np.sin(2 * np.pi * 220 * np.arange(2 * RATE) / RATE), edge])
    found = encoder.direction((said + noise * rng.standard_normal(len(said))).astype(np.float32))
    assert len(network.lengths) == times
    assert (found is None) is (times == 0)


def test_what_is_thought_of_a_voice_is_in_the_record_of_the_utterance() -> None:
    class Hears:
        def __init__(self, *heard: Heard) -> None:
            self.left = list(heard)

        def hear(self, samples: np.ndarray, listening: Listening) -> Heard:
            return self.left.pop(0)

        def together(self, heard: Heard, listening: Listening) -> Heard:
            return heard

        def dictate(self, samples: np.ndarray) -> str:
            return ""

    class Keeps:
        def keep_sound(self, data: bytes) -> tuple[str, str]:
            return "a.flac", "0" * 64

    hearer = Hearer(Hears(STATED, GATE, GATE), Keeps(), voices=Voices(Turns()))  # type: ignore[arg-type]  # stand-ins
    said = [(sound(0), STATING), (sound(5), AT_GATE), (sound(180), AT_GATE)]
    told = [hearer.hear_utterance(samples, listening, 0.0, 2.0) for samples, listening in said]
    assert [event.voice for event in told if isinstance(event, Utterance)] == ["", SAME, OTHER]


WARM, CHOICE = Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, "warm"), 0.99), Listening(phrases=("warm", "hot"))


def test_a_voice_is_known_by_what_it_said_before_it_stated_the_number_and_by_nobody_elses_words() -> None:
    voices = Voices(Turns())
    for at in (10, 160, 20, 170, -15):
        assert voices.of(WARM, sound(at), CHOICE) == ""
    voices.of(Heard(Verdict.ASKED_AGAIN, None, 0.2), sound(5), CHOICE)
    voices.of(STATED, sound(0), STATING)
    assert voices.known[LOCK].clips == 4
    assert voices.of(GATE, sound(5), AT_GATE) == SAME
    assert voices.of(GATE, sound(165), AT_GATE) == OTHER


def test_what_was_not_taken_is_compared_with_the_voices_whose_answers_were() -> None:
    """Only to tell who is meant: nothing is learnt from it, and none is told of who is not well known yet."""
    voices, unsure = Voices(Turns()), Heard(Verdict.NOT_FOR_ME, None, 0.0, engine="test")
    for at in (10, 20, -15):
        voices.of(WARM, sound(at), CHOICE)
        assert voices.of(unsure, sound(0), CHOICE) == "", "three clips are too few"
    voices.of(WARM, sound(0), CHOICE)
    before = list(voices.before)
    assert voices.of(unsure, sound(15), CHOICE) == SAME
    assert voices.of(replace(unsure, verdict=Verdict.ASKED_AGAIN), sound(65), CHOICE) == DOUBTFUL
    assert voices.of(unsure, sound(150), CHOICE) == OTHER
    assert voices.of(unsure, sound(15, 0.9), CHOICE) == "", "too little speech to tell"
    assert voices.of(replace(unsure, engine=""), sound(15), CHOICE) == "", "no engine heard it"
    assert voices.of(unsure, sound(15), AT_GATE) == "", "a gate has its own rule"
    assert len(voices.before) == len(before)


def test_a_second_person_whose_answer_was_taken_is_no_other_voice() -> None:
    voices, unsure = Voices(Turns()), Heard(Verdict.NOT_FOR_ME, None, 0.0, engine="test")
    for at in (10, 20, -15, 0, 160):
        voices.of(WARM, sound(at), CHOICE)
    assert voices.of(unsure, sound(165), CHOICE) == DOUBTFUL
    for at in (150, 170, 175):
        voices.of(WARM, sound(at), CHOICE)
    assert [voices.of(unsure, sound(at), CHOICE) for at in (165, 5, 270)] == [SAME, SAME, OTHER]


def test_what_was_gathered_does_not_wander_to_another_voice() -> None:
    """A chain of clips, each like the next: the ends of it are two voices."""
    known = speaker.gathered(turned(0), [turned(at) for at in range(30, 181, 30)])
    assert known.likeness(turned(0)) > bars.VOICE_SAME.value
    assert known.likeness(turned(180)) < 0
    assert known.likeness(turned(150)) < bars.VOICE_SAME.value


def test_who_enrolled_is_known_by_that_and_another_who_states_a_number_is_not() -> None:
    asked = list[int]()

    def read_aloud() -> list[np.ndarray]:
        asked.append(1)
        return [sound(at) for at in (0, 10, -10, 5)]

    voices = Voices(Turns(), enrolment=read_aloud)
    voices.of(WARM, sound(3), CHOICE)
    assert not asked
    voices.of(STATED, sound(0), STATING)
    voices.of(Heard(Verdict.ACCEPTED, Meaning(Sense.DIGITS, "nine one"), 0.9), sound(120), STATING)
    assert (voices.known[LOCK].clips, voices.known["nine", "one"].clips) == (6, 1)
    assert asked == [1]


def test_a_visit_says_where_voices_are_not_compared(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from types import SimpleNamespace

    from handsfree.visit.live import hearer_of

    monkeypatch.setattr(speaker, "installed_encoder", lambda: (None, speaker.MISSING))
    hearer_of(SimpleNamespace(journal=None), recogniser=None)  # type: ignore[arg-type]  # stand-ins
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == f"{speaker.MISSING[0].upper()}{speaker.MISSING[1:]}.\n"
