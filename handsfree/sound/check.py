"""`handsfree sound`: the devices there are. `handsfree sound check`: is this microphone, here, good enough?

Ten seconds in which nobody speaks give the noise floor; one phrase gives the active speech level (ITU-T P.56), clipping and
the signal-to-noise ratio. A table of measurements, handed in, says what share of phrases to expect at that ratio. Values
between its rows are interpolated; beyond them, the first or the last row holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.errors import Trouble
from handsfree.sound import levels
from handsfree.sound.cards import Device
from handsfree.sound.samples import RATE, Samples
from handsfree.sound.sources import SoundSource

QUIET_FOR = 10.0  # s
PHRASE_FOR = 5.0  # s

#: Limits below which advice is given; common practice, no source, except where the table of shares decides.
TOO_QUIET, TOO_LOUD = -40.0, -12.0  # dB full scale, active
CLIPPED = 0.0005  # share of samples
HEARD = 3.0  # dB signal to noise: more, and somebody spoke
NOISY = 15.0  # dB signal to noise
HUM = 0.5  # share of the noise's power below 150 Hz


@dataclass(frozen=True)
class Expected:
    """One row of an evaluation: at `snr` dB, the share of phrases accepted and right."""

    snr: float
    accepted: float


@dataclass(frozen=True)
class SoundVerdict:
    """`level`: active, dB full scale; `floor`: noise, dB full scale; `snr`: dB; `clipped`, `expected`: shares, 0 to 1
    (`expected` None where no table was given); `advice`: what to do, a sentence each, most important first."""

    level: float
    floor: float
    snr: float
    clipped: float
    expected: float | None
    advice: tuple[str, ...]


def collect(source: SoundSource, seconds: float) -> Samples:
    """Sound from a source. Trouble where it gives none."""
    parts: list[Samples] = []
    idle = 0.0
    while sum(map(len, parts)) < seconds * RATE and not source.ended and idle < 5.0:
        block = source.read(0.5)
        if block is None:
            idle += 0.5
            continue
        parts.append(block.samples)
    if not parts:
        raise Trouble("The microphone gives no sound; see 'handsfree sound' for others, and check that it is not muted.")
    return np.concatenate(parts)


def measure(source: SoundSource, ask: Callable[[str], None], table: Sequence[Expected] = ()) -> SoundVerdict:
    """The whole check; `ask` shows or says what the person is to do."""
    collect(source, 0.5)  # what a device gives while it starts up is not measured
    ask(f"Say nothing for {QUIET_FOR:.0f} seconds.")
    noise = collect(source, QUIET_FOR)
    ask("Now say, as you would at work: next step.")
    return judge(noise, collect(source, PHRASE_FOR), table)


def judge(noise: Samples, phrase: Samples, table: Sequence[Expected] = ()) -> SoundVerdict:
    speech = spoken_part(phrase, noise)
    level = levels.speech_level(speech)
    floor = levels.noise_floor(noise)
    snr = levels.signal_to_noise(speech, noise)
    clip = max(levels.clipped(phrase), levels.clipped(noise))
    expected = share_at(snr, table)
    return SoundVerdict(level.active, floor, snr, clip, expected, _advice(level.active, floor, snr, clip, expected, noise))


def spoken_part(phrase: Samples, noise: Samples) -> Samples:
    """The sound from the first to the last frame that is 6 dB over the noise; all of it where no frame is."""
    powers = levels.frame_powers(phrase)
    above = np.flatnonzero(powers > 4.0 * 10 ** (levels.noise_floor(noise) / 10))
    if len(above) < 5:
        return phrase
    frame = round(0.02 * RATE)
    return phrase[above[0] * frame : (above[-1] + 1) * frame]


def share_at(snr: float, table: Sequence[Expected]) -> float | None:
    if not table:
        return None
    rows = sorted(table, key=lambda row: row.snr)
    return float(np.interp(snr, [row.snr for row in rows], [row.accepted for row in rows]))


def _advice(level: float, floor: float, snr: float, clip: float, expected: float | None, noise: Samples) -> tuple[str, ...]:
    heard, silent = snr > HEARD, floor <= levels.QUIETEST + 1
    rules = (
        (silent and not heard, "The microphone gives pure silence: it is muted, or the wrong device."),
        (
            silent and heard,
            "Between words the microphone gives pure silence: it cuts off quiet sound, and may cut off soft beginnings "
            "of words; turn that off if you can.",
        ),
        (not heard, "No voice was heard above the noise: speak when asked, or choose another microphone."),
        (clip > CLIPPED, "The sound is clipped: turn the microphone's gain down, or hold it further away."),
        (heard and level > TOO_LOUD and clip <= CLIPPED, "Your voice is close to clipping: turn the gain down a little."),
        (heard and level < TOO_QUIET, "Your voice is too faint: turn the gain up, or bring the microphone nearer."),
        (heard and snr < NOISY, "The noise is nearly as loud as your voice: bring the microphone to the corner of your "
         "mouth, out of the fan's wind, or use a headset."),
        (heard and _hum(noise) > HUM, "Most of the noise is a low hum: keep the microphone away from the compressor."),
        (expected is not None and heard and expected < 0.8, "Expect to be asked again often here; a headset helps most."),
    )
    found = tuple(sentence for holds, sentence in rules if holds)
    return found or ("This is good: begin.",)


def _hum(noise: Samples) -> float:
    spectrum = np.abs(np.fft.rfft(noise * np.hanning(len(noise)))) ** 2
    hertz = np.fft.rfftfreq(len(noise), 1 / RATE)
    voice = spectrum[hertz > 40].sum()
    return float(spectrum[(hertz > 40) & (hertz < 150)].sum() / voice) if voice > 0 else 0.0


def in_words(verdict: SoundVerdict) -> list[str]:
    """The result as lines for a person to read. Where no voice was heard, nothing is said of one."""
    heard = verdict.snr > HEARD
    voice = (
        f"Voice           {verdict.level:6.1f} dB full scale (active level, ITU-T P.56)",
        f"Voice to noise  {verdict.snr:6.1f} dB",
    )
    lines = [
        *(voice if heard else ()),
        f"Noise           {verdict.floor:6.1f} dB full scale",
        f"Clipped         {100 * verdict.clipped:6.2f} % of the sound",
    ]
    if heard and verdict.expected is not None:
        lines.append(f"To expect       {100 * verdict.expected:6.0f} % of phrases understood at once")
    return [*lines, "", *verdict.advice]


def device_lines(found: Sequence[Device]) -> list[str]:
    """The list for `handsfree sound`: number, name, what it can do, which is the usual one."""
    if not found:
        return ["There is no sound device; the demo runs without one, and so does a visit from files or with --typed."]
    width = max(len(d.name) for d in found)
    lines = []
    for d in found:
        ways = " and ".join(w for w, n in (("microphone", d.inputs), ("loudspeaker", d.outputs)) if n)
        usual = f", usual {d.usual}" if d.usual else ""
        lines.append(f"{d.number:3d}  {d.name:{width}}  {ways}, {d.rate:.0f} Hz{usual}")
    return lines
