"""Visits made for the tests of the journal, and strategies for events. The visit is invented, like the Hochgrat Mountain
Railway."""

from __future__ import annotations

import dataclasses
import types
import typing
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any, Union, get_args, get_origin

import numpy as np
from hypothesis import strategies as st

from handsfree.journal import events as ev
from handsfree.journal.clock import JournalClock
from handsfree.journal.disk import Disk
from handsfree.journal.keys import DeviceKey
from handsfree.journal.reader import read
from handsfree.journal.writer import Journal, flac


def read_list(visit: Path) -> list[ev.Stamped]:
    return list(read(visit))


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
FLOAT = st.floats(allow_nan=False, allow_infinity=False)
INT = st.integers(-(2**53) + 1, 2**53 - 1)


def strategy(hint: Any) -> st.SearchStrategy[Any]:
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return st.none() | strategy(next(a for a in args if a is not type(None)))
    if origin is tuple and len(args) == 2 and args[1] is Ellipsis:
        return st.lists(strategy(args[0]), max_size=3).map(tuple)
    if origin is tuple:
        return st.tuples(*(strategy(arg) for arg in args))
    return {str: TEXT, float: FLOAT, int: INT, bool: st.booleans()}[hint]


def event_of(kind: type[Any]) -> st.SearchStrategy[Any]:
    hints = typing.get_type_hints(kind)
    return st.builds(kind, **{f.name: strategy(hints[f.name]) for f in dataclasses.fields(kind)})


EVENTS = st.sampled_from(sorted(ev.KINDS)).flatmap(lambda name: event_of(ev.KINDS[name]))


@dataclasses.dataclass
class TestClock(JournalClock):
    """A clock that goes on by itself, 0.4 s a look, and whose wall clock can be moved."""

    __test__ = False
    at: float = 1000.0
    began: datetime = datetime(2026, 2, 11, 9, 30, tzinfo=timezone(timedelta(hours=1)))
    moved: float = 0.0

    def wall(self) -> datetime:
        return self.began + timedelta(seconds=self.at - 1000.0 + self.moved)

    def mono(self) -> float:
        self.at += 0.4
        return self.at


def clip(n: int, seconds: float = 0.05) -> bytes:
    t = np.arange(int(16_000 * seconds)) / 16_000
    return flac((0.2 * np.sin(2 * np.pi * (200 + 20 * n) * t)).astype(np.float32))


LOCK = ("seven", "three", "nine")
PATH = ("kiosk-warm",)
OPENED = ev.Opened(
    "2026-02-11-kiosk-4",
    "kiosk-warm",
    "en",
    "A. Brandner",
    "Hochgrat summit station (invented)",
    "HK-4",
    "0.1",
    "typed",
    (("kiosk-warm", "00" * 32),),
    (("kiosk-warm", "procedure: kiosk-warm\n"),),
)


def story() -> list[tuple[Any, ...]]:
    """What is appended, append by append: a happening, then what it led to."""
    say = iter(range(100))

    def heard(verdict: str, sense: str, text: str, words: str, sure: float, **more: Any) -> tuple[Any, ...]:
        return (ev.Utterance(verdict, sense, text, spoken=words, sure=sure, words=words, engine="typed", **more),)

    def step(name: str, kind: str, text: str, isolation: str, role: str = "step") -> tuple[Any, ...]:
        return (
            ev.StepEntered(PATH, name, kind, isolation),
            ev.Say(next(say), text, role, step=name),
            ev.ListenFor(("yes", "no")),
        )

    gate = ev.ListenFor(gate="isolated", lock=LOCK)
    return [
        (OPENED,),
        (ev.Say(next(say), "State the number on your lock, digit by digit.", "question"), ev.ListenFor(digits=(2, 4))),
        heard("accepted", "digits", " ".join(LOCK), "seven three nine", 0.99),
        step("air", "read", "Read the air temperature at the top shelf.", "LIVE"),
        heard("asked again", "number", "", "fifty", 0.41, reason="fifteen and fifty are too near"),
        (ev.Tone("not understood"), ev.Say(next(say), "Say again?", "question", step="air")),
        heard("accepted", "number", "", "eleven point five", 0.97, value=11.5, unit="degC"),
        (ev.ReadingTaken(PATH, "air", "air temperature", 11.5, "degC", 11.5, "degC", "", (-30, 60), (1, 5), "0.5 degC"),),
        step("fan-caution", "caution", "Warning. The fan can start by itself.", "LIVE", "caution"),
        heard("accepted", "command", "understood", "understood", 0.98),
        (ev.CautionTaken(PATH, "fan-caution", "warning"),),
        step("off", "isolate", "Unplug the cabinet and lock the plug.", "LIVE"),
        (ev.Gate("LIVE", "ISOLATING", "isolation begun", "", "off"), gate),
        heard("asked again", "denial", "wrong number", "isolated lock seven three one", 0.9, reason="wrong number"),
        (ev.Gate("ISOLATING", "ISOLATING", "wrong number", "The number was not yours.", "off"), gate),
        heard("accepted", "gate", f"isolated, lock {' '.join(LOCK)}", "isolated lock seven three nine", 0.96),
        (ev.Gate("ISOLATING", "ISOLATING", "phrase", "", "off"),),
        step("dead", "prove", "Try the switch. Does anything run?", "ISOLATING"),
        heard("accepted", "phrase", "nothing runs", "nothing runs", 0.95),
        (ev.Gate("ISOLATING", "ISOLATED", "proof", "the switch was tried", "dead"),),
        step("fan", "ask", "Turn the fan by hand. Is it free?", "ISOLATED"),
        heard("accepted", "phrase", "no", "no", 0.97),
        (
            ev.AnswerTaken(PATH, "fan", "no"),
            ev.FindingMade(PATH, "seized", "fan-seized", "The fan is seized.", (("fan", "no"),)),
        ),
        (ev.Gate("ISOLATED", "RESTORING", "restore begun", "", "back"), ev.ListenFor(gate="clear", lock=LOCK)),
        heard("accepted", "gate", f"clear, lock {' '.join(LOCK)}", "clear lock seven three nine", 0.96),
        (ev.Gate("RESTORING", "LIVE", "restore", "", "back"),),
        step("rest", "wait", "Wait five minutes.", "LIVE"),
        (ev.SetTimer("wait", 300.0),),
        (ev.TimerRang("wait"),),
        step("air-after", "read", "Read the air temperature again.", "LIVE"),
        heard("accepted", "number", "", "four point five", 0.97, value=4.5, unit="degC"),
        (
            ev.ReadingTaken(
                PATH, "air-after", "air temperature", 4.5, "degC", 4.5, "degC", "", (-30, 60), (1, 5), "0.5 degC"
            ),
        ),
        (ev.Closed("fixed", None, "The cabinet pulls down again."),),
    ]


def write_visit(
    folder: Path,
    *,
    key: DeviceKey | None = None,
    disk: Disk | None = None,
    clock: JournalClock | None = None,
    sound: bool = True,
    seal: bool = True,
) -> Path:
    """A small whole visit; every utterance with a clip."""
    with Journal.create(folder, clock=clock or TestClock(), key=key, disk=disk) as journal:
        for n, batch in enumerate(story()):
            journal.append(*(with_clip(journal, event, n) if sound else event for event in batch))
        if seal:
            journal.seal()
    return folder


def with_clip(journal: Journal, event: Any, n: int) -> Any:
    if not isinstance(event, ev.Utterance):
        return event
    name, digest = journal.keep_sound(clip(n))
    now = journal.now()
    return dataclasses.replace(event, clip=name, clip_sha256=digest, started=now - 0.05, ended=now)
