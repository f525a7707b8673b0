"""Stand-by itself: starts the listener, starts visits, and restarts what failed. It touches no sound: if a sound library
fails, that breaks a process which stand-by watches, not stand-by."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from handsfree.standby import core
from handsfree.standby.core import (
    Begun,
    Deaf,
    HoldVisit,
    Listen,
    Rest,
    StandbyEffect,
    StandbyHappening,
    StandbyState,
    Wanted,
)
from handsfree.standby.unfinished import newest
from handsfree.standby.watched import Watched


@dataclass(frozen=True)
class House:
    """What stand-by is run with. `visits`: the folder where visits are kept. `visit_options`, `listener_options`: handed on.
    `raw_sound`: standard input is the microphone. `program`: the command that runs a module of this program."""

    visits: Path
    visit_options: tuple[str, ...] = ()
    listener_options: tuple[str, ...] = ()
    raw_sound: bool = False
    program: tuple[str, ...] = (sys.executable, "-m")


TellPerson = Callable[[str], None]


def stand_by(house: House, tell: TellPerson, watched: Watched, *, turns: int | None = None) -> None:
    """Stands by until a signal ends it, or for `turns` turns."""
    state = StandbyState()
    happening: StandbyHappening = _begun(house)
    while not watched.ended_by and (turns is None or turns > 0):
        state, effect = core.advance(state, happening)
        happening = _done(effect, house, tell, watched)
        turns = None if turns is None else turns - 1


def _begun(house: House) -> Begun:
    return Begun(newest(house.visits))


def _done(effect: StandbyEffect, house: House, tell: TellPerson, watched: Watched) -> StandbyHappening:
    match effect:
        case Listen(may_go_on, say):
            return _listened(house, watched, may_go_on, say)
        case HoldVisit(folder):
            words = ("--resume", str(folder)) if folder is not None else ()
            tell(f"Taking up {folder}." if folder is not None else "A visit.")
            command = [*house.program, "handsfree", "visit", *words, *house.visit_options]
            status = watched.visit(command)
            if status not in (0, 2) and not watched.ended_by:
                tell(f"The visit broke off (status {status}).")
            return _begun(house)
        case Rest(seconds, why):
            tell(f"{why or 'The listener broke off.'} Trying again in {seconds:.0f} s.")
            watched.rest(seconds)
            return _begun(house)


def _listened(house: House, watched: Watched, may_go_on: bool, say: str) -> StandbyHappening:
    ends = [] if house.raw_sound else ["--ends-with-input"]
    words = ["--say", say, *(["--may-go-on"] if may_go_on else []), *ends, *house.listener_options]
    done = watched.listener([*house.program, "handsfree.standby.listening", *words], own_input=house.raw_sound)
    said = done.stdout.strip().splitlines()
    if done.returncode == 0 and said and said[-1] in (core.START, core.GO_ON):
        return Wanted(said[-1], newest(house.visits))
    told = done.stderr.strip().splitlines()
    return Deaf(told[-1][:300] if told else "")
