"""Text to samples: pyttsx3 in a worker process, with a cache and a list of texts made ahead.

Rules of this file:

- A worker that crashes or hangs is killed and started again; a second failure on the same text is `Trouble`.
- What has been spoken once is kept on disk, keyed by engine, voice, rate and text. The folder stays under a set size.
- Making texts ahead gives way whenever a text is needed now.
- All speech leaves at the same active level, so that volume is one number at the loudspeaker.
"""

from __future__ import annotations

import hashlib
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, cast

import numpy as np

from handsfree.errors import Trouble
from handsfree.sound.files import to_mono, write_sound
from handsfree.sound.levels import at_level
from handsfree.sound.samples import RATE, Samples, silence

#: Words a minute. `python -m tests.bench.speaking_rate --sentences 12` (127 words; eSpeak NG; heard by whisper tiny):
#: words wrong at 110, 130, 150, 170, 190, 220: 35, 24, 20, 21, 34, 46 % clean; 41, 34, 27, 28, 39, 48 % at 10 dB.
SPEAKING_RATE = 150
#: What 'faster' and 'slower' multiply by, a step.
RATE_STEP = 1.15
#: The voice for each language, as eSpeak NG names it; others get the language's code.
VOICES = {"en": "en-us"}
LEVEL = -20.0  # dB full scale, active (P.56)
CACHE_BYTES = 64_000_000
IN_MEMORY = 64  # prompts
TIMEOUT = 20.0  # s for one text; eSpeak NG needs a few hundredths
LONGEST_TEXT = 4000  # characters; no prompt is near it
INSTALL = "pip install pyttsx3 espeakng-loader"


class Synthesiser:
    """Thread-safe. `speak` is what a runner calls; `ahead` may be given every sentence of the steps to come.

    `voice`: a voice id, name or language of the machine's synthesiser, or '' for the language's own. `rate`: words a
    minute. `cache`: a folder, or None for none. Raises Trouble when there is no synthesiser or no such voice."""

    def __init__(
        self, language: str = "en", voice: str = "", rate: int = SPEAKING_RATE, cache: Path | None = None,
        cache_bytes: int = CACHE_BYTES, timeout: float = TIMEOUT, library: str = "",
    ) -> None:
        self._wanted = voice or VOICES.get(language, language)
        self.rate = rate
        self._cache, self._cache_bytes = cache, cache_bytes
        self._memory: OrderedDict[str, Samples] = OrderedDict()
        self._worker = _Worker(timeout, library)
        self._lock = threading.Lock()  # one text at a time through the worker
        self._urgent = 0
        self._calm = threading.Condition()
        self._todo: queue.SimpleQueue[tuple[str, int] | None] = queue.SimpleQueue()
        self._background: threading.Thread | None = None
        self._voice: str | None = None
        self.made = self.found = 0  # texts synthesised, texts from the cache

    @property
    def voice(self) -> str:
        """The id of the voice in use, looked up once. Trouble where the machine has none that fits."""
        if self._voice is None:
            self._voice = _choose(self._wanted, self.voices())
        return self._voice

    def voices(self) -> list[tuple[str, str, str]]:
        """(id, name, language) of each voice on this machine."""
        with self._lock:
            return [tuple(v) for v in self._worker.ask({"do": "voices"})["voices"]]

    @property
    def engine(self) -> str:
        """Which synthesiser, once it has been asked anything."""
        return self._worker.engine or ""

    @property
    def worker_id(self) -> int | None:
        """Process number of the worker, None when it does not run."""
        return self._worker.process_id

    @property
    def restarts(self) -> int:
        """How often the worker had to be started again."""
        return self._worker.restarts

    def speak(self, text: str, steps: int = 0) -> Samples:
        """Samples of `text`, at an active level of LEVEL; `steps` of 'faster' (positive) or 'slower'. '' is silence."""
        with self._calm:
            self._urgent += 1
        try:
            return self._samples(text, self._stepped(steps))
        finally:
            with self._calm:
                self._urgent -= 1
                self._calm.notify_all()

    def ahead(self, texts: Iterable[str], steps: int = 0) -> None:
        """Synthesise these in the background, in order. A failure is not told until the text is needed."""
        if self._background is None:
            self._background = threading.Thread(target=self._make_ahead, name="voice ahead", daemon=True)
            self._background.start()
        for text in texts:
            self._todo.put((text, self._stepped(steps)))

    def close(self) -> None:
        self._todo.put(None)
        self._worker.stop()

    def __enter__(self) -> Synthesiser:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _stepped(self, steps: int) -> int:
        return round(self.rate * RATE_STEP**steps)

    def _make_ahead(self) -> None:
        while (task := self._todo.get()) is not None:
            with self._calm:
                self._calm.wait_for(lambda: self._urgent == 0)
            try:
                self._samples(*task)
            except Trouble:
                continue

    def _samples(self, text: str, rate: int) -> Samples:
        text = " ".join(text.split())
        if not text:
            return silence(0)
        if len(text) > LONGEST_TEXT:
            raise Trouble(f"A prompt of {len(text)} characters is too long to speak; cut it under {LONGEST_TEXT}.")
        key = self._key(text, rate)
        samples = self._memory.get(key)
        if samples is None:
            samples = self._from_disk(key)
        if samples is None:
            with self._lock:
                samples = self._memory.get(key)  # made by the other thread while this one waited
                if samples is None:
                    samples = self._memory[key] = self._make(text, rate)
                    self.made += 1
            self._to_disk(key, samples)
        else:
            self.found += 1
        self._memory[key] = samples
        while len(self._memory) > IN_MEMORY:
            try:
                self._memory.popitem(last=False)
            except KeyError:  # the other thread was quicker
                break
        return samples

    def _key(self, text: str, rate: int) -> str:
        voice = self.voice  # asks the worker, which then knows its engine's name
        parts = json.dumps([self._worker.engine, voice, rate, LEVEL, text], ensure_ascii=False)
        return hashlib.sha256(parts.encode()).hexdigest()[:40]

    def _make(self, text: str, rate: int) -> Samples:
        """The caller holds the lock, and has looked up the voice."""
        import soundfile

        with tempfile.TemporaryDirectory(prefix="handsfree-", ignore_cleanup_errors=True) as folder:
            file = os.path.join(folder, "voice.wav")
            self._worker.ask({"do": "speak", "text": text, "file": file, "voice": self._voice, "rate": rate})
            try:
                data, made_at = soundfile.read(file, dtype="float32", always_2d=True)
            except (soundfile.LibsndfileError, RuntimeError) as fault:
                raise Trouble(f"The synthesiser wrote no readable sound; install it again with '{INSTALL}'.") from fault
        return at_level(_trimmed(to_mono(data, made_at)), LEVEL)

    def _from_disk(self, key: str) -> Samples | None:
        import soundfile

        if self._cache is None:
            return None
        place = self._cache / f"{key}.flac"
        try:
            data, rate = soundfile.read(place, dtype="float32")
            os.utime(place)
        except (OSError, RuntimeError):  # absent or damaged: made again
            return None
        return cast(Samples, data) if rate == RATE and data.ndim == 1 else None

    def _to_disk(self, key: str, samples: Samples) -> None:
        """A cache that cannot be written is no reason to stop speaking."""
        if self._cache is None or not len(samples):
            return
        try:
            self._cache.mkdir(parents=True, exist_ok=True)
            part = self._cache / f".{key}.{os.getpid()}.{threading.get_ident()}.flac"
            write_sound(part, samples)
            os.replace(part, self._cache / f"{key}.flac")
            self._prune()
        except (OSError, Trouble):
            return

    def _prune(self) -> None:
        assert self._cache is not None
        files = sorted(((p.stat().st_mtime_ns, p.stat().st_size, p) for p in self._cache.glob("*.flac")), reverse=True)
        kept = 0
        for _, size, place in files:
            kept += size
            if kept > self._cache_bytes:
                place.unlink(missing_ok=True)


