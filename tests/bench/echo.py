"""How well the program knows its own voice: `python -m tests.bench.echo [--cases 120] [--seed 4]`.

Rooms are simulated (exponentially decaying noise as impulse response, a loudspeaker that bends at high level, delays and
clock errors, fan noise), because no real room can be had here; prompts are the real synthesiser's, the other voices are
flite's, and the noise is brown noise with a hum. Printed: how often the program's own speech would be taken for somebody
else's (to be 0), and how often somebody who speaks over a prompt is taken for the program, by how loud the person is
against the echo; how often somebody who is cut together with the end of a prompt is said to have begun after it, by the
seconds between, and how often with no word before (to be none where somebody began before that end); how often a denial
over the prompt's end counts as no word, by how much fainter it is than the answer (to be none); how far under the
answer the loudest moment of that prompt lies in the sound that is recognised; then what the canceller takes out.
"""

from __future__ import annotations

import argparse
import itertools
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from scipy.signal import fftconvolve

from handsfree.sound.canceller import Follower
from handsfree.sound.echo import EchoGuard
from handsfree.sound.files import read_sound
from handsfree.sound.levels import decibels, power
from handsfree.sound.prompts import Played, Tap
from handsfree.sound.samples import RATE, Samples, silence
from handsfree.sound.sources import BLOCK, Block
from handsfree.sound.synth import Synthesiser

PROMPTS = (
    "Is the evaporator fan running? Say running, not running, or you cannot see it.",
    "Read the temperature at the top shelf and say it in degrees Fahrenheit.",
    "You said forty three point five degrees Fahrenheit. Say affirm, or say the reading again.",
    "Before you reach in, switch the cabinet off at the isolator and pull the plug. Then fit your own lock.",
    "You can say next step, go back, say again, stand by, how long, where am I, note, or stop the visit.",
    "Look at the condenser at the back. Is it clean, dusty, or blocked?",
)
SPOKEN = ("next step", "say again", "running", "forty one point five", "stand by", "it is blocked", "affirm", "go back")
DENIALS, FAINTER = ("not", "no", "never"), (0, 6, 10, 14, 18)
GAPS = (0.6, 0.2, -0.15, -0.3, -0.5)
VOICES = ("slt", "rms", "awb", "kal16")


def flite(text: str, voice: str, folder: Path) -> Samples:
    place = folder / f"{voice}-{text.replace(' ', '_')}.wav"
    if not place.exists():
        subprocess.run(["flite", "-voice", voice, "-t", text, "-o", str(place)], check=True, capture_output=True)
    return read_sound(place)


def fan(rng: np.random.Generator, length: int) -> Samples:
    brown = np.cumsum(rng.standard_normal(length))
    brown -= np.convolve(brown, np.ones(400) / 400, mode="same")
    t = np.arange(length) / RATE
    x = brown / (brown.std() + 1e-9) + 0.5 * np.sin(2 * np.pi * 100 * t) + 0.3 * rng.standard_normal(length)
    return (x / np.sqrt(np.mean(x**2))).astype(np.float32)


def room(rng: np.random.Generator, out: Samples) -> Samples:
    """The loudspeaker's sound at the microphone: bent, delayed, reverberant."""
    seconds = rng.uniform(0.1, 0.5)  # reverberation time
    bend = rng.uniform(1.0, 4.0)
    length = round(0.3 * RATE)
    tail = rng.standard_normal(length) * np.exp(-6.9 * np.arange(length) / RATE / seconds)
    tail *= 10 ** (-rng.uniform(0, 15) / 20) / np.linalg.norm(tail)  # direct over reverberant sound: 0 to 15 dB
    tail[0] += 1.0
    bent = np.tanh(bend * out) / bend
    delay = round(rng.uniform(0.0, 0.12) * RATE)
    return np.concatenate([silence(delay / RATE), fftconvolve(bent, tail)])[: len(out)].astype(np.float32)


