# ruff: noqa: E501  tables of sounds
"""Voices that the weighing at a gate is fitted and chosen on, of as many kinds as can be had; none of them judges
(tests/bench/unlike_voices.py, people.py) and none teaches the phonetic witness.

eSpeak NG's own and flite's; voices of other languages that eSpeak NG lets speak English with their own sounds; and voices of
languages for which it has no such table: for those the sounds of its American are put into theirs by a table here. These
need mbrola with its voices (Debian's are non-free: installed to measure, never committed).
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

from audio_fixtures import voices as made
from tests.bench import corpus

#: eSpeak NG's English by voices of other languages. None of these speakers judges; German and Swedish have another speaker
#: who does.
LENT = ("mb-de2-en", "mb-de3-en", "mb-de5-en", "mb-gr2-en", "mb-hu1-en", "mb-sw1-en")
_ROMAN = {
    "AI": "a i", "EI": "e i", "@U": "o u", "aU": "a u", "OI": "o i", "{": "a", "V": "a", "@": "a", "A": "a", "O": "o", "E": "e",
    "I": "i", "U": "u", "r=": "e r", "4": "d", "t_h": "t", "p_h": "p", "k_h": "k", "D": "d", "T": "t", "h": "", "N": "n g", "w": "u",
    "j": "i", "l=": "l", "n=": "n", "m=": "m", "Z": "S", "@r": "e r", "h\\": "", "5": "l",
}  # fmt: skip
#: Sounds of eSpeak NG's American (SAMPA) -> those of the voice, several parted by a blank; what is not there stays. How a
#: learner says them, by guess: no source.
SOUNDS: dict[str, dict[str, str]] = {
    "it3": {**_ROMAN, "O": "O", "E": "E", "A": "O", "N": "ng", "w": "w", "j": "j", "T": "t", "h": ""},
    "es1": {**_ROMAN, "h": "x", "T": "T", "D": "d", "z": "s", "v": "b", "S": "tS", "Z": "jj", "dZ": "jj", "w": "w", "j": "jj", "4": "r"},
    "tr1": {**_ROMAN, "h": "h", "I": "I", "i": "I", "@": "@", "j": "j", "w": "v", "N": "n g", "Z": "Z", "A": "o", "E": "e",
            "AI": "a j", "EI": "e j", "OI": "o j"},
}  # fmt: skip
SOUNDS |= {"it4": SOUNDS["it3"], "es2": SOUNDS["es1"], "tr2": SOUNDS["tr1"]}
MADE = ("slt", "slt-low", "slt-high", "rms", "rms-low", "rms-high", "awb", "awb-low", "awb-high")
ACCENTS = ("en-gb", "en-gb-scotland", "en-gb-x-rp", "en-gb-x-gbcwmd", "en-gb-x-gbclan", "en-us-nyc")
VARIANTS = ("m1", "m3", "m5", "m7", "f1", "f2", "f3", "f5")
ALL: tuple[str, ...] = (*MADE, *(f"espeak:{a}+{v}" for a in ACCENTS for v in VARIANTS), *LENT, *SOUNDS)


def family(voice: str) -> str:
    """What is left out together: a speaker, whatever the accent or the shift."""
    return voice.partition("+")[2] if voice.startswith("espeak:") else voice.split("-low")[0].split("-high")[0]


@lru_cache(maxsize=8192)
def speak(text: str, voice: str, rate: float = 1.0) -> made.Samples:
    """float32 mono 16 kHz, peak 0.5."""
    if voice in SOUNDS:
        samples = _put(text, voice, rate)
    elif voice in LENT:
        samples = corpus._espeak(text, voice, rate)
    else:
        samples = corpus.speak(text, voice, rate)
    out = np.asarray(samples * (0.5 / max(float(np.abs(samples).max()), 1e-6)), np.float32)
    out.flags.writeable = False
    return out


def _put(text: str, voice: str, rate: float) -> made.Samples:
    """By a voice of `SOUNDS`."""
    command = ["espeak-ng", "-v", "mb-us1", "-s", str(round(150 * rate)), "-q", "--pho", "--", text]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    with tempfile.TemporaryDirectory() as folder:
        listed, out = Path(folder, "a.pho"), Path(folder, "a.wav")
        listed.write_text("".join(in_sounds(line, SOUNDS[voice]) for line in said.splitlines()))
        base = f"/usr/share/mbrola/{voice}/{voice}"
        subprocess.run(["mbrola", "-e", base, str(listed), str(out)], check=True, capture_output=True)
        samples, its_rate = soundfile.read(out, dtype="float32")
    return made.resample(samples, its_rate, corpus.RATE)


def in_sounds(line: str, table: Mapping[str, str]) -> str:
    """A line 'SOUND MILLISECONDS (PERCENT HERTZ)…' in the sounds of the table: the pitch goes to the first of several."""
    sound, _, rest = line.strip().partition("\t")
    if not sound or not rest:
        return ""
    put = table.get(sound, sound).split()
    length, _, pitch = rest.strip().partition("\t")
    each = max(20, int(int(length.split()[0]) / max(1, len(put))))
    pitch = pitch or " ".join(length.split()[1:])
    return "".join(f"{one}\t{each} {pitch if at == 0 else ''}\n" for at, one in enumerate(put))
