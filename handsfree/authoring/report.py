"""What a rehearsal found over all its walks: which phrases of which steps were asked again, in which voices."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from handsfree.authoring.rehearsal import Rehearsed
from handsfree.procedure import phrasing

START = "start"


@dataclass(frozen=True)
class Hard:
    """One phrase at one step. `voices`: (voice, how often it was asked again before it was accepted, whether it had to be
    typed)."""

    step: str
    said: str
    voices: tuple[tuple[str, int, bool], ...]
    heard: tuple[str, ...]


def gathered(walked: Sequence[Rehearsed]) -> tuple[Hard, ...]:
    """In the order they were met; the same phrase in the same voice is the same on every path, and is listed once."""
    tries: dict[tuple[str, str], dict[str, tuple[int, bool]]] = defaultdict(dict)
    heard: dict[tuple[str, str], dict[str, None]] = defaultdict(dict)
    for walk in walked:
        here: dict[tuple[str, str], list[bool]] = defaultdict(list)
        for slip in walk.asked_again:
            key = (slip.step or START, slip.said)
            here[key].append(slip.given_up)
            heard[key][slip.words] = None
        for key, given_up in here.items():
            count = min(len(given_up), given_up.index(True) + 1 if True in given_up else len(given_up))
            tries[key].setdefault(walk.voice, (count, any(given_up)))
    return tuple(
        Hard(step, said, tuple((voice, *found) for voice, found in voices.items()), tuple(heard[step, said]))
        for (step, said), voices in tries.items()
    )


def lines(walked: Sequence[Rehearsed], code: str = phrasing.USUAL) -> Iterator[str]:
    """For people, in the language `code`."""
    say = partial(phrasing.say, code)
    for trouble in gathered(walked):
        voices = ", ".join(
            say("rehearse-typed" if typed else "rehearse-voice", voice=voice, count=count)
            for voice, count, typed in trouble.voices
        )
        step = say("rehearse-start") if trouble.step == START else trouble.step
        yield say("rehearse-again", step=step, said=trouble.said, voices=voices, heard="; ".join(trouble.heard[:3]))
    for walk in walked:
        for slip in walk.mistaken:
            step = slip.step or say("rehearse-start")
            yield say("rehearse-mistaken", step=step, voice=walk.voice, said=slip.said, taken=slip.taken)
    sayings, again = sum(one.sayings for one in walked), sum(len(one.asked_again) for one in walked)
    mistaken = sum(len(one.mistaken) for one in walked)
    yield say("rehearse-sum", walks=len(walked), sayings=sayings, again=again, mistaken=mistaken)


def as_data(walked: Sequence[Rehearsed], paths: int, every: bool) -> dict[str, Any]:
    """For JSON."""
    return {
        "paths": paths, "every": every, "sayings": sum(one.sayings for one in walked),
        "asked_again": [asdict(trouble) for trouble in gathered(walked)],
        "mistaken": [asdict(slip) for one in walked for slip in one.mistaken],
        "walks": [
            {"path": one.number, "voice": one.voice, "finished": one.finished, "outcome": one.path.outcome,
             "seconds": round(one.seconds, 1), "minutes": one.minutes, "sayings": one.sayings,
             "asked_again": len(one.asked_again), "route": list(one.path.route)}
            for one in walked
        ],
    }  # fmt: skip
