"""Trying sound devices in a process of its own, before the visit's process touches one.

PortAudio keeps the last error in one variable for all its threads. An opening that fails while another stream runs can
therefore read "no error"; then the process dies of a segmentation fault or waits for ever. (Seen with 19.6 on Debian: once
each in the first four losses of both devices with another in their place.) So a device is first opened, started and closed
in this process; the visit's process opens only what worked.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from typing import Any

from handsfree.errors import Trouble
from handsfree.sound.cards import DEAF, OPENING, Device, Direction, StreamShape, device_number, every_device, library, shapes

PATIENT = 20.0  # s for the whole of it


@dataclass(frozen=True)
class Found:
    """`names`: every device there is at this moment; `name`, `shape`: the first that worked; `fault`: why none did."""

    names: tuple[str, ...]
    name: str | None = None
    shape: StreamShape | None = None
    fault: str = ""


def tried(
    way: Direction, wanted: list[str | None], anything: bool, shape: StreamShape | None, latency: float
) -> Found | None:
    """Tries those `wanted` in turn (as `cards.device_number` takes them; None is the system's choice), then, for `anything`,
    every other that carries sound. None where the trial itself did not end."""
    order = json.dumps({"way": way, "wanted": wanted, "anything": anything, "shape": shape, "latency": latency})
    try:
        done = subprocess.run(
            [sys.executable, "-m", __name__, order], capture_output=True, stdin=subprocess.DEVNULL, timeout=PATIENT,
            check=True,
        )
        told = json.loads(done.stdout)
        shape_found = (int(told["shape"][0]), int(told["shape"][1])) if told["shape"] else None
        return Found(tuple(told["names"]), told["name"], shape_found, told["fault"])
    except (OSError, subprocess.SubprocessError, ValueError, KeyError, TypeError):
        return None


def _works(device: Device, way: Direction, shape: StreamShape, latency: float) -> str:
    """'' where it opens, else why not."""
    sd = library()
    fault = ["it does not answer"]

    def work() -> None:
        kind = sd.RawInputStream if way == "input" else sd.RawOutputStream
        try:
            stream = kind(
                device=device.number, samplerate=shape[0], channels=shape[1], dtype="float32", latency=latency
            )
            stream.start()
            stream.abort()
            stream.close()
            fault[0] = ""
        except (sd.PortAudioError, ValueError) as trouble:
            fault[0] = str(trouble).splitlines()[0]

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(OPENING)
    return fault[0]


def _numbers(way: Direction, wanted: list[str | None], anything: bool) -> tuple[list[int], str]:
    numbers: list[int] = []
    fault = ""
    for one in wanted:
        try:
            numbers.append(device_number(one, way))
        except Trouble as trouble:
            fault = str(trouble)
    if anything:
        numbers += [
            d.number for d in every_device()
            if (d.inputs if way == "input" else d.outputs) and not any(deaf in d.name.lower() for deaf in DEAF)
        ]
    return list(dict.fromkeys(numbers)), fault


def _main(order: dict[str, Any]) -> dict[str, Any]:
    way: Direction = order["way"]
    all_devices = every_device()
    told: dict[str, Any] = {"names": [d.name for d in all_devices], "name": None, "shape": None}
    numbers, told["fault"] = _numbers(way, order["wanted"], order["anything"])
    for number in numbers:
        device = all_devices[number]
        for shape in [tuple(order["shape"])] if order["shape"] else shapes(device, way):
            fault = _works(device, way, shape, order["latency"])
            if not fault:
                return {**told, "name": device.name, "shape": shape, "fault": ""}
            told["fault"] = fault
            if fault == "it does not answer":
                break
    return told


if __name__ == "__main__":
    print(json.dumps(_main(json.loads(sys.argv[1]))), flush=True)
    os._exit(0)  # an opening that hangs must not keep the answer
