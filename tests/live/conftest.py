"""A sound card made of software: PulseAudio with a null sink as the loudspeaker and its monitor as the microphone.

The program sees ordinary PortAudio devices (through ALSA's pulse plug-in): 'booth out' and 'booth in', and a second pair,
'spare out' and 'spare in', whose sink is loaded only by tests that want another device. Everything lives in a folder of
its own: nothing of the machine's own sound is touched. PortAudio reads its configuration once a process, so the server is
started once a session and the environment set before `sounddevice` is first imported.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import pytest

LOUDSPEAKER, MICROPHONE = "booth out", "booth in"
ASOUND = """
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
pcm."booth out" { type pulse device "booth" }
pcm."booth in" { type pulse device "booth.monitor" }
pcm."spare out" { type pulse device "spare" }
pcm."spare in" { type pulse device "spare.monitor" }
"""


Given = TypeVar("Given")


@dataclass
class Booth:
    """The running server. `sink(name)` loads a null sink, `remove(name)` unloads it."""

    environment: dict[str, str]
    modules: dict[str, str] = field(default_factory=dict)
    listeners: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def control(self, *words: str) -> str:
        done = subprocess.run(["pactl", *words], env=self.environment, capture_output=True, text=True, check=True)
        return done.stdout.strip()

    def sink(self, name: str, rate: int = 48_000) -> None:
        """An idle null sink wakes only every two seconds; somebody who listens all the time keeps it as quick as a card."""
        self.modules[name] = self.control("load-module", "module-null-sink", f"sink_name={name}", f"rate={rate}")
        self.listeners.append(
            subprocess.Popen(
                ["parec", f"--device={name}.monitor", "--latency-msec=20"], env=self.environment,
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )
        )
        time.sleep(0.3)

    def remove(self, name: str) -> None:
        self.control("unload-module", self.modules.pop(name))


PULSE = """
import sys, threading, time
latest, beats = [0.0], [0]
def asked():
    for _ in sys.stdin:
        asked_at = beats[0]
        while beats[0] < asked_at + 2:  # what has just stood still must have woken, however busy the machine is
            time.sleep(0.002)
        told, latest[0] = latest[0], 0.0  # before it is told: who hears it may stop this process at once
        print(told, flush=True)
threading.Thread(target=asked).start()
print("ready", flush=True)
while threading.active_count() > 1:
    slept = time.monotonic()
    time.sleep(0.005)
    latest[0] = max(latest[0], time.monotonic() - slept - 0.005)
    beats[0] += 1
"""


class Pulse:
    """A process that only sleeps, and how late it woke: what holds up the program under test, its interpreter among it, does
    not hold up this one."""

    LATE = 0.1  # s: as much as a stream has in store (`devices.LATENCY`); later, and the sound of any program is torn

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", PULSE], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self._line()

    def _line(self) -> str:
        assert self.process.stdout
        return self.process.stdout.readline()

    def latest(self) -> float:
        """Seconds, at most since this was last asked."""
        assert self.process.stdin
        self.process.stdin.write("\n")
        self.process.stdin.flush()
        return float(self._line())

    def close(self) -> None:
        self.process.communicate(timeout=10)


def undisturbed(attempt: Callable[[], Given], pulse: Pulse, times: int = 3, torn: Callable[[], int] = int) -> Given:
    """What `attempt` gives. One whose assertion failed is made again, `times` in all, where the machine stood still
    meanwhile, as a shared one does now and then, or where `torn`, a count, went up. Else the first failure is the test's.
    What must never be, wherever the sound was torn, is asserted outside of it."""
    for _ in range(times - 1):
        pulse.latest()
        before = torn()
        try:
            return attempt()
        except AssertionError as fault:
            late = pulse.latest()
            if late < Pulse.LATE and torn() == before:
                raise
            warnings.warn(f"made again, for the machine stood still for {late:.2f} s: {fault}", stacklevel=2)
    return attempt()


@pytest.fixture(scope="session")
def pulse() -> Iterator[Pulse]:
    one = Pulse()
    yield one
    one.close()


@pytest.fixture(scope="session")
def _server() -> Iterator[Booth]:
    yield from started()


def started() -> Iterator[Booth]:
    """The server, for as long as the generator lives."""
    if not sys.platform.startswith("linux") or not shutil.which("pulseaudio") or not shutil.which("pactl"):
        pytest.skip("needs PulseAudio: apt-get install pulseaudio libasound2-plugins libportaudio2")
    assert "sounddevice" not in sys.modules, "PortAudio has started before its sound card was there"
    folder = Path(tempfile.mkdtemp(prefix="booth-"))
    (folder / "asound.conf").write_text(ASOUND)
    settings = {
        "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder), "PULSE_RUNTIME_PATH": str(folder / "run"),
        "PULSE_SERVER": f"unix:{folder}/socket", "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
    }
    process = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--system=false", "--exit-idle-time=-1", "--disable-shm=yes",
         "-L", f"module-native-protocol-unix socket={folder}/socket"],
        env={**os.environ, **{k: v for k, v in settings.items() if k != "PULSE_SERVER"}},
        stdout=subprocess.DEVNULL, stderr=(folder / "log").open("w"),
    )
    booth = Booth({**os.environ, **settings})
    for _ in range(100):
        time.sleep(0.05)
        if (folder / "socket").exists():
            break
    old = {key: os.environ.get(key) for key in ("PULSE_SERVER", "ALSA_CONFIG_PATH")}
    os.environ.update({key: settings[key] for key in old})
    try:
        booth.sink("booth")
        yield booth
    finally:
        for key, value in old.items():
            if value is None:
                os.environ.pop(key)
            else:
                os.environ[key] = value
        for one in (*booth.listeners, process):
            one.terminate()
            one.wait(5)
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def booth(_server: Booth) -> Iterator[Booth]:
    """The sound card with the one sink, whatever the test before did to it."""
    if "booth" not in _server.modules:
        _server.sink("booth")
    yield _server
    if "spare" in _server.modules:
        _server.remove("spare")
