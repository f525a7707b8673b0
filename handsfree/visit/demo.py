"""The demo's technician: recordings, spoken when the program waits for them, heard through the real recogniser.

Rules of this file:

- Only the recordings are fixed. What is understood, refused or opened comes from the engine and the machine.
- When asked again, the technician repeats it, as a person would (a second take), three times at most; then the visit
  stops unfinished.
- The clock counts the seconds of sound, so that silence takes no time. Waits use the same clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.dialogue.hearing import Hearer, utterances
from handsfree.dialogue.listening import listening_of
from handsfree.errors import Trouble
from handsfree.journal.events import Happening, KeepNote, ListenFor, Stamped
from handsfree.language.meaning import Listening
from handsfree.sound.samples import RATE, VirtualClock
from handsfree.visit.state import State

if TYPE_CHECKING:
    from handsfree.sound.samples import Samples

MOST_REPEATS = 3
THINKS = 0.6  # seconds between the end of a prompt and the first word


@dataclass(frozen=True)
class Script:
    """`says`: (step, awaiting) -> names of recordings in the order they are spoken there."""

    procedure: str
    technician: str
    site: str
    cabinet: str
    says: dict[tuple[str, str], tuple[str, ...]]
    folder: Path


def load_script(folder: Path) -> Script:
    """Trouble where the folder has no script, or the script is not one."""
    import yaml

    from handsfree import plain_yaml

    path = folder / "visit.yaml"
    try:
        data = plain_yaml.load(path.read_text(encoding="utf-8"))
        says = {(each["step"], each["awaiting"]): tuple(each["clips"]) for each in data["says"]}
        return Script(data["procedure"], data["technician"], data["site"], data["cabinet"], says, folder)
    except (OSError, yaml.YAMLError, KeyError, TypeError) as error:
        raise Trouble(f"The demo's script {path.name} cannot be read ({error}); install handsfree again.") from None


class DemoClock:
    """Wall clock and count of the record, both driven by the sound."""

    def __init__(self, clock: VirtualClock) -> None:
        self._clock = clock
        self._began = datetime.now().astimezone()

    def wall(self) -> datetime:
        return self._began + timedelta(seconds=self._clock.now())

    def mono(self) -> float:
        return self._clock.now()


class DemoEar:
    """Speaks the recording that the script has for what is awaited, and hears it. `overhears` receives each sound spoken."""

    def __init__(
        self, script: Script, hearer: Hearer, clock: VirtualClock, overhears: Callable[[Samples], None] | None = None
    ) -> None:
        self._script, self._hearer, self._clock, self._overhears = script, hearer, clock, overhears
        self._left = {where: list(clips) for where, clips in script.says.items()}
        self._last: dict[tuple[str, str], tuple[str, int]] = {}
        self._where = ("", "")
        self._listening = Listening(commands=())

    def watch(self, entry: Stamped, state: State) -> None:
        """Receives every event, to know what the program waits for."""
        self._where = (state.frames[-1].step if state.frames else "", str(state.awaiting))

    def listen(self, what: ListenFor) -> None:
        self._listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None:
        """The script has no notes."""

    def next(self, timeout: float | None) -> Happening | None:
        clip = self._choose(waits=self._where[1] == "wait")
        if clip is None:
            if timeout is None:
                raise EOFError
            self._clock.wait(timeout)
            return None
        self._clock.wait(THINKS)
        return self._hear(clip)

    def _choose(self, *, waits: bool) -> str | None:
        """The next recording for this place; if nothing new is left, the last one again, unless the program only waits."""
        left = self._left.get(self._where)
        if left:
            name = left.pop(0)
            self._last[self._where] = (name, 0)
            return name
        last = self._last.get(self._where)
        if waits or last is None:
            return None
        name, repeats = last
        if repeats >= MOST_REPEATS + _planned(self._where):
            raise EOFError
        self._last[self._where] = (name, repeats + 1)
        again = name.replace(".flac", "-again.flac")
        return again if repeats % 2 == 0 and (self._script.folder / again).is_file() else name

    def _hear(self, clip: str) -> Happening | None:
        from handsfree.sound.files import read_sound

        samples = read_sound(self._script.folder / clip)
        started = self._clock.now()
        self._clock.wait(len(samples) / RATE)
        if self._overhears is not None:
            self._overhears(samples)
        for found in utterances(samples):
            return self._hearer.hear_utterance(
                found.samples, self._listening, started + found.start_s, started + found.end_s
            )
        return None

    def close(self) -> None: ...


def _planned(where: tuple[str, str]) -> int:
    """A restore has several checks, each answered by the same words."""
    return 4 if where[1] == "restore check" else 0

