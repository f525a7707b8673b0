"""Makes the recordings in this folder and their manifest: `python audio_fixtures/make.py`.

Needs flite and espeak-ng. Every clip is a function of this file and `voices.py`; the manifest is in the form that
`handsfree evaluate` reads. Demo recordings are made elsewhere (`demo/`).
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import soundfile

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import voices  # noqa: E402

CHOICE: dict[str, Any] = {"phrases": ["cool", "warm", "hot"], "commands": True}
READING: dict[str, Any] = {"number": {"unit": "degF", "low": -40, "high": 250}, "commands": True}
GATE: dict[str, Any] = {"gate": {"lock": ["four", "two"]}, "commands": True}


@dataclass(frozen=True)
class Said:
    kind: str
    text: str
    listen_for: dict[str, Any]
    expect: dict[str, Any] | None


SAYINGS: tuple[Said, ...] = (
    *(Said("choice", text, CHOICE, {"phrase": text}) for text in ("cool", "warm", "hot")),
    *(Said("command", text, CHOICE, {"command": text}) for text in ("next step", "go back", "say again", "stand by")),
    *(
        Said("reading", text, READING, {"number": value})
        for text, value in (
            ("forty three point five", 43.5), ("one hundred and fifteen", 115), ("minus twelve degrees", -12),
            ("seventy", 70), ("two oh eight", 208), ("four three decimal five", 43.5),
        )
    ),
    Said("gate", "isolated lock four two", GATE, {"gate": True}),
    *(
        Said("near-miss", text, GATE, None)
        for text in (
            "not isolated", "is it isolated", "isolated lock four three", "isolated", "power is not isolated lock four two",
            "isolated i think", "insulated lock four two",
        )
    ),
    *(
        Said("unrelated", text, CHOICE, None)
        for text in (
            "The train leaves in ten minutes.", "Did you bring the sandwiches?", "My brother worked for the post office.",
        )
    ),
)  # fmt: skip
VOICES = ("slt", "rms", "awb", "kal16", "espeak-us")
#: (noise, dB); None is a quiet room. Each clip gets one by its number, so that all meet without all being crossed.
CONDITIONS: tuple[tuple[str, int] | None, ...] = (
    None, ("compressor", 20), ("fan", 10), None, ("platform", 15), ("compressor", 5),
)  # fmt: skip


def clips() -> Iterator[tuple[str, voices.Samples, dict[str, Any]]]:
    """(file name, samples, its line of the manifest) of every clip."""
    at = 0
    for said in SAYINGS:
        for voice in VOICES:
            condition = CONDITIONS[at % len(CONDITIONS)]
            sound = voices.padded(voices.synthesise(said.text, voice), 0.25, 0.25)
            quiet = voices.mix(sound, voices.hiss_noise(len(sound) / voices.RATE, at), 45)
            noise, snr = condition or ("quiet room", 45)
            heard = voices.mix(sound, voices.NOISES[noise](len(sound) / voices.RATE, at), snr) if condition else quiet
            name = f"{at:03d}-{said.kind}-{voice}.flac"
            level = snr if condition else "clean"
            tags = {"kind": said.kind, "voice": voice, "noise": noise, "snr": level, "said": said.text}
            yield name, heard, {"audio": name, "listen_for": said.listen_for, "expect": said.expect, "tags": tags}
            at += 1


def main() -> None:
    for old in HERE.glob("[0-9][0-9][0-9]-*.flac"):
        old.unlink()
    lines = []
    for name, samples, line in clips():
        soundfile.write(HERE / name, samples, voices.RATE, subtype="PCM_16")
        lines.append(json.dumps(line))
    (HERE / "manifest.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{len(lines)} clips, {sum(p.stat().st_size for p in HERE.glob('*.flac')) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
