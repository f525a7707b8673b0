"""Two people by voice: one isolation, two locks, each with a number and a voice of its owner, by the real recogniser.

    python -m tests.bench.two_people [--voices slt,rms] [--snr 20] [--engine whisper] [--show]

`together`: one isolates, the lift asks for the second, who joins; the power comes on and both isolate anew; both lift, and
each takes off their own lock. `handover`: the second joins, the first leaves, the second restores alone. What the program
does not take is said again; after SAYINGS sayings it counts as given up and is typed. Whoever is asked speaks: the wrong
person's words with the wrong number are tried once at each gate, and, where voices are compared, the right number by the
other's voice; both must open nothing. The procedure is invented.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field, replace
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.isolation.people import owners
from handsfree.journal.events import ListenFor, LockChanged, Opened, Say, Stamped, StepEntered, Utterance
from handsfree.language import base
from handsfree.language.meaning import Verdict
from handsfree.procedure import load
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Awaiting

ENGLISH = base.load("en")
SAYINGS, RATES = 4, (1.0, 0.9, 1.08)
FIRST, SECOND = "four two", "five one"
BOOK = """
procedure: lid
title: A heavy lid
sources: {plug: {kind: mains}}
steps:
  - {id: off, kind: isolate, say: The lid comes off., do: [Pull the plug. Box it and lock it.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Switch on. Watch the fans.}
  - {id: lift, kind: instruct, hazards: [mains], people: 2, say: Lift the lid off together.}
  - {id: tie, kind: instruct, hazards: [mains], say: Tie the bare wires back.}
  - {id: back, kind: restore, say: Put the lid back first., checks: [Tools and hands out.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""
#: (who speaks, words); the words 'isolated' and 'clear' are said with the speaker's number.
OFF = (("A", FIRST), ("A", "affirm"), ("A", "affirm"), ("A", "isolated"), ("A", "nothing runs"), ("A", "affirm"))
JOIN = (("B", SECOND), ("B", "affirm"), ("B", "isolated"))
WAYS: dict[str, tuple[tuple[str, str], ...]] = {
    "together": (
        *OFF, *JOIN, ("A", "power is on"), ("A", "affirm"), ("A", "isolated"), ("B", "isolated"), ("A", "nothing runs"),
        ("A", "affirm"), ("A", "next step"), ("B", "next step"), ("A", "next step"), ("A", "next step"), ("A", "clear"),
        ("B", "clear"), ("A", "next step"),
    ),
    "handover": (
        *OFF, *JOIN, ("A", "next step"), ("A", "i am leaving"), ("A", "clear"), ("B", "next step"), ("B", "next step"),
        ("B", "next step"), ("B", "clear"), ("B", "next step"),
    ),
}  # fmt: skip
GATES = (Awaiting.GATE, Awaiting.RESTORE_GATE, Awaiting.JOIN_GATE, Awaiting.LEAVE_GATE)


@dataclass
class Told:
    sayings: int = 0
    again: int = 0
    misheard: list[str] = field(default_factory=list)
    given_up: list[str] = field(default_factory=list)
    wrong_tried: int = 0
    wrong_opened: int = 0
    lines: list[str] = field(default_factory=list)


class Visit:
    """The real machine, told what the real recogniser heard. `speak`: (words, voice, rate, seed) -> samples."""

    def __init__(self, recogniser: Any, voices: dict[str, str], snr: float) -> None:
        from handsfree.speech.speaker import Voices, installed_encoder

        self.recogniser, self.voices, self.snr, self.told = recogniser, voices, snr, Told()
        self.witness = Voices(installed_encoder()[0])
        book = load.book_of(load.parse_procedure(BOOK, "lid.yaml"))
        self.state, self.now, self.record = start(book, ENGLISH), 0.0, [0]
        self.effects: list[Any] = []
        self.tell(Opened("v", "lid", "en", "", "", "", "t", "typed"))

    def tell(self, event: Any) -> None:
        self.now += 2.0
        self.state, effects = advance(self.state, Stamped(0, "2026-03-02T08:00:00+00:00", self.now, event))
        self.effects += effects
        self.told.lines += [f"    says  {one.text}" for one in effects if isinstance(one, Say)]

    def hear(self, words: str, who: str, rate: float) -> Utterance:
        from audio_fixtures import voices

        told = self.told
        told.sayings += 1
        listening = listening_of(self.state.listening or ListenFor())
        speech = voices.padded(voices.synthesise(words, self.voices[who], rate))
        noise = voices.compressor_noise(len(speech) / voices.RATE + 0.1, seed=told.sayings)[: len(speech)]
        samples = voices.mix(speech, noise, self.snr)
        heard = replace(self.recogniser.hear(samples, listening), started=self.now, ended=self.now)
        heard = replace(heard, voice=self.witness.of(heard, samples, listening))
        told.lines.append(f"  {who} says  {words}: {heard.verdict}, {heard.sure:.3f}, voice {heard.voice or 'unknown'}")
        return utterance_of(heard)

    def say(self, who: str, words: str) -> None:
        told = self.told
        number = FIRST if who == "A" else SECOND
        if self.state.awaiting in GATES and words in ("isolated", "clear"):
            self._wrong(who, f"{words} lock {SECOND if who == 'A' else FIRST}")
            if self.witness.encoder is not None:
                self._wrong("B" if who == "A" else "A", f"{words} lock {number}")
        words = f"{words} lock {number}" if words in ("isolated", "clear") else words
        before = self.state
        listening = listening_of(before.listening or ListenFor())
        meant = utterance_of(typed(ENGLISH, words, listening, self.now), typed=True)
        for take in range(SAYINGS):
            heard = self.hear(words, who, RATES[take % len(RATES)])
            right = (heard.sense, heard.text) == (meant.sense, meant.text)
            if heard.verdict == Verdict.ACCEPTED and not right:
                told.misheard.append(f"{words}: {heard.sense} {heard.text}")
            self.tell(heard)
            if heard.verdict == Verdict.ACCEPTED and (right or self.state.awaiting != before.awaiting):
                if heard.voice == "doubtful" and self.state.voice_doubted:
                    continue
                return
            told.again += 1
        told.given_up.append(words)
        self.tell(meant)

    def _wrong(self, who: str, words: str) -> None:
        """A number that is not this voice's own, or not asked for."""
        before = self.state
        self.told.wrong_tried += 1
        self.tell(self.hear(words, who, 1.0))
        was, now = before.interlock, self.state.interlock
        moved = (was.locks, was.given, before.awaiting) != (now.locks, now.given, self.state.awaiting)
        self.told.wrong_opened += moved


def whole(way: str, visit: Visit) -> list[str]:
    """What of the visit was not as it must be; [] where all was."""
    held: list[tuple[str, ...]] = []
    for who, words in WAYS[way]:
        visit.say(who, words)
        held.append(owners(visit.state.interlock.locks, "plug"))
    wrong = []
    entered = [one.step for one in visit.effects if isinstance(one, StepEntered)]
    said = " ".join(one.text for one in visit.effects if isinstance(one, Say))
    changes = [(one.owner, one.on) for one in visit.effects if isinstance(one, LockChanged)]
    both = [("the first person", True), ("the second person", True)]
    expected = [*both, ("the first person", False), ("the second person", False)]
    checks = {
        "the visit is not done": visit.state.outcome == "done",
        "the lift did not ask for the second person": "This step takes two people." in said,
        "never were two locks on": ("the first person", "the second person") in held,
        "a lock is left on": not visit.state.interlock.locks,
        f"locks went on and off otherwise: {changes}": changes == expected,
        "the lift was not reached": "lift" in entered,
    }
    wrong += [why for why, right in checks.items() if not right]
    return wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--voices", default="slt,rms", help="the first and the second person's, of audio_fixtures/voices.py")
    parser.add_argument("--snr", type=float, default=20.0, help="dB")
    parser.add_argument("--engine", default=None)
    parser.add_argument("--show", action="store_true")
    asked = parser.parse_args()
    from handsfree.settings import load_settings
    from handsfree.speech.recogniser import build_recogniser

    recogniser = build_recogniser(asked.engine, "en", load_settings().models)
    first, second = asked.voices.split(",")
    for way in WAYS:
        began = time.process_time()
        visit = Visit(recogniser, {"A": first, "B": second}, asked.snr)
        wrong = whole(way, visit)
        told = visit.told
        print(f"{way}, {first} and {second} at {asked.snr:g} dB: {'whole' if not wrong else '; '.join(wrong)}. "
              f"{told.sayings} sayings, {told.again} again, {len(told.misheard)} misheard, {len(told.given_up)} given up "
              f"and typed; another's number or voice {told.wrong_tried} times, {told.wrong_opened} opened; "
              f"{time.process_time() - began:.1f} s", flush=True)  # fmt: skip
        for line in (*told.misheard, *told.given_up):
            print(f"    {line}")
        if asked.show:
            print(*told.lines, sep="\n")


if __name__ == "__main__":
    main()
