"""Happenings other than speech: a note, a photo, a device lost or back, the clock. `journal.events` lists them too."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class NoteKept:
    """`text`: as it was dictated or typed. `alarm`: the command that it may have been instead (the power is on, or somebody
    needs help); '' for none."""

    clip: str
    clip_sha256: str
    text: str = ""
    seconds: float = 0.0
    alarm: str = ""


@dataclass(frozen=True)
class Attached:
    """A file beside the record. From a logger's or a clamp meter's file the visit takes: `rows`, (minute of the visit,
    degrees Celsius), from before it began; `hours`; `share` of the time that the compressor ran, -1 if the file does not
    say; `starts`. `amiss`: why the values in the file do not count, '' if they count, or for a photo."""

    step: str
    file: str
    sha256: str
    rows: tuple[tuple[float, float], ...] = ()
    hours: float = 0.0
    share: float = -1.0
    starts: int = 0
    amiss: str = ""


@dataclass(frozen=True)
class SoundLost:
    device: str
    what: str  # 'microphone' or 'loudspeaker'


@dataclass(frozen=True)
class SoundBack:
    device: str
    what: str


@dataclass(frozen=True)
class SoundDropped:
    """Samples at 16 kHz that the device lost; `speech`: someone was speaking."""

    samples: int
    speech: bool


@dataclass(frozen=True)
class ClockMoved:
    """The wall clock jumped by `seconds` against the monotonic one."""

    seconds: float