def scaled(x: Samples, level: float) -> Samples:
    return (x * 10 ** (level / 20) / np.sqrt(power(x) + 1e-15)).astype(np.float32)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cases", type=int, default=120)
    asked.add_argument("--seed", type=int, default=4, help="of rooms, noise and words; FOREIGN was set with 4")
    given = asked.parse_args()
    cases, rng = given.cases, np.random.default_rng(given.seed)
    guard = EchoGuard()
    own: dict[str, list[float]] = {}
    other: dict[tuple[str, int], list[float]] = {}
    removed: dict[str, list[float]] = {}
    after: dict[tuple[int, float], list[bool]] = {}
    left: dict[tuple[int, float], list[float]] = {}
    wordless: dict[tuple[int, float], list[bool]] = {}
    lost: dict[int, list[bool]] = {}
    with Synthesiser() as synthesiser, tempfile.TemporaryDirectory() as folder:
        prompts = [synthesiser.speak(text) for text in PROMPTS]
        for case in range(cases):
            noise_name, under = (("no noise", 60.0), ("20 dB", 20.0), ("10 dB", 10.0))[case % 3]
            prompt = prompts[int(rng.integers(len(prompts)))]
            echo = scaled(room(rng, np.concatenate([prompt, silence(0.5)])), -20)
            noise = scaled(fan(rng, len(echo)), -20 - under)
            error = rng.uniform(-0.1, 0.1)
            played = [Played(1, "x", prompt, error, error + len(prompt) / RATE)]
            first = int(rng.integers(0, max(1, len(prompt) - RATE)))
            last = min(len(echo), first + round(rng.uniform(0.6, 2.5) * RATE))
            got = guard.judge((echo + noise)[first:last], first / RATE, last / RATE, played, noise=power(noise))
            own.setdefault(noise_name, []).append(got.foreign)
            for ser in (10, 5, 0, -5, -10):
                word = flite(SPOKEN[int(rng.integers(len(SPOKEN)))], VOICES[case % 4], Path(folder))
                speech = scaled(word, -20 + ser)
                at = int(rng.integers(0, max(1, len(prompt) - len(speech))))
                whole = echo + noise
                whole[at : at + len(speech)] += speech[: len(whole) - at]
                piece = slice(max(0, at - RATE // 3), min(len(whole), at + len(speech) + RATE // 3))
                got = guard.judge(whole[piece], piece.start / RATE, piece.stop / RATE, played, noise=power(noise))
                other.setdefault((noise_name, ser), []).append(got.foreign)
            removed.setdefault(noise_name, []).append(removal(echo + noise, prompt, error))
            for ser, gap in itertools.product((10, 5, 0, -5), GAPS):
                word = flite(SPOKEN[case % len(SPOKEN)], VOICES[case % 4], Path(folder))
                speech, at = scaled(trimmed(word), -20 + ser), len(prompt) + round(gap * RATE)
                whole = np.concatenate([echo + noise, scaled(fan(rng, 2 * RATE), -20 - under)])
                whole[at : at + len(speech)] += speech
                piece = slice(max(0, len(prompt) - round(rng.uniform(0.5, 2.5) * RATE)), at + len(speech) + RATE // 3)
                got = guard.judge(whole[piece], piece.start / RATE, piece.stop / RATE, played, noise=power(noise))
                after.setdefault((ser, gap), []).append(got.began > 0)
                wordless.setdefault((ser, gap), []).append(got.wordless)
                if got.began:
                    before, since = np.split(got.cleaned, [round(got.began * RATE)])
                    left.setdefault((ser, gap), []).append(decibels(moment(since)) - decibels(moment(before)))
            for denial, fainter in itertools.product(DENIALS, FAINTER):
                word, answer = (flite(text, VOICES[case % 4], Path(folder)) for text in (denial, "running"))
                lost.setdefault(fainter, []).append(loses(guard, prompt, echo + noise, word, answer, fainter, power(noise)))
    report(own, other, removed)
    for (ser, gap), found in after.items():
        print(f"somebody at {ser:+3d} dB on the echo, {gap:+.2f} s after it: {sum(found)} of {len(found)} begin after it, "
              f"{sum(wordless[ser, gap])} with no word before")
    for fainter, cases_lost in lost.items():
        print(f"a denial over the prompt's end, {fainter} dB under the answer: {sum(cases_lost)} of {len(cases_lost)} lost")
    for (ser, gap), under in left.items():
        low, middle = np.percentile(under, (10, 50))
        print(f"somebody at {ser:+3d} dB on the echo, {gap:+.2f} s after it: ends {middle:.0f} dB under, 1 in 10 {low:.0f}")


def trimmed(x: Samples) -> Samples:
    loud = np.flatnonzero(np.abs(x) > 0.02 * np.abs(x).max())
    return x[loud[0] : loud[-1]]


def loses(
    guard: EchoGuard, prompt: Samples, heard: Samples, word: Samples, answer: Samples, fainter: int, noise: float
) -> bool:
    """Whether a word over the end of the prompt counts as none; a tenth of a second after it comes the answer, 5 dB louder
    than the echo. `fainter`: dB of the word under the answer. `noise`: mean square."""
    word, answer, end = scaled(trimmed(word), -15 - fainter), scaled(trimmed(answer), -15), len(prompt)
    whole, at = np.concatenate([heard, silence(2.0)]), end + RATE // 10
    whole[end - len(word) : end] += word
    whole[at : at + len(answer)] += answer
    first, last = end - 3 * RATE // 2, at + len(answer) + RATE // 4
    played = [Played(1, "x", prompt, 0.0, end / RATE)]
    return guard.judge(whole[first:last], first / RATE, last / RATE, played, noise=noise).wordless


def moment(samples: Samples) -> float:
    """Mean square of its loudest tenth of a second."""
    size = RATE // 10
    return max(power(samples[first : first + size]) for first in range(0, max(1, len(samples) - size + 1), size // 2))


def removal(heard: Samples, prompt: Samples, error: float) -> float:
    """dB by which the canceller lowers what is heard, over three repetitions of the prompt (it learns)."""
    tap = Tap()
    follower = Follower(tap)
    thrice_heard = np.tile(heard, 3)
    thrice_out = np.tile(np.concatenate([prompt, silence(0.5)]), 3)
    cleaned = []
    for i in range(0, len(thrice_heard) - BLOCK, BLOCK):
        ahead = thrice_out[i + 4 * BLOCK : i + 5 * BLOCK] if i else thrice_out[: 5 * BLOCK]
        tap.raw.append((ahead, (i + 4 * BLOCK if i else 0) / RATE + error * 0.3))
        cleaned.append(follower.clean(Block(thrice_heard[i : i + BLOCK], i / RATE)))
    after = np.concatenate(cleaned)[2 * len(heard) :]
    return decibels(power(thrice_heard[2 * len(heard) :])) - decibels(power(after))


def report(
    own: dict[str, list[float]], other: dict[tuple[str, int], list[float]], removed: dict[str, list[float]]
) -> None:
    limits = (0.15, 0.25, 0.35, 0.45, 0.6, 0.75)
    print("share taken for somebody else's, by threshold       ", *(f"{x:6.2f}" for x in limits))

    def shares(values: list[float]) -> str:
        return " ".join(f"{np.mean(np.array(values) >= x):6.2f}" for x in limits)

    for name, values in own.items():
        print(f"own voice, echo over noise {name:10s} n={len(values):4d}      ", shares(values), f"  most {max(values):.2f}")
    for (name, ser), values in other.items():
        print(f"somebody at {ser:+3d} dB on the echo, {name:10s} n={len(values):4d}", shares(values))
    for name, values in removed.items():
        print(f"canceller, {name}: takes out {np.median(values):.1f} dB (median), {min(values):.1f} to {max(values):.1f}")


if __name__ == "__main__":
    main()
