"""The program's own voice, in simulated rooms (those of tests/bench/echo.py, where the figures are made)."""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
import pytest

from audio_fixtures import voices
from handsfree.language.meaning import Heard, Meaning, Sense, Verdict
from handsfree.sound.canceller import Canceller, Follower
from handsfree.sound.echo import DIES_AWAY, EchoGuard, Judgement, says
from handsfree.sound.levels import decibels, power
from handsfree.sound.prompts import Played, Tap
from handsfree.sound.samples import RATE, Piece, Samples, silence
from handsfree.sound.sources import BLOCK, Block
from handsfree.sound.synth import Synthesiser
from handsfree.speech.endpoint import Endpointer
from tests.bench.echo import PROMPTS, fan, moment, room, scaled


@cache
def prompt(number: int = 3) -> Samples:
    with Synthesiser() as voice:
        return voice.speak(PROMPTS[number])


def other_voice() -> Samples:
    """Somebody else: the same synthesiser's other voice, saying something else."""
    with Synthesiser(voice="en-gb-scotland", rate=130) as voice:
        return voice.speak("forty one point five degrees")


@pytest.mark.parametrize("seed", range(8))
def test_its_own_voice_is_known_in_any_room(seed: int) -> None:
    rng = np.random.default_rng(seed)
    echo = scaled(room(rng, prompt()), -20)
    noise = scaled(fan(rng, len(echo)), -40)
    error = rng.uniform(-0.1, 0.1)
    played = [Played(1, PROMPTS[3], prompt(), error, error + len(prompt()) / RATE)]
    for first, seconds in ((0.3, 0.8), (1.0, 2.0), (2.0, 1.2)):
        piece = slice(round(first * RATE), round((first + seconds) * RATE))
        got = EchoGuard().judge((echo + noise)[piece], first, first + seconds, played, noise=power(noise))
        assert got.own, got
        assert got.overlap == 1.0


@pytest.mark.parametrize("seed", range(4))
def test_somebody_as_loud_as_the_echo_is_not_the_program(seed: int) -> None:
    rng = np.random.default_rng(seed)
    echo = scaled(room(rng, prompt()), -20)
    speech = scaled(other_voice(), -20)
    whole = echo.copy()
    whole[RATE : RATE + len(speech)] += speech[: len(whole) - RATE]
    played = [Played(1, PROMPTS[3], prompt(), 0.0, len(prompt()) / RATE)]
    end = 1.0 + len(speech) / RATE
    got = EchoGuard().judge(whole[RATE : round(end * RATE)], 1.0, end, played)
    assert not got.own
    assert got.overlap > 0.5


def answered(seed: int, gap: float, louder: float = 10.0) -> tuple[Judgement, float]:
    """A piece in which the end of a prompt is heard, and `gap` seconds after it (before it, if negative) somebody else who
    is `louder` dB than its echo. What is judged of it, and when the prompt ended, seconds from the piece's beginning."""
    rng = np.random.default_rng(seed)
    length, speech = len(prompt()), scaled(other_voice(), -20 + louder)
    whole = scaled(room(rng, np.concatenate([prompt(), silence(4.0)])), -20)
    whole += scaled(fan(rng, len(whole)), -45)
    at = length + round(gap * RATE)
    whole[at : at + len(speech)] += speech
    first, last = length - RATE, at + len(speech)
    played = [Played(1, PROMPTS[3], prompt(), 0.0, length / RATE)]
    return EchoGuard().judge(whole[first:last], first / RATE, last / RATE, played), 1.0


@pytest.mark.parametrize("seed", range(4))
def test_who_answers_at_once_is_not_said_to_have_begun_with_the_echo(seed: int) -> None:
    """End of prompt and answer are cut as one utterance where less than a pause lies between them."""
    for gap in (0.2, 0.6):
        got, ended = answered(seed, gap)
        assert (got.own, got.began) == (False, pytest.approx(ended))
        assert got.overlap > 0, "a gate is still to be said when nothing plays"


@pytest.mark.parametrize("seed", range(4))
def test_who_speaks_over_the_end_of_a_prompt_began_with_the_piece(seed: int) -> None:
    for louder in (0.0, 10.0):
        got, _ = answered(seed, -0.5, louder)
        assert (got.own, got.began) == (False, 0.0)


