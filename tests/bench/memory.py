"""Memory and start-up of a visit by sound.

    python -m tests.bench.memory [--engine pocketsphinx] [--minutes 2] [--python PYTHON] [--json] [--out FILE]

`handsfree visit` runs in a process of its own on the sound card of software (tests/live/conftest.py), a procedure that asks,
reads and goes round (invented); this process plays speech at it. Given: resident memory every ten seconds and the most it
was; from the start of the process to its first listening on the record; and what the engine alone takes to load, in a
process that does nothing else: the visit should take at most a second more. An engine that hears the lock number badly would
never come past it, so the visit is begun from the keyboard, cut off, and taken up by sound.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tests.bench.reported import Row, arguments, reported

PROCEDURE = """
procedure: round
title: Round and round
version: 1
purpose: Something to say, to ask and to read, for as long as it takes. Invented.
steps:
  - id: fan
    kind: ask
    say: Is the evaporator fan running? Say running, standing still, or cannot see it.
    answers: {running: {go: air}, standing still: {go: air}, cannot see it: {go: air}}
  - id: air
    kind: read
    say: How warm is the air that comes out, in degrees Fahrenheit?
    quantity: air temperature
    unit: degF
    plausible: [20, 120]
  - id: condenser
    kind: ask
    say: Look at the condenser at the back. Is it clean, dusty, or blocked?
    answers: {clean: {go: round}, dusty: {go: round}, blocked: {go: round}}
  - id: round
    kind: ask
    say: You can say once more, or that is enough.
    answers: {once more: {go: fan}, that is enough: {go: end}}
  - id: end
    kind: end
    say: That was all.
    outcome: done
"""
SAID = (
    "running", "next step", "forty three point five", "say again", "dusty", "where am I", "once more", "stand by",
    "go ahead", "Can somebody move the van, it is blocking the whole entrance.", "standing still", "fifty one", "clean",
    "how long", "go back",
)
VISIT = ("-m", "handsfree", "visit")
LOAD = """
import sys, time
from handsfree.visit.commands import recogniser_of
for engine in recogniser_of(sys.argv[1] or None, "en").engines:
    getattr(engine, "load", lambda: None)()
print(f"processor {time.process_time():.2f} s")
"""


def begun_by_keyboard(place: Path, python: str) -> Path:
    """A visit that knows its lock number and stands at its first question; cut off there."""
    (place / "round.yaml").write_text(PROCEDURE, encoding="utf-8")
    words = [python, *VISIT, str(place / "round.yaml"), "--typed", "--visits", str(place / "visits")]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin
        assert process.stdout
        process.stdin.write("seven three nine\naffirm\n")
        process.stdin.flush()
        for line in process.stdout:
            if "evaporator fan" in line:
                break
        process.kill()
    return next((place / "visits").iterdir())


def listening_since(folder: Path, before: int) -> bool:
    """The visit has said on its record what it listens for, after the first `before` lines."""
    return any('"ListenFor"' in line for line in record_of(folder)[before:])


def record_of(folder: Path) -> list[str]:
    return (folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()


def speak(out: Any, place: Path, until: float) -> None:
    import itertools

    from handsfree.sound.prompts import Prompt
    from tests.bench.soak import VOICES, voice

    for number, text in enumerate(itertools.cycle(SAID)):
        if time.monotonic() > until:
            return
        out.play(Prompt(0, "", voice(text, VOICES[number % len(VOICES)], place)))
        out.drain(30)
        time.sleep(1.5)


def measure(place: Path, engine: str, minutes: float, python: str) -> Iterator[Row]:
    import psutil

    from handsfree.sound.loudspeaker import Loudspeaker
    from handsfree.sound.samples import RealClock
    from tests.live.conftest import LOUDSPEAKER, MICROPHONE

    folder = begun_by_keyboard(place, python)
    before, begun = len(record_of(folder)), time.monotonic()
    subprocess.run([python, "-c", LOAD, engine], check=True)
    yield {"what": "the engine loaded, in a process of its own", "seconds": round(time.monotonic() - begun, 2)}
    out = Loudspeaker(LOUDSPEAKER, RealClock(), lambda _: None)
    words = [python, *VISIT, "--resume", str(folder), "--sound-in", MICROPHONE, "--sound-out", LOUDSPEAKER]
    begun = time.monotonic()
    process = subprocess.Popen([*words, *(["--engine", engine] if engine else [])], stdout=subprocess.DEVNULL)
    try:
        me, peak = psutil.Process(process.pid), 0.0
        while not listening_since(folder, before) and process.poll() is None:
            time.sleep(0.02)
        work = me.cpu_times()
        passed = time.monotonic() - begun
        yield {"what": "the visit listening", "seconds": round(passed, 2), "processor_s": round(work.user + work.system, 2)}
        until = time.monotonic() + 60 * minutes
        threading.Thread(target=speak, args=(out, place, until), daemon=True).start()
        while time.monotonic() < until and process.poll() is None:
            time.sleep(10)
            voices = sum(child.memory_info().rss for child in me.children(recursive=True)) / 1e6
            peak = max(peak, highest(process.pid))
            yield {
                "what": "resident", "seconds": round(time.monotonic() - begun), "mb": round(me.memory_info().rss / 1e6),
                "peak_mb": round(peak), "its_voice_mb": round(voices),
            }  # fmt: skip
    finally:
        process.terminate()
        process.wait(20)
        out.close()
    heard = [line for line in record_of(folder)[before:] if '"Utterance"' in line]
    accepted = sum("accepted" in line for line in heard)
    yield {"what": "the whole visit", "peak_mb": round(peak), "utterances": len(heard), "accepted": accepted}


def highest(pid: int) -> float:
    """MB resident at the most, so far (Linux); 0 where the process has ended."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0.0
    return next((float(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM")), 0.0)


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--engine", default="", help="'' for the best that is installed")
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--python", default=sys.executable, help="of an install without the extras, as a technician has it")
    asked = parser.parse_args()

    def measured(place: Path) -> Iterator[Row]:
        return measure(place, asked.engine, asked.minutes, asked.python)

    return reported("tests.bench.memory", asked, lambda: on_a_sound_card(measured))


def on_a_sound_card(measured: Callable[[Path], Iterator[Row]]) -> Iterator[Row]:
    """Rows measured on the sound card of software, with a folder of their own."""
    from tests.live import conftest

    server = conftest.started()
    next(server)
    try:
        with tempfile.TemporaryDirectory() as place:
            for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
                os.environ[name] = place
            yield from measured(Path(place))
    finally:
        next(server, None)


if __name__ == "__main__":
    sys.exit(main())
