"""Stand-by itself: starts the listener, starts visits, and restarts what failed. It touches no sound: if a sound library
fails, that breaks a process which stand-by watches, not stand-by."""

from __future__ import annotations

import subprocess
import sys
import time
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


@dataclass(frozen=True)
class House:
    """What stand-by is run with. `visits`: the folder where visits are kept. `visit_options`, `listener_options`: handed on.
    `program`: the command that runs a module of this program."""

    visits: Path
    visit_options: tuple[str, ...] = ()
    listener_options: tuple[str, ...] = ()
    program: tuple[str, ...] = (sys.executable, "-m")


TellPerson = Callable[[str], None]


def stand_by(
    house: House, tell: TellPerson, *, turns: int | None = None, sleep: Callable[[float], None] = time.sleep
) -> None:
    """Stands by until interrupted, or for `turns` turns."""
    state = StandbyState()
    happening: StandbyHappening = _begun(house)
    while turns is None or turns > 0:
        state, effect = core.advance(state, happening)
        happening = _done(effect, house, tell, sleep)
        turns = None if turns is None else turns - 1


def _begun(house: House) -> Begun:
    return Begun(newest(house.visits))


def _done(effect: StandbyEffect, house: House, tell: TellPerson, sleep: Callable[[float], None]) -> StandbyHappening:
    match effect:
        case Listen(may_go_on, say):
            return _listened(house, may_go_on, say)
        case HoldVisit(folder):
            words = ("--resume", str(folder)) if folder is not None else ()
            tell(f"Taking up {folder}." if folder is not None else "A visit.")
            command = [*house.program, "handsfree", "visit", *words, *house.visit_options]
            status = subprocess.run(command, check=False).returncode
            if status not in (0, 2):
                tell(f"The visit broke off (status {status}).")
            return _begun(house)
        case Rest(seconds, why):
            tell(f"{why or 'The listener broke off.'} Trying again in {seconds:.0f} s.")
            sleep(seconds)
            return _begun(house)


def _listened(house: House, may_go_on: bool, say: str) -> StandbyHappening:
    words = ["--say", say, *(["--may-go-on"] if may_go_on else []), *house.listener_options]
    command = [*house.program, "handsfree.standby.listening", *words]
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    said = done.stdout.strip().splitlines()
    if done.returncode == 0 and said and said[-1] in (core.START, core.GO_ON):
        return Wanted(said[-1], newest(house.visits))
    told = done.stderr.strip().splitlines()
    return Deaf(told[-1][:300] if told else "")
