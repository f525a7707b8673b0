"""Voices that judge and never teach: diphone voices of English, voices of other languages that speak English with their own
sounds, and two of festival's. Another kind of synthesis than those that teach, and accents that none of them has.

They need festival, and mbrola with its voices (Debian's are non-free: installed to measure, never committed).
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np

from audio_fixtures import voices as made
from handsfree.errors import Trouble
from tests.bench.corpus import RATE, _festival, _mixed, noise

#: Ours -> eSpeak NG's name; the folder of mbrola's voice is the part between.
MBROLA = {
    "british-man": "mb-en1", "american-woman": "mb-us1", "american-man": "mb-us2", "american-other": "mb-us3",
    "german-man": "mb-de4-en", "german-other": "mb-de6-en", "french-man": "mb-fr1-en", "french-woman": "mb-fr4-en",
    "dutch-man": "mb-nl2-en", "swedish-woman": "mb-sw2-en", "afrikaans-man": "mb-af1-en", "polish-woman": "mb-pl1-en",
    "romanian-man": "mb-ro1-en",
}  # fmt: skip
FESTIVAL = {"festival-man": "ked_diphone", "festival-woman": "cmu_us_slt_arctic_hts"}
#: The program's own voice, as the microphone hears it.
OWN = "the program"
NOISES = ("fan", "platform", "workshop", "street")
LEVELS: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0)


def names() -> tuple[str, ...]:
    """Those that are installed. Trouble where fewer than six are: too few to judge by."""
    there = [name for name, voice in MBROLA.items() if Path("/usr/share/mbrola", voice.split("-")[1]).exists()]
    if shutil.which("festival"):
        there += [name for name, voice in FESTIVAL.items() if any(Path("/usr/share/festival/voices").rglob(voice))]
    if len(there) < 6:
        wanted = " ".join(f"mbrola-{voice.split('-')[1]}" for voice in MBROLA.values())
        raise Trouble(f"Too few voices to judge by are installed; get them with: apt-get install festival {wanted}")
    return tuple(there)


@lru_cache(maxsize=4096)
def speak(text: str, voice: str, rate: float = 1.0) -> made.Samples:
    """float32 mono 16 kHz, peak 0.5. KeyError for an unknown voice."""
    if voice == OWN:
        return made.synthesise(text, "espeak-gb", rate)
    samples = _festival(text, FESTIVAL[voice], rate) if voice in FESTIVAL else _espeak(text, MBROLA[voice], rate)
    out = np.asarray(samples * (0.5 / max(float(np.abs(samples).max()), 1e-6)), np.float32)
    out.flags.writeable = False
    return out


def _espeak(text: str, voice: str, rate: float) -> made.Samples:
    import soundfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        command = ["espeak-ng", "-v", voice, "-s", str(round(150 * rate)), "-w", str(path), "--", text]
        subprocess.run(command, check=True, capture_output=True)
        samples, its_rate = soundfile.read(path, dtype="float32")
    return made.resample(samples, its_rate, RATE)


def in_noise(speech: made.Samples, snr: float | None, kind: str, seed: int) -> made.Samples:
    """With 0.4 s before and 0.5 s after it, in noise of a level by ITU-T P.56."""
    whole = np.concatenate([made.silence(0.4), speech, made.silence(0.5)])
    if snr is None:
        return whole
    return _mixed(whole, noise(kind, len(whole) / RATE + 0.1, seed % 100_000)[: len(whole)], snr)


def level(snr: float | None) -> str:
    return "clean" if snr is None else f"{snr:g}"
