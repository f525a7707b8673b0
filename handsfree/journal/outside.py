"""Happenings beside what is said: a note, a photo, a device lost or back, the clock. Among `journal.events`, too."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class NoteKept:
    """`text`: as it was dictated or typed. `alarm`: the command that it was likely to be besides, that the power is on or
    that somebody needs help; '' for none."""

    clip: str
    clip_sha256: str
    text: str = ""
    seconds: float = 0.0
    alarm: str = ""


@dataclass(frozen=True)
class Attached:
    """A file beside the record. Of a logger's or a clamp meter's file, what the visit takes from it: `rows`, (minute of the
    visit, degrees Celsius) before it began; `hours`; `share` of the time that the compressor ran, -1 where it does not say;
    `starts`. `amiss`: why a file of values counts for nothing, '' where it counts, or is a photo."""

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