def _trimmed(samples: Samples, below: float = 0.001, keep: float = 0.03) -> Samples:
    """Without the silence that synthesisers put before and after."""
    loud = np.flatnonzero(np.abs(samples) > below)
    if not len(loud):
        return samples
    margin = round(keep * RATE)
    return samples[max(0, loud[0] - margin) : loud[-1] + margin]


def _choose(wanted: str, voices: list[tuple[str, str, str]]) -> str:
    """A voice found by id, name or language, in that order, a whole match before a part; case does not matter."""
    want = wanted.lower().replace("_", "-")
    for fits in (lambda field: field == want, lambda field: field.endswith("/" + want), lambda field: want in field):
        for place in range(3):
            for voice in voices:
                if fits(str(voice[place]).lower().replace("_", "-")):
                    return voice[0]
    raise Trouble(f"This machine has no voice '{wanted}'; name a language its synthesiser speaks, such as 'en-us'.")


class _Worker:
    """The process, started when first needed and again when it fails."""

    def __init__(self, timeout: float, library: str) -> None:
        self._timeout, self._library = timeout, library
        self._process: subprocess.Popen[str] | None = None
        self._replies: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.engine: str | None = None
        self.restarts = 0

    def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """The reply; tried twice, the second time in a fresh process and, if the system's library cannot even start,
        with the bundled one."""
        fault = ""
        for _ in range(2):
            if self._process is not None and self._process.poll() is not None:
                self._failed()
            reply = self._once(request)
            if "error" not in reply:
                self.engine = reply.get("engine", self.engine)
                return reply
            fault = str(reply["error"])
            self._failed()
            if self.engine is None:
                self._library = "bundled"
        raise Trouble(f"Speech could not be made ({fault}); install the synthesiser with '{INSTALL}'.")

    def _failed(self) -> None:
        self.restarts += 1
        self.stop()

    @property
    def process_id(self) -> int | None:
        return self._process.pid if self._process is not None else None

    def stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                if pipe:
                    with suppress(OSError):  # closing flushes what was still to be written to it
                        pipe.close()

    def _once(self, request: dict[str, Any]) -> dict[str, Any]:
        try:
            process = self._running()
            assert process.stdin is not None
            process.stdin.write(json.dumps(request) + "\n")
            process.stdin.flush()
        except OSError as fault:
            return {"error": f"its process ended: {fault}"}
        try:
            line = self._replies.get(timeout=self._timeout)
        except queue.Empty:
            return {"error": f"no answer in {self._timeout:g} seconds"}
        return cast(dict[str, Any], json.loads(line)) if line else {"error": "its process ended"}

    def _running(self) -> subprocess.Popen[str]:
        if self._process is not None:
            return self._process
        environment = dict(os.environ, PYTHONIOENCODING="utf-8")
        if self._library:
            environment["HANDSFREE_VOICE_LIBRARY"] = self._library
        process = subprocess.Popen(
            [sys.executable, "-m", "handsfree.sound.voice_worker"], env=environment, text=True, encoding="utf-8",
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            start_new_session=True,  # an interrupt at the keyboard is for the visit, not for the voice
        )
        replies: queue.SimpleQueue[str] = queue.SimpleQueue()

        def pump() -> None:
            assert process.stdout is not None
            try:
                for line in process.stdout:
                    replies.put(line)
            except ValueError:  # closed under us by stop()
                pass
            replies.put("")

        threading.Thread(target=pump, name="voice replies", daemon=True).start()
        self._process, self._replies = process, replies
        return process
