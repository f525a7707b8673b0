"""A rehearsal by a person, typed or spoken: a visit that is not kept, with a map of the current place."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.authoring.map import text_map
from handsfree.dialogue.runner import Runner
from handsfree.journal.events import Stamped, StepEntered
from handsfree.procedure import phrasing
from handsfree.visit import commands
from handsfree.visit.sessions import Session, run
from handsfree.visit.state import State

if TYPE_CHECKING:
    from handsfree.authoring.asked import Rehearse


def mapped(write: Callable[[Stamped, State], None], out: Any) -> Callable[[Stamped, State], None]:
    """Prints what `write` prints, and before each step the map. A step that goes on at once, such as a decision, has no
    map: by the time it is reported the visit has passed it."""
    been: set[tuple[str, str]] = set()

    def watch(entry: Stamped, state: State) -> None:
        if isinstance(entry.event, StepEntered):
            if state.frames and state.frames[-1].step == entry.event.step:
                for line in text_map(state, been):
                    print(line, file=out)
            been.add((entry.event.path[-1], entry.event.step))
        write(entry, state)

    return watch


def interactive(asked: Rehearse) -> None:
    """Trouble for anything that keeps a visit from running."""
    with tempfile.TemporaryDirectory(prefix="handsfree-rehearsal-", ignore_cleanup_errors=True) as folder:
        visit = commands.VisitOptions(
            procedure=asked.procedure, resume=None, typed=asked.typed, sound_in=None, sound_out=None, engine=asked.engine,
            visits=Path(folder), technician=None, site=None, cabinet=None,
        )  # fmt: skip
        watch = mapped(commands.printer(sys.stdout), sys.stdout)
        state = _spoken(visit, watch) if asked.spoken else _typed(visit, watch)
    code = state.book.procedures[state.book.main].language
    print(phrasing.say(code, "rehearse-ended", outcome=phrasing.value(code, "outcome", state.outcome or "")))


def _typed(visit: commands.VisitOptions, watch: Any) -> State:
    return run(commands.opened(visit, "typed"), lambda session: commands.typed_runner(session, watch))


def _spoken(visit: commands.VisitOptions, watch: Any) -> State:
    from handsfree.visit import live

    settings = commands.settings_of(visit)
    recogniser = commands.recogniser_of(settings.engine or None, settings.language)

    def runner(session: Session) -> Runner[State]:
        made, _ = live.joined(session, visit, settings, recogniser, watch)
        return made

    return run(commands.opened(visit, recogniser.name), runner)
