"""How well prompts are understood at several speaking rates: `python -m tests.bench.speaking_rate [--sentences 40]`.

The steps' sentences of the shipped procedures are synthesised and written down by the whisper model's free decode, clean and
under fan noise. Printed: the share of words wrong (edit distance over words; figures and punctuation evened out) and the
seconds that a sentence takes. A machine's ear stands in for a person's: what it finds is only whether speed costs words.
"""

from __future__ import annotations

import argparse
import random
import re
from pathlib import Path
from typing import Any

import numpy as np

RATES = (110, 130, 150, 170, 190, 220)


def sentences(count: int) -> list[str]:
    from handsfree.language import base
    from handsfree.procedure import load

    english = base.load("en")
    found = []
    for path in sorted(Path("procedures").glob("*.yaml")):
        book = load.load_book(str(path))
        if book.procedures[book.main].language == "en":
            found += [english.speakable(step.say) for step in book.procedures[book.main].steps if getattr(step, "say", "")]
    plain = sorted({text for text in found if not re.search(r"\d", text) and 6 <= len(text.split()) <= 30})
    return random.Random(4).sample(plain, min(count, len(plain)))


def words(text: str) -> list[str]:
    return re.findall(r"[a-z']+", text.lower())


def main() -> None:
    from faster_whisper import WhisperModel
    from platformdirs import user_data_path
    from rapidfuzz.distance import Levenshtein

    from handsfree.sound.samples import RATE
    from handsfree.sound.synth import Synthesiser
    from handsfree.speech.recogniser import build_recogniser
    from tests.bench.echo import fan

    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--sentences", type=int, default=40)
    texts = sentences(asked.parse_args().sentences)
    engine: Any = build_recogniser("whisper", "en", user_data_path("handsfree") / "models").engines[0]
    ear = WhisperModel(str(engine._folder), device="cpu", compute_type="int8", cpu_threads=2)
    print(f"{len(texts)} sentences, {sum(len(words(text)) for text in texts)} words")
    for rate in RATES:
        rng, seconds = np.random.default_rng(5), 0.0
        wrong = {None: 0, 10: 0}
        with Synthesiser(rate=rate) as voice:
            for text in texts:
                samples = voice.speak(text)
                seconds += len(samples) / RATE
                for snr in wrong:
                    level = 0.1 * 10 ** (-snr / 20) if snr is not None else 0.0  # prompts have an active level of -20 dB
                    noisy = (samples + level * fan(rng, len(samples))).astype(np.float32)
                    pieces, _ = ear.transcribe(noisy, language="en", beam_size=1, temperature=0.0, without_timestamps=True)
                    heard = " ".join(piece.text for piece in pieces)
                    wrong[snr] += Levenshtein.distance(words(text), words(heard))
        total = sum(len(words(text)) for text in texts)
        shares = "  ".join(f"{'clean' if snr is None else f'{snr} dB'} {100 * n / total:.1f} %" for snr, n in wrong.items())
        print(f"{rate} words a minute asked: {60 * total / seconds:.0f} spoken, {seconds / len(texts):.1f} s a sentence; "
              f"words wrong: {shares}", flush=True)


if __name__ == "__main__":
    main()
