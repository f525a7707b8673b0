"""The real synthesiser, with the system's library and with the one in the wheel."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import wave
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.errors import Trouble
from handsfree.sound import voice_worker
from handsfree.sound.levels import speech_level
from handsfree.sound.samples import RATE
from handsfree.sound.synth import LEVEL, RATE_STEP, Synthesiser

TEXT = "Switch the cabinet off at the isolator, then fit your own lock."


@pytest.mark.parametrize("library", ["", "bundled"])
def test_it_speaks_with_either_library(library: str) -> None:
    with Synthesiser(library=library) as voice:
        samples = voice.speak(TEXT)
    assert 2.0 < len(samples) / RATE < 8.0
    assert speech_level(samples).active == pytest.approx(LEVEL, abs=0.5)
    assert np.abs(samples).max() < 1.0


def test_it_speaks_where_the_system_has_no_library(tmp_path: Path) -> None:
    """No environment variable of ours: the driver's own search finds nothing, as on a machine without eSpeak NG."""
    hide = tmp_path / "sitecustomize.py"
    hide.write_text(
        "import ctypes\nold = ctypes.cdll.LoadLibrary\n"
        "def load(name):\n"
        "    if 'espeak' in name and 'espeakng_loader' not in name: raise OSError(name)\n"
        "    return old(name)\n"
        "ctypes.cdll.LoadLibrary = load\n"
    )
    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = str(tmp_path) + (os.pathsep + before if before else "")
    try:
        with Synthesiser() as voice:
            assert len(voice.speak("ready")) > 0.2 * RATE
            assert voice.engine == "espeak bundled"
    finally:
        os.environ.pop("PYTHONPATH")
        if before:
            os.environ["PYTHONPATH"] = before


def test_a_library_that_cannot_start_is_replaced_by_the_bundled_one(tmp_path: Path) -> None:
    """The system's library there, its voices missing: the first process fails, the second uses the wheel's."""
    os.environ["ESPEAK_DATA_PATH"] = str(tmp_path)
    try:
        with Synthesiser() as voice:
            assert len(voice.speak("ready")) > 0.2 * RATE
    finally:
        os.environ.pop("ESPEAK_DATA_PATH")


def test_faster_is_shorter_by_the_step() -> None:
    with Synthesiser() as voice:
        usual, fast, slow = (len(voice.speak(TEXT, steps)) for steps in (0, 2, -2))
    assert usual / fast == pytest.approx(RATE_STEP**2, rel=0.15)
    assert slow / usual == pytest.approx(RATE_STEP**2, rel=0.15)