def test_an_answer_does_not_bend_what_is_taken_out_of_the_prompt_before_it() -> None:
    """A prompt that came without a room is taken out whole, whatever follows it: an answer as loud as the echo, fitted with
    the prompt's last second by an inexact fit, left that 15 dB under it."""
    length, speech = len(prompt()), scaled(other_voice(), -20)
    whole = np.concatenate([scaled(prompt(), -20), silence(4.0)])
    whole += scaled(fan(np.random.default_rng(1), len(whole)), -70)
    at = length + round(0.2 * RATE)
    whole[at : at + len(speech)] += speech
    for seconds in (1, 2, 3):
        first, last = length - seconds * RATE, at + len(speech)
        played = [Played(1, PROMPTS[3], prompt(), 0.0, length / RATE)]
        got = EchoGuard().judge(whole[first:last], first / RATE, last / RATE, played)
        before, after = np.split(got.cleaned, [seconds * RATE])
        assert got.began == pytest.approx(seconds)
        assert decibels(moment(after)) - decibels(moment(before)) > 25
        assert got.wordless


@pytest.mark.parametrize("seconds", [0.6, 1.0, 2.2])
def test_the_first_word_of_an_answer_right_after_a_prompt_is_left_whole(seconds: float) -> None:
    """Fitted to the answer alone, the last sounds of a prompt took away the 'not' of 'not running': 1 dB of it was left."""
    sounding = np.flatnonzero(np.abs(prompt()) > 0.02 * np.abs(prompt()).max())
    out = prompt()[: sounding[-1]]
    with Synthesiser(voice="en-gb-scotland", rate=130) as voice:
        answers = [scaled(voice.speak(text), -20) for text in ("not running", "not running, it stands still")]
    for seed, answer, gap in itertools.product(range(3), answers, (0.02, 0.2)):
        rng = np.random.default_rng(seed)
        echo = scaled(room(rng, np.concatenate([out, silence(4.0)])), -20)
        at, first = len(out) + round(gap * RATE), len(out) - round(seconds * RATE)
        alone = np.zeros_like(echo)
        alone[at : at + len(answer)] = answer
        whole = (echo + scaled(fan(rng, len(echo)), -60) + alone)[first : at + len(answer)]
        played = [Played(1, PROMPTS[3], out, 0.0, len(out) / RATE)]
        got = EchoGuard().judge(whole, first / RATE, first / RATE + len(whole) / RATE, played)
        word = slice(at - first, at - first + round(0.3 * RATE))
        assert got.began == pytest.approx(seconds, abs=0.001)
        assert decibels(power(alone[first:][word])) - decibels(power(got.cleaned[word] - alone[first:][word])) > 15


@pytest.mark.parametrize("seed", range(4))
def test_a_word_over_the_end_of_a_prompt_is_left_in_the_sound(seed: int) -> None:
    """'Not' or 'no' over its last word, ever fainter, and right after it the answer, as loud as the echo and louder."""
    rng = np.random.default_rng(seed)
    echo = scaled(room(rng, np.concatenate([prompt(), silence(4.0)])), -20)
    echo += scaled(fan(rng, len(echo)), (-80, -40, -30)[seed % 3])
    length, answer = len(prompt()), scaled(other_voice(), -17)
    with Synthesiser(voice="en-gb-scotland", rate=130) as voice:
        words = [voice.speak(text) for text in ("not", "no")]
    for word, fainter in itertools.product(words, (0, 7, 14)):
        whole = echo.copy()
        whole[length - len(word) : length] += scaled(word, -17 - fainter)
        at = length + round(0.1 * RATE)
        whole[at : at + len(answer)] += answer
        first, last = length - round(1.5 * RATE), at + len(answer)
        played = [Played(1, PROMPTS[3], prompt(), 0.0, length / RATE)]
        assert not EchoGuard().judge(whole[first:last], first / RATE, last / RATE, played).wordless


@pytest.mark.parametrize("seed", range(3))
def test_a_faint_word_is_left_where_the_echo_passes_for_noise(seed: int) -> None:
    """The quieter blocks of the last seconds are taken for the noise; after a long prompt these are its own echo."""
    echo = scaled(np.concatenate([prompt(), silence(4.0)]), -20)
    echo += scaled(fan(np.random.default_rng(seed), len(echo)), -80)
    length, answer = len(prompt()), scaled(other_voice(), -17)
    with Synthesiser(voice="en-gb-scotland", rate=130) as voice:
        words = [voice.speak(text) for text in ("not", "no")]
    for word in words:
        whole = echo.copy()
        whole[length - len(word) : length] += scaled(word, -31)
        at = length + round(0.1 * RATE)
        whole[at : at + len(answer)] += answer
        first, last = length - round(1.5 * RATE), at + len(answer)
        played = [Played(1, PROMPTS[3], prompt(), 0.0, length / RATE)]
        noise = float(np.percentile([power(whole[n : n + 160]) for n in range(0, last, 160)], 20))
        assert not EchoGuard().judge(whole[first:last], first / RATE, last / RATE, played, noise=noise).wordless


