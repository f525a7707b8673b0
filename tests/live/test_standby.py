"""The listener of stand-by on the sound card of software: bystanders talk, then the words are said."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import soundfile

from .conftest import LOUDSPEAKER, MICROPHONE, Booth


def spoken(folder: Path, text: str, voice: str = "slt") -> Path:
    place = folder / f"{text[:12].replace(' ', '-')}.wav"
    subprocess.run(["flite", "-voice", voice, "-t", text, "-o", str(place)], check=True, capture_output=True)
    samples, rate = soundfile.read(place)
    soundfile.write(place, samples * 0.5, rate)
    return place


def test_it_waits_through_talk_and_ends_with_the_words(booth: Booth, tmp_path: Path) -> None:
    environment = {**os.environ, **booth.environment}
    listener = subprocess.Popen(
        [sys.executable, "-m", "handsfree.standby.listening", "--sound-in", MICROPHONE, "--sound-out", LOUDSPEAKER],
        env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        time.sleep(12)
        for text in ("the train to the coast was late again", "we should start on the second shelf"):
            subprocess.run(["paplay", "--device=booth", str(spoken(tmp_path, text))], env=environment, check=True)
            time.sleep(2.5)
            assert listener.poll() is None, listener.communicate()
        for _ in range(4):  # who is not heard at once says it again
            subprocess.run(["paplay", "--device=booth", str(spoken(tmp_path, "start a visit"))], env=environment, check=True)
            try:
                listener.wait(15)
                break
            except subprocess.TimeoutExpired:
                continue
        out, errors = listener.communicate(timeout=20)
        assert out.strip().splitlines()[-1:] == ["start"], errors
    finally:
        listener.kill()