def test_no_change_of_rate_is_lost(tmp_path: Path) -> None:
    """One process, 60 changes; without `voice_worker.settle` about one in ten is spoken at another rate."""
    file = str(tmp_path / "voice.wav")
    order = [150, 100, 220, 300] * 15
    asked = [{"do": "speak", "text": "Open the door.", "file": file, "voice": "en-us", "rate": rate} for rate in order]
    worker = subprocess.Popen(
        [sys.executable, "-m", "handsfree.sound.voice_worker"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
    )
    lengths: dict[int, set[float]] = {}
    with worker:
        assert worker.stdin is not None
        assert worker.stdout is not None
        for request in asked:
            print(json.dumps(request), file=worker.stdin, flush=True)
            assert "error" not in json.loads(worker.stdout.readline())
            lengths.setdefault(request["rate"], set()).add(round(soundfile.info(file).duration, 1))
            os.unlink(file)
        worker.stdin.close()
    assert {rate: max(found) - min(found) < 0.15 for rate, found in lengths.items()} == dict.fromkeys(order, True)
    assert max(lengths[300]) < min(lengths[220]) < min(lengths[150]) < min(lengths[100])


def test_an_empty_sound_is_an_error(tmp_path: Path) -> None:
    """The driver ends a text at the first end that it is told, here one that comes before any sound."""

    class Early:
        def setProperty(self, name: str, value: object) -> None: ...
        def connect(self, topic: str, call: Callable[..., None]) -> None:
            call()

        def disconnect(self, token: object) -> None: ...

        def runAndWait(self) -> None: ...

        def save_to_file(self, text: str, file: str) -> None:
            with wave.open(file, "wb") as sound:
                sound.setparams((1, 2, 22_050, 0, "NONE", ""))

    request = {"do": "speak", "text": "Ready.", "file": str(tmp_path / "voice.wav"), "voice": "en-us", "rate": 150}
    assert voice_worker.answer(Early(), "early", request) == {"error": "the synthesiser wrote an empty sound"}
    assert "error" not in voice_worker.answer(Early(), "early", {**request, "text": "..."})


def test_the_second_time_comes_from_the_cache(tmp_path: Path) -> None:
    with Synthesiser(cache=tmp_path) as voice:
        first = voice.speak(TEXT)
        voice.speak(TEXT)
        assert (voice.made, voice.found) == (1, 1)
    with Synthesiser(cache=tmp_path) as voice:
        again = voice.speak("  " + TEXT.replace(" ", "  "))
        assert (voice.made, voice.found) == (0, 1)
        voice.speak(TEXT, steps=1)
        assert voice.made == 1
    assert np.abs(first - again).max() < 1e-3


def test_a_damaged_cache_is_made_again_and_a_full_one_stays_in_bounds(tmp_path: Path) -> None:
    with Synthesiser(cache=tmp_path, cache_bytes=60_000) as voice:
        voice.speak(TEXT)
        for file in tmp_path.glob("*.flac"):
            file.write_bytes(b"not sound")
    with Synthesiser(cache=tmp_path, cache_bytes=60_000) as voice:
        assert len(voice.speak(TEXT)) > RATE
        for number in range(10):
            voice.speak(f"platform {number}")
    assert sum(f.stat().st_size for f in tmp_path.glob("*")) <= 60_000


def test_a_cache_that_cannot_be_written_is_no_reason_for_silence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with Synthesiser(cache=tmp_path / "file") as voice:
        assert len(voice.speak("ready")) > 0


def test_a_killed_worker_is_started_again() -> None:
    with Synthesiser() as voice:
        voice.speak("one")
        assert voice.worker_id is not None
        os.kill(voice.worker_id, signal.SIGKILL)
        assert len(voice.speak("two")) > 0
        assert voice.restarts == 1


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="needs a way to make a process hang")
def test_a_hung_worker_is_started_again() -> None:
    with Synthesiser(timeout=1.0) as voice:
        voice.speak("one")
        assert voice.worker_id is not None
        os.kill(voice.worker_id, signal.SIGSTOP)
        assert len(voice.speak("two")) > 0
        assert voice.restarts == 1


def test_no_such_voice_and_no_synthesiser_are_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    with Synthesiser(voice="klingon-opera") as voice, pytest.raises(Trouble, match="no voice 'klingon-opera'"):
        voice.speak("one")
    monkeypatch.setenv("PYTHONPATH", "")
    with Synthesiser() as voice, pytest.raises(Trouble, match="too long"):
        voice.speak("a" * 5000)


def test_odd_texts() -> None:
    with Synthesiser() as voice:
        assert len(voice.speak("")) == 0
        assert len(voice.speak(" \n ")) == 0
        for text in ("…", "<speak>&amp;</speak>", "43.5 °F – R‑290", "\x00 nul", "[[hh]]"):
            voice.speak(text)
        assert len(voice.speak("still here")) > 0


def test_texts_made_ahead_do_not_hold_up_the_one_needed_now(tmp_path: Path) -> None:
    with Synthesiser(cache=tmp_path) as voice:
        voice.ahead(f"Read the gauge on cabinet number {n} and say it." for n in range(40))
        time.sleep(0.1)
        voice.speak("Stop.")
        assert voice.made < 40
        until = time.monotonic() + 60
        while voice.made < 41 and time.monotonic() < until:
            time.sleep(0.05)
        made = voice.made
        assert made == 41
        voice.speak("Read the gauge on cabinet number 39 and say it.")
        assert voice.made == made


def test_two_threads_that_want_the_same_have_it_made_once(tmp_path: Path) -> None:
    with Synthesiser(cache=tmp_path) as voice:
        threads = [threading.Thread(target=voice.speak, args=("Read the gauge and say it.",)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
        assert voice.made == 1


def test_two_threads_at_once() -> None:
    with Synthesiser() as voice:
        lengths: dict[int, int] = {}

        def work(number: int) -> None:
            lengths[number] = len(voice.speak("seven " * (number + 1)))

        threads = [threading.Thread(target=work, args=(n,)) for n in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
        assert sorted(lengths) == list(range(6))
        assert all(lengths[n] < lengths[n + 1] for n in range(5))


def test_long_texts_come_whole() -> None:
    """pyttsx3 can return before eSpeak NG's own thread is done with a long text."""
    sentence = "Look through the grille at the bottom, there is a small fan behind it. "
    with Synthesiser() as voice:
        once, four_times = len(voice.speak(sentence)), len(voice.speak(sentence * 4))
        assert voice.restarts == 0
    assert 3.8 * once < four_times < 5.5 * once