def test_nothing_playing_is_nothing_to_judge() -> None:
    played = [Played(1, "x", prompt(), 0.0, 5.0)]
    speech = other_voice()
    got = EchoGuard().judge(speech, 5.0 + DIES_AWAY + 0.01, 8.0, played)
    assert (got.own, got.overlap, got.foreign, got.began) == (False, 0.0, 1.0, 0.0)
    just = EchoGuard().judge(speech, 5.0 + DIES_AWAY - 0.01, 8.0, played)
    assert just.overlap > 0


def accepted(sense: Sense, text: str, words: str = "") -> Heard:
    return Heard(Verdict.ACCEPTED, Meaning(sense, text, spoken=text), 0.99, words or text)


def test_a_gate_is_never_taken_while_something_plays() -> None:
    heard = accepted(Sense.GATE, "isolated lock four two")
    over = Judgement(False, "", silence(1), overlap=0.01, foreign=1.0, texts=("Look at the fan.",))
    got = EchoGuard().allow(heard, over)
    assert got.verdict == Verdict.ASKED_AGAIN
    assert got.reason
    assert EchoGuard(headset=True).allow(heard, over).verdict == Verdict.ASKED_AGAIN
    assert EchoGuard().allow(heard, Judgement(False, "", silence(1))).verdict == Verdict.ACCEPTED


def test_its_own_words_are_not_taken_while_it_says_them() -> None:
    heard = accepted(Sense.COMMAND, "go back")
    unsure = Judgement(False, "", silence(1), overlap=1.0, foreign=0.45, texts=("You can say next step, or go back.",))
    sure = Judgement(False, "", silence(1), overlap=1.0, foreign=0.95, texts=unsure.texts)
    elsewhere = Judgement(False, "", silence(1), overlap=1.0, foreign=0.45, texts=("Look at the fan.",))
    assert EchoGuard().allow(heard, unsure).verdict == Verdict.NOT_FOR_ME
    assert EchoGuard().allow(heard, sure).verdict == Verdict.NOT_FOR_ME
    assert EchoGuard(headset=True).allow(heard, unsure).verdict == Verdict.NOT_FOR_ME
    assert EchoGuard(headset=True).allow(heard, sure).verdict == Verdict.ACCEPTED
    assert EchoGuard().allow(heard, elsewhere).verdict == Verdict.ACCEPTED


def test_its_own_words_are_taken_of_somebody_who_answers_as_it_dies_away() -> None:
    heard = accepted(Sense.COMMAND, "affirm")
    texts = ("Affirm or negative?",)
    after = Judgement(False, "", silence(1), overlap=0.10, foreign=0.997, texts=texts)
    assert EchoGuard().allow(heard, after).verdict == Verdict.ACCEPTED
    longer = Judgement(False, "", silence(1), overlap=0.4, foreign=0.997, texts=texts)
    fainter = Judgement(False, "", silence(1), overlap=0.10, foreign=0.45, texts=texts)
    assert {EchoGuard().allow(heard, one).verdict for one in (longer, fainter)} == {Verdict.NOT_FOR_ME}
    gate = accepted(Sense.GATE, "isolated lock four two")
    assert EchoGuard().allow(gate, after).verdict == Verdict.ASKED_AGAIN


@pytest.mark.parametrize(
    ("text", "spoken", "said"),
    [
        ("Say running, not running, or cannot see it.", "not running", True),
        ("Say running, not running, or cannot see it.", "running not seen", False),
        ("Forty three point five degrees.", "forty three point five", True),
        ("Forty three point five degrees.", "forty four point five", False),
        ("Look at the fan.", "next step", False),
        ("The next steps are easy.", "next step", False),
    ],
)
def test_words_in_a_row(text: str, spoken: str, said: bool) -> None:
    assert says(text, accepted(Sense.PHRASE, spoken)) is said


@pytest.mark.parametrize("seed", range(3))
def test_the_canceller_learns_the_room_and_spares_the_person(seed: int) -> None:
    rng = np.random.default_rng(seed)
    out = np.tile(np.concatenate([prompt(), silence(0.5)]), 3)
    echo = scaled(room(rng, out), -20)
    speech = scaled(other_voice(), -20)
    third = 2 * len(out) // 3
    at = third + RATE
    heard = echo.copy()
    heard[at : at + len(speech)] += speech
    canceller = Canceller()
    cleaned = np.concatenate(
        [canceller.clean(heard[i : i + BLOCK], out[i : i + BLOCK]) for i in range(0, len(out) - BLOCK, BLOCK)]
    )
    before, after = heard[third : at - BLOCK], cleaned[third : at - BLOCK]
    assert decibels(power(before)) - decibels(power(after)) > 12
    left = cleaned[at : at + len(speech)]
    alike = float(np.dot(left, speech) / (np.linalg.norm(left) * np.linalg.norm(speech)))
    assert alike > 0.6  # enough to find where the words are; the recogniser gets the guard's own cleaning


def test_the_canceller_leaves_alone_what_it_has_no_part_in() -> None:
    canceller = Canceller()
    speech = other_voice()[:BLOCK]
    assert canceller.clean(speech, silence(BLOCK / RATE)) is speech


