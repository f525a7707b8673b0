"""What the command line asked of the procedure writer's commands."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

#: Letters of the words of the trade: what is written from them reads no more beforehand.
MOST_WORDS = 400


@dataclass(frozen=True)
class RecordOptions:
    """What the command line asked of a recording. `folder`: where the procedure is kept; `procedures` here if left out.
    `cabinet`: a cabinet's page, in its folder `cabinets`. `words`: of the trade, which are to be expected."""

    name: str
    folder: Path | None = None
    typed: bool = False
    language: str | None = None
    sound_in: str | None = None
    sound_out: str | None = None
    engine: str | None = None
    cabinet: bool = False
    words: str = ""


@dataclass(frozen=True)
class Rehearse:
    """What the command line asked of a rehearsal. `typed`, `spoken`: interactive, with a map, not kept. `most`: the most
    paths to walk."""

    procedure: str
    typed: bool = False
    spoken: bool = False
    voices: tuple[str, ...] = ()
    engine: str | None = None
    most: int | None = None
