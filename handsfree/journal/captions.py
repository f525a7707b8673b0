"""The sound of a whole visit in one file, with WebVTT captions (W3C): any player then shows what was said when.

Rules of this file:

- The technician's clips are as recorded. `voice` speaks the program's words again, because the record keeps only the words;
  without a voice they are silence as long as a reader needs.
- Overlapping speech is played one after the other; a pause longer than `LONGEST_GAP` is cut to that. Each caption carries
  the visit's own time, so the order and the hour are kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Trouble
from handsfree.journal.account import Account
from handsfree.journal.events import Utterance
from handsfree.journal.replay import Voice
from handsfree.journal.rows import Row, clock
from handsfree.outputs import save, save_by

RATE = 16_000
LONGEST_GAP = 3.0
#: Characters a second that a reader of captions keeps up with: common practice, no source.
READING_SPEED = 15.0
_SHOWN = ("gate", "reading", "finding", "clock moved", "resumed", "sound lost", "sound removed", "closed")


@dataclass(frozen=True)
class Cue:
    """Seconds in the sound file; `speaker`: Program, Technician or Record."""

    begin: float
    end: float
    speaker: str
    text: str
    at: float


def write(account: Account, flac: Path, voice: Voice | None = None) -> Path:
    """Write the sound to `flac` and the captions beside it; the captions' file. Trouble where they cannot be written."""
    import soundfile

    vtt = flac.with_suffix(".vtt")
    cues: list[Cue] = []

    def fill(path: Path) -> None:
        try:
            with soundfile.SoundFile(path, "w", RATE, 1, "PCM_16", format="FLAC") as out:
                for samples, cue in pieces(account, voice):
                    if samples is not None:
                        out.write(samples)
                    if cue is not None:
                        cues.append(cue)
        except soundfile.LibsndfileError as error:  # of the file written: what cannot be read is Trouble already
            raise OSError(str(error.error_string).rstrip(".").lower()) from None

    save_by(flac, fill)
    save(vtt, lambda: webvtt(cues).encode())
    return vtt


def pieces(account: Account, voice: Voice | None) -> Iterator[tuple[Any, Cue | None]]:
    """Samples to write one after the other, and the cue of each."""
    heard = {entry.n: entry.event for entry in account.entries if isinstance(entry.event, Utterance)}
    place, last = 0.0, 0.0  # in the file; on the visit's clock
    for row in account.rows:
        if row.who == "record":
            if row.what in _SHOWN:
                yield None, Cue(place, place + 2.5, "Record", row.text, row.at)
            continue
        samples = _samples(account.folder, row, voice)
        seconds = len(samples) / RATE
        event = heard.get(row.n)
        begin = row.at if event is None or not event.ended else event.started
        gap = min(max(begin - last, 0.0), LONGEST_GAP)
        if gap:
            yield np.zeros(round(gap * RATE), np.float32), None
        place += round(gap * RATE) / RATE
        yield samples, Cue(place, place + seconds, row.who.capitalize(), row.text, begin)
        place, last = place + seconds, max(begin, last) + seconds


def _samples(folder: Path, row: Row, voice: Voice | None) -> Any:
    if row.clip and (folder / row.clip).is_file():
        import soundfile

        try:
            samples, rate = soundfile.read(folder / row.clip, dtype="float32", always_2d=True)
        except (soundfile.LibsndfileError, ValueError) as error:
            why = f"{folder / row.clip} is not readable sound ({error}); run 'handsfree verify {folder}'."
            raise Trouble(why, 3) from None
        if rate == RATE:
            return samples[:, 0]
    if row.what == "said" and voice is not None:
        return np.asarray(voice(row.text), np.float32)
    return np.zeros(round((0.8 + len(row.text) / READING_SPEED) * RATE), np.float32)


def webvtt(cues: list[Cue]) -> str:
    out = ["WEBVTT", ""]
    for number, cue in enumerate(cues, 1):
        place = " line:10%" if cue.speaker == "Record" else ""
        text = " ".join(cue.text.split()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        times = f"{_time(cue.begin)} --> {_time(max(cue.end, cue.begin + 0.001))}{place}"
        out += [str(number), times, f"[{clock(cue.at)}] <v {cue.speaker}>{text}", ""]
    return "\n".join(out)


def _time(seconds: float) -> str:
    thousandths = round(seconds * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}.{rest % 1000:03d}"
