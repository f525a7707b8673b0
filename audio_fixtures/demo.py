"""Makes the technician's side of the demo: audio_fixtures/demo/*.flac and the script that says where each is spoken.

Run in the top folder with Debian's `flite` installed: python -m audio_fixtures.demo
The person, the firm (Hochgrat Mountain Railway) and every number are invented.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import soundfile
import yaml

from audio_fixtures import voices

VOICE = "kal16"
SNR_DB = 20.0
#: This voice's usual "affirm" is a poor one, said faster it is what a person says; a lock number is said with care.
RATES = {"affirm": 1.1, "seven three nine": 0.95}
FOLDER = Path(__file__).parent / "demo"

#: At which step, awaiting what, the technician says what, one after the other. The last is said again when asked again.
SCRIPT: list[tuple[str, str, list[str]]] = [
    ("arrival-danger", "caution understood", ["understood"]),
    ("place-thermometer", "step done", ["where am I", "next step"]),
    ("delivery-air", "answer", ["tepid", "warm"]),
    ("cabinet-temperature", "reading", ["sixty two degrees fahrenheit", "fifty two degrees fahrenheit"]),
    ("unplug", "lock number", ["seven three nine"]),
    ("unplug", "lock number affirmed", ["affirm"]),
    ("unplug", "seen running before", ["correction", "affirm"]),
    ("unplug", "gate phrase", ["next step", "power is not isolated", "isolated, lock, seven three nine"]),
    ("prove-dead", "switch tried", ["nothing runs"]),
    ("prove-dead", "switched off again", ["affirm"]),
    ("fins-warning", "caution understood", ["understood"]),
    ("clean-condenser", "step done", ["say again", "does this train stop at the summit", "next step"]),
    ("restore-supply", "restore check", ["next step"]),
    ("restore-supply", "clear phrase", ["clear, lock, seven three nine"]),
    ("restore-supply", "power put on", ["next step"]),
    ("compressor-rest", "wait", ["how long"]),
    ("delivery-temperature", "reading", ["thirty nine degrees fahrenheit"]),
    ("delivery-temperature", "reading affirmed", ["affirm"]),
    ("dirty-condenser", "step done", ["next step"]),
]


def record(words: str, name: str, rate: float, seed: int) -> None:
    """One take. A person who is asked again says it again, a little slower: the second take is that."""
    speech = voices.padded(voices.synthesise(words, VOICE, rate), 0.3, 0.9)
    noise = voices.compressor_noise(len(speech) / 16_000 + 0.1, seed=seed)[: len(speech)]
    sound = voices.mix(speech, noise, SNR_DB)
    soundfile.write(FOLDER / name, np.clip(sound, -1, 1), 16_000, format="FLAC", subtype="PCM_16")


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    made: dict[str, str] = {}
    for old in FOLDER.glob("*.flac"):
        old.unlink()
    for _, _, lines in SCRIPT:
        for words in lines:
            if words not in made:
                made[words] = re.sub(r"[^a-z]+", "-", words.lower()).strip("-") + ".flac"
                record(words, made[words], rate=RATES.get(words, 1.0), seed=2 * len(made) + 1)
                again = made[words].replace(".flac", "-again.flac")
                record(words, again, rate=RATES.get(words, 1.0) * 0.9, seed=2 * len(made))
    script = {
        "procedure": "platform-check",
        "technician": "M. Aldermatt",
        "site": "Kesselboden station, platform 2 (invented)",
        "cabinet": "Firnkasten 40, number 1187 (invented)",
        "voice": f"flite {VOICE}, compressor noise at {SNR_DB:.0f} dB",
        "says": [{"step": step, "awaiting": awaiting, "clips": [made[words] for words in lines]}
                 for step, awaiting, lines in SCRIPT],
        "words": {name: words for words, name in made.items()},
    }
    text = yaml.safe_dump(script, sort_keys=False, allow_unicode=True)
    (FOLDER / "visit.yaml").write_text("# Made by audio_fixtures/demo.py; invented throughout.\n" + text, encoding="utf-8")


if __name__ == "__main__":
    main()
