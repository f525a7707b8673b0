"""The status screen: for a glance from two metres, with both hands in the cabinet.

Nothing on it is needed: all of it is also spoken. What matters most is largest: whether the supply is isolated, in words, on
a band across the whole screen; then the step; then what may be said. Words, not colour alone, carry every meaning (WCAG 2.2,
1.4.1): colours are for those who see them.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from handsfree.sound.levels import QUIETEST

#: Interlock state -> (words, style). Shown as given where it is none of these.
BANDS: dict[str, tuple[str, str]] = {
    "LIVE": ("POWER ON", "bold white on #8a1c1c"),
    "ISOLATING": ("NOT YET OFF", "bold black on #d9a400"),
    "ISOLATED": ("ISOLATED", "bold white on #14532d"),
    "RESTORING": ("HANDS CLEAR", "bold black on #d9a400"),
}
#: Five rows of five for each letter that the bands use; a word with another letter is shown in ordinary type.
LETTERS = {
    "A": ".###. #...# ##### #...# #...#", "C": ".#### #.... #.... #.... .####", "D": "####. #...# #...# #...# ####.",
    "E": "##### #.... ####. #.... #####", "F": "##### #.... ####. #.... #....", "H": "#...# #...# ##### #...# #...#",
    "I": "##### ..#.. ..#.. ..#.. #####", "L": "#.... #.... #.... #.... #####", "N": "#...# ##..# #.#.# #..## #...#",
    "O": ".###. #...# #...# #...# .###.", "P": "####. #...# ####. #.... #....", "R": "####. #...# ####. #..#. #...#",
    "S": ".#### #.... .###. ....# ####.", "T": "##### ..#.. ..#.. ..#.. ..#..", "W": "#...# #...# #.#.# ##.## #...#",
    "Y": "#...# .#.#. ..#.. ..#.. ..#..", " ": "... ... ... ... ...",
}
VERDICTS: dict[str, tuple[str, str]] = {
    "accepted": ("taken", "bold green"),
    "asked again": ("say it again", "bold yellow"),
    "not for me": ("not for me", "dim"),
}
QUIET, LOUD = -60.0, -6.0  # dB: the ends of the meter


@dataclass(frozen=True)
class Status:
    """What the screen shows. `phrases`: in force; `level`: dB full scale; `heard`, `verdict`: of the last utterance.
    `typing`: the line that is being typed."""

    step: str = ""
    phrases: tuple[str, ...] = ()
    interlock: str = "LIVE"
    level: float = QUIETEST
    speaking: bool = False
    heard: str = ""
    verdict: str = ""
    notice: str = field(default="")
    typing: str = ""


def large(words: str, width: int) -> list[str]:
    """The words five rows high; or in one row, spaced if they fit, where they are too long or a letter is missing."""
    upper = words.upper()
    glyphs = [LETTERS[letter].split() for letter in upper if letter in LETTERS]
    rows = ["  ".join(glyph[row] for glyph in glyphs).replace("#", "█").replace(".", " ") for row in range(5)]
    if len(glyphs) == len(upper) and len(rows[0]) <= width - 2:
        return rows
    wide = " ".join(upper)
    return [wide if len(wide) + 4 <= width else upper]


def band(status: Status, width: int) -> RenderableType:
    words, style = BANDS.get(status.interlock, (status.interlock, "bold reverse"))
    rows = ["", *large(words, width), ""]
    return Group(*(Text(row.center(width), style=style) for row in rows))


def meter(level: float, speaking: bool, width: int) -> Text:
    """Blocks from quiet to loud, with the word for it."""
    share = min(1.0, max(0.0, (level - QUIET) / (LOUD - QUIET)))
    size = max(10, width - 14)
    full = round(share * size)
    word = "too loud" if level > LOUD else "hearing you" if speaking else "listening"
    bar = Text("█" * full, style="bold red" if level > LOUD else "bold cyan")
    return bar + Text("░" * (size - full), style="dim") + Text(f"  {word}", style="bold")


def render(status: Status, width: int) -> RenderableType:
    inner = max(20, width - 4)
    heard = Text(f"“{status.heard}”  " if status.heard else "nothing yet  ", style="bold")
    word, style = VERDICTS.get(status.verdict, (status.verdict, ""))
    parts: list[RenderableType] = [
        band(status, width),
        Padding(Text(status.step or "…", style="bold", justify="left"), (1, 2)),
        Padding(meter(status.level, status.speaking, inner), (0, 2)),
        Padding(_phrases(status.phrases, inner), (1, 2)),
        Padding(Text("heard  ", style="dim") + heard + Text(word, style=style), (0, 2)),
    ]
    if status.notice:
        parts.append(Padding(Text(status.notice, style="bold reverse"), (1, 2)))
    if status.typing:
        parts.append(Padding(Text(f"> {status.typing}", style="bold"), (0, 2)))
    return Group(*parts)


def _phrases(phrases: tuple[str, ...], width: int) -> RenderableType:
    if not phrases:
        return Text("say: what can I say", style="dim")
    columns = max(1, min(3, len(phrases), width // (max(map(len, phrases)) + 6)))
    grid = Table.grid(padding=(0, 4))
    for _ in range(columns):
        grid.add_column(no_wrap=True)
    for first in range(0, len(phrases), columns):
        row = phrases[first : first + columns]
        grid.add_row(*(Text(f"› {phrase}", style="bold") for phrase in row))
    return Group(Text("you can say", style="dim"), grid)


class Screen:
    """A context manager. `show(step=…, level=…)` changes what is shown; everything else stays as it was. On a terminal that
    cannot redraw, or where output is not one, nothing is shown and nothing breaks."""

    def __init__(self, console: Console | None = None) -> None:
        self._console = console or Console()
        self._status = Status()
        self._live: Live | None = None
        self._lock = threading.Lock()

    def __enter__(self) -> Screen:
        if self._console.is_terminal:
            self._live = Live(console=self._console, screen=True, auto_refresh=False, redirect_stderr=True)
            self._live.start()
            self._draw()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    @property
    def status(self) -> Status:
        return self._status

    def show(self, **changes: Any) -> None:
        """TypeError for what the screen does not have."""
        with self._lock:  # the level meter runs in another thread: neither may undo what the other has changed
            new = replace(self._status, **changes)
            if new != self._status:
                self._status = new
                self._draw()

    def _draw(self) -> None:
        if self._live is not None:
            self._live.update(render(self._status, self._console.width), refresh=True)
