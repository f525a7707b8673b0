"""The status screen of a visit: fed from its events, and from the live loop's meter."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from handsfree.journal.events import Say, Stamped, Utterance
from handsfree.journal.private import shown_words
from handsfree.visit.questions import listening
from handsfree.visit.state import State

if TYPE_CHECKING:
    from handsfree.sound.live import LiveLoop
    from handsfree.sound.screen import Screen

METER_EVERY = 0.15  # seconds


class Glance:
    """A watcher of the runner. `meter` follows the microphone until `close`."""

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self._over = threading.Event()

    def __call__(self, entry: Stamped, state: State) -> None:
        event = entry.event
        if isinstance(event, Say):
            self._screen.show(step=event.text) if event.role in ("step", "caution") else self._screen.show(notice=event.text)
        elif isinstance(event, Utterance):
            self._screen.show(heard=shown_words(event), verdict=event.verdict, notice="")
        self._screen.show(interlock=str(state.interlock.power), phrases=_in_force(state))

    def typing(self, words: str) -> None:
        self._screen.show(typing=words)

    def meter(self, loop: LiveLoop) -> None:
        def follow() -> None:
            while not self._over.wait(METER_EVERY):
                self._screen.show(level=loop.level, speaking=loop.speaking)

        threading.Thread(target=follow, name="level meter", daemon=True).start()

    def close(self) -> None:
        self._over.set()


def _in_force(state: State) -> tuple[str, ...]:
    """This step's own phrases; people know by heart the ones that always work."""
    now = listening(state)
    words = state.language.prompt
    return (
        *now.phrases,
        *((words("a-lock-number"),) if now.digits is not None else ()),
        *((words("a-reading"),) if now.number is not None else ()),
        *((words(f"a-gate-{now.gate.word}"),) if now.gate is not None else ()),
    )
