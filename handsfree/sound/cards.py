"""What sound devices there are, and finding one by its name."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Any, Literal

from handsfree.errors import Trouble
from handsfree.sound.samples import RATE

Direction = Literal["input", "output"]
StreamShape = tuple[int, int]  # rate in Hz, channels

OPENING = 3.0  # s that a device may take to open or to close
#: Names that carry no sound to a person.
DEAF = ("null", "dummy", "auto_null")

INSTALL = {
    "linux": "sudo apt install libportaudio2",
    "darwin": "brew install portaudio",
    "win32": "pip install --force-reinstall sounddevice",
}
NO_PORTAUDIO = (
    "The sound library PortAudio is missing; install it with '{}', or give a sound file to --sound-in and --sound-out."
)


@dataclass(frozen=True)
class Device:
    """`inputs`, `outputs`: channels; `rate`: the one it prefers; `usual`: 'input', 'output', both or neither."""

    number: int
    name: str
    system: str
    inputs: int
    outputs: int
    rate: float
    usual: str


def library() -> Any:
    """The `sounddevice` module. Trouble with the command that installs PortAudio where it is missing."""
    try:
        import sounddevice
    except (OSError, ImportError) as fault:
        raise Trouble(NO_PORTAUDIO.format(INSTALL.get(sys.platform, INSTALL["linux"]))) from fault
    return sounddevice


def every_device() -> list[Device]:
    """Every device PortAudio saw when it started."""
    sd = library()
    systems = [api["name"] for api in sd.query_hostapis()]
    default_in, default_out = sd.default.device
    return [
        Device(
            number, d["name"], systems[d["hostapi"]], d["max_input_channels"], d["max_output_channels"],
            d["default_samplerate"],
            " and ".join(way for way, usual in (("input", default_in), ("output", default_out)) if usual == number),
        )
        for number, d in enumerate(sd.query_devices())
    ]


def device_number(wanted: str | None, way: Direction) -> int:
    """Number of the device called `wanted` (its number, name, or a part of its name), or the system's choice for None.
    Trouble where there is none, or where a part fits several."""
    having = [d for d in every_device() if (d.inputs if way == "input" else d.outputs) > 0]
    noun = "microphone" if way == "input" else "loudspeaker"
    if not having:
        raise Trouble(f"This machine has no {noun}; plug one in, or give a sound file to --sound-{way[:-3]}.")
    if wanted is None:
        usual = [d for d in having if way in d.usual]
        return (usual or having)[0].number
    whole = [d for d in having if wanted.lower() in (str(d.number), d.name.lower())]
    part = whole or [d for d in having if wanted.lower() in d.name.lower()]
    if not part:
        raise Trouble(f"There is no {noun} called '{wanted}'; 'handsfree sound' lists them.")
    if len(part) > 1 and not whole:
        raise Trouble(f"'{wanted}' matches {len(part)} devices ({part[0].name}, {part[1].name}…); give more of its name.")
    return part[0].number


def shapes(device: Device, way: Direction) -> list[StreamShape]:
    """The shapes to try, the program's own first."""
    most = device.inputs if way == "input" else device.outputs
    rates = [RATE, round(device.rate), 48_000, 44_100]
    wanted = [(rate, channels) for rate in rates for channels in (1, 2) if channels <= most]
    return list(dict.fromkeys(wanted))