EARLIER = 8  # blocks by which a device is given its sound before it plays it


def followed(heard: Samples, late: dict[int, float]) -> tuple[Follower, Samples]:
    """What a Follower leaves of `heard` while `spoken` is played. `late`: by how many seconds the clock of a microphone's
    block is wrong."""
    tap = Tap()
    tap.reset(RATE)
    follower, left = Follower(tap), []
    for number in range(-EARLIER, len(heard) // BLOCK):
        tap.raw.append((spoken()[(number + EARLIER) * BLOCK :][:BLOCK], (number + EARLIER) * BLOCK / RATE))
        if number < 0:
            continue
        block = Block(heard[number * BLOCK :][:BLOCK], number * BLOCK / RATE + late.get(number, 0.0))
        left.append(follower.clean(block))
    return follower, np.concatenate(left)


@cache
def spoken() -> Samples:
    """About twenty seconds of prompts."""
    pieces = [prompt(number) for number in range(len(PROMPTS))]
    whole = np.concatenate([np.concatenate([p, silence(0.2)]) for p in pieces * 4])[: 20 * RATE]
    return np.asarray(whole[: len(whole) // BLOCK * BLOCK], dtype=np.float32)


def left_of(heard: Samples, left: Samples, since: float, until: float) -> float:
    piece = slice(round(since * RATE), round(until * RATE))
    return decibels(power(left[piece])) - decibels(power(heard[piece]))


def test_a_late_callback_is_no_reason_to_forget_the_room() -> None:
    heard = scaled(room(np.random.default_rng(3), spoken()), -20)
    late = dict.fromkeys(range(200, 205), 0.3)
    follower, left = followed(heard, late)
    assert follower.aligned == 1
    assert left_of(heard, left, 6.0, 15.0) < -20


@pytest.mark.parametrize("hole", [0.2, -0.15], ids=["silence put in", "sound thrown away"])
def test_a_stream_that_ran_dry_is_found_again(hole: float) -> None:
    """The device plays silence that nobody gave it, or throws sound away: from there on the reference is off by as much."""
    whole = scaled(room(np.random.default_rng(3), spoken()), -20)
    cut = 8 * RATE
    missing = round(-hole * RATE)
    heard = np.concatenate([whole[:cut], silence(hole), whole[cut:]] if hole > 0 else [whole[:cut], whole[cut + missing :]])
    follower, left = followed(heard.astype(np.float32), {})
    assert left_of(heard, left, 5.0, 7.5) < -20
    assert follower.aligned == 2
    assert follower.met
    assert left_of(heard, left, 11.0, 15.0) < -20


def test_somebody_who_speaks_over_it_does_not_move_the_reference() -> None:
    heard = scaled(room(np.random.default_rng(3), spoken()), -20)
    for second in (6, 9, 12):
        speech = scaled(other_voice(), -14)
        heard[second * RATE : second * RATE + len(speech)] += speech
    follower, left = followed(heard, {})
    assert follower.aligned == 1
    assert left_of(heard, left, 6.2, 7.2) > -6  # it is still heard


def after_a_prompt(echo: float) -> tuple[list[Piece], float]:
    """What is cut in steady noise around a prompt, where nobody speaks, and the level of the last second of the prompt
    against the noise, dB. `echo`: of the prompt, dB over the noise."""
    words, rng = prompt(), np.random.default_rng(1)
    first = 96 * BLOCK
    length = (first + len(words) + 5 * RATE) // BLOCK * BLOCK
    noise = scaled(voices.compressor_noise(length / RATE + 0.1, seed=5)[:length], -36)
    played = np.zeros_like(noise)
    played[first : first + len(words)] = words
    heard = noise + scaled(room(rng, played), -36 + echo)[: len(noise)]
    canceller, endpointer = Canceller(), Endpointer()
    blocks = [slice(at, at + BLOCK) for at in range(0, len(heard), BLOCK)]
    cleaned = np.concatenate([canceller.clean(heard[at], played[at]) for at in blocks])
    found = [piece for at in blocks for piece in endpointer.feed(cleaned[at])]
    last = cleaned[first + len(words) - RATE : first + len(words)]
    return [*found, *endpointer.flush()], decibels(power(last)) - decibels(power(noise))


@pytest.mark.parametrize("echo", [-6.0, 6.0, 20.0])
def test_noise_is_not_taken_for_speech_once_a_prompt_has_ended(echo: float) -> None:
    """Found in a visit by voice: with what was taken out the noise was gone too, and for four seconds after each prompt the
    noise that came back was an utterance, with the answer somewhere in it."""
    found, left = after_a_prompt(echo)
    assert found == []
    assert left == pytest.approx(0.0, abs=3.0)
