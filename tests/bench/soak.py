"""A visit for an hour, without a touch: `python -m tests.bench.soak [--minutes 60] [--engine NAME] [--bystanders 0]`.

On the sound card of software (tests/live/conftest.py), as `handsfree visit` runs it: runner, record, interlock, canceller,
and the synthesiser in its process. The procedure goes round and round; a technician answers it now and then, people talk
of other things, a fan runs. Each minute a line is printed: memory, samples captured against the clock, what was lost and
counted, what was heard. At the end: memory's growth after the first tenth, the drift of sound against the clock, samples
that are neither captured nor counted as lost, samples counted as lost that the record does not tell, and what was accepted
though nobody had just said it. With `--bystanders N`: N minutes of unrelated sentences and the fan only, and every
acceptance is a fault.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

PROCEDURE = """
procedure: soak
title: Round and round
version: 1
purpose: Something to say and to ask, for as long as it takes. Invented.
steps:
  - id: fan
    kind: ask
    say: Is the evaporator fan running? Say running, not running, or cannot see it.
    answers: {running: {go: grille}, not running: {go: grille}, cannot see it: {go: grille}}
  - id: grille
    kind: instruct
    say: Look through the grille at the bottom. There is a small fan behind it.
  - id: condenser
    kind: ask
    say: Look at the condenser at the back. Is it clean, dusty, or blocked?
    answers: {clean: {go: round}, dusty: {go: round}, blocked: {go: round}}
  - id: round
    kind: ask
    say: You can say once more, or that is enough.
    answers: {once more: {go: fan}, that is enough: {go: end}}
  - id: end
    kind: end
    say: That was all.
    outcome: done
"""
ANSWERS = ("running", "not running", "next step", "say again", "dusty", "blocked", "clean", "once more", "where am i")
UNRELATED = (
    "Did you see the match on Saturday? They lost again in the last minute.",
    "I told him that the delivery would come on Tuesday, not on Monday.",
    "Can somebody move the van, it is blocking the whole entrance.",
    "The train on platform three is going to be late by ten minutes.",
    "My sister wants to paint the kitchen yellow, and I said why not.",
    "They are out of the cheese rolls, but there is soup.",
    "He never picks up the phone before eleven, you know how he is.",
    "Mind the step there, it is wet from the rain.",
)
VOICES = ("slt", "rms", "awb", "kal16")
REST = 1.5  # s after each sentence


def voice(text: str, name: str, folder: Path) -> Any:
    from handsfree.sound.files import read_sound
    from handsfree.sound.levels import at_level

    place = folder / f"{name}-{''.join(filter(str.isalnum, text))}.wav"
    if not place.exists():
        subprocess.run(["flite", "-voice", name, "-t", text, "-o", str(place)], check=True, capture_output=True)
    return at_level(read_sound(place), -22.0)


def fan(seconds: float, rng: np.random.Generator) -> Any:
    n = round(seconds * 16_000)
    brown = np.cumsum(rng.standard_normal(n))
    brown -= np.convolve(brown, np.ones(800) / 800, mode="same")
    return (0.01 * brown / brown.std()).astype(np.float32)


@dataclass
class Soak:
    """What is counted. `said`: (text, from, to) of the technician's words, on the visit's clock."""

    seconds: float
    bystanders: bool
    place: Path
    said: list[tuple[str, float, float]] = field(default_factory=list)
    verdicts: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)  # of what was not accepted
    accepted: list[tuple[str, float, float]] = field(default_factory=list)
    told: int = 0  # samples that the record says were lost
    memory: list[float] = field(default_factory=list)
    state: Any = None
    spoken: bool = False  # the people have said all that they will
    over: bool = False  # and the report is printed

    def watch(self, entry: Any, state: Any) -> None:
        from handsfree.journal.events import SoundDropped, Utterance

        self.state, event = state, entry.event
        if isinstance(event, Utterance):
            self.verdicts[event.verdict] += 1
            if event.verdict != "accepted":
                self.reasons[event.reason] += 1
            else:
                self.accepted.append((event.text, event.started, event.ended))
        elif isinstance(event, SoundDropped):
            self.told += event.samples

    def not_said(self) -> list[str]:
        """Accepted, though no words of that meaning had just been said."""
        return [
            f"'{text}' at {began:.0f} s" for text, began, ended in self.accepted
            if not any(alike(words, text) and first < ended and last + 0.5 > began for words, first, last in self.said)
        ]


def alike(said: str, meant: str) -> bool:
    """'next step' and 'go ahead' are one command."""
    from handsfree.language.english import LANGUAGE

    return said == meant or said in LANGUAGE.commands.get(meant, ())


def give_lock_number(soak: Soak, out: Any, sink: Any) -> None:
    """With the demo's recordings: a visit begins with it. An engine that does not take it is soaked in that question."""
    from handsfree.resources import shipped_folder
    from handsfree.sound.files import read_sound
    from handsfree.sound.prompts import Prompt

    clips = {"lock number": "seven-three-nine.flac", "lock number affirmed": "affirm.flac"}
    for _ in range(40):
        if soak.state is not None and soak.state.frames:
            break
        time.sleep(1.0)
        if soak.state is not None and not sink.busy() and soak.state.awaiting in clips:
            out.play(Prompt(0, "", read_sound(shipped_folder("audio_fixtures") / "demo" / clips[soak.state.awaiting])))
            out.drain(20)
            time.sleep(4.0)
    sink.drain(20)
    soak.accepted.clear()
    soak.verdicts.clear()
    soak.reasons.clear()


def speak(soak: Soak, out: Any) -> None:
    """The technician and the people about, until the time is over."""
    from handsfree.sound.prompts import Prompt

    rng, chance = np.random.default_rng(8), random.Random(8)
    until = time.monotonic() + soak.seconds
    while time.monotonic() < until:
        bystander = soak.bystanders or chance.random() < 0.5
        text = chance.choice(UNRELATED if bystander else ANSWERS)
        speech = voice(text, chance.choice(VOICES), soak.place)
        silent = round(REST * 16_000)
        whole = np.concatenate([speech, np.zeros(silent, dtype=np.float32)])
        out.play(Prompt(0, "", whole + fan(len(whole) / 16_000, rng)[: len(whole)]))
        out.drain(30)
        played = out.history()[-1]
        ended = played.ended if played.ended is not None else played.started + len(whole) / 16_000
        soak.said.append((text, played.started, ended - REST))
    soak.spoken = True


def people(soak: Soak, out: Any, loop: Any, sink: Any) -> None:
    give_lock_number(soak, out, sink)
    counts = threading.Thread(target=follow, args=(soak, loop, sink, loop._source), name="counts", daemon=True)
    counts.start()
    speak(soak, out)
    counts.join()
    soak.over = True


def follow(soak: Soak, loop: Any, sink: Any, mic: Any) -> None:
    """A line a minute."""
    import psutil

    me, begun, first = psutil.Process(), time.monotonic(), mic.counts()
    while not soak.spoken:
        passed = time.monotonic() - begun
        if passed // 60 >= len(soak.memory):
            soak.memory.append(me.memory_info().rss / 1e6)
            line(passed, soak, loop, sink, mic.counts())
        time.sleep(0.2)
    report(time.monotonic() - begun, first, mic.counts(), soak)


def line(passed: float, soak: Soak, loop: Any, sink: Any, counts: Any) -> None:
    print(
        f"{passed / 60:6.1f} min  {soak.memory[-1]:7.1f} MB  captured {counts.captured}"
        f"  lost {counts.lost}  dropped {counts.dropped}"
        f"  told {soak.told}  losses {counts.losses}  judged {loop.judged}  own {loop.own}  crowded {loop.crowded}"
        f"  faults {loop.faults}  ran dry {sink.underflows}  {dict(soak.verdicts)}", flush=True,
    )


def report(seconds: float, first: Any, counts: Any, soak: Soak) -> None:
    captured = counts.captured - first.captured
    lost = counts.lost - first.lost + counts.dropped - first.dropped
    settled = soak.memory[len(soak.memory) // 10 :]
    slope = float(np.polyfit(range(len(settled)), settled, 1)[0]) if len(settled) > 1 else 0.0
    print(f"memory after the first tenth {settled[0]:.1f} MB, at the end {settled[-1]:.1f} MB, most {max(settled):.1f} MB, "
          f"{slope:+.3f} MB a minute")
    print(f"clock {seconds:.2f} s, sound {captured / 16_000:.2f} s, lost and counted {lost / 16_000:.3f} s, "
          f"unaccounted {seconds - (captured + lost) / 16_000:+.3f} s; told in the record {soak.told / 16_000:.3f} s")
    print(f"accepted: {dict(Counter(text for text, _, _ in soak.accepted))} of {len(soak.said)} sentences")
    print(f"not accepted: {dict(soak.reasons.most_common())}")
    if soak.bystanders:
        print("no action was taken" if not soak.accepted else "FAULT: somebody who spoke of something else was obeyed")
    else:
        print(f"accepted though not said: {soak.not_said() or 'none'}")


def run(soak: Soak, engine: str | None) -> None:
    from handsfree.sound.loudspeaker import Loudspeaker
    from handsfree.visit import commands, sessions
    from handsfree.visit.live import joined
    from tests.live.conftest import LOUDSPEAKER, MICROPHONE

    (soak.place / "soak.yaml").write_text(PROCEDURE, encoding="utf-8")
    asked = commands.VisitOptions(
        procedure=str(soak.place / "soak.yaml"), resume=None, typed=False, sound_in=MICROPHONE, sound_out=LOUDSPEAKER,
        engine=engine, visits=soak.place / "visits", technician="invented", site="", cabinet="",
    )
    recogniser = commands.recogniser_of(engine, "en")
    session = commands.opened(asked, recogniser.name)
    out = Loudspeaker(LOUDSPEAKER, commands.RecordClock(session), lambda _: None)

    def runner_of(session: Any) -> Any:
        runner, loop = joined(session, asked, commands.settings_of(asked), recogniser, soak.watch)
        hear = runner._ear.next

        def until_over(timeout: float | None) -> Any:
            if soak.over:
                raise EOFError
            return hear(0.5 if timeout is None else min(timeout, 0.5))

        runner._ear.next = until_over
        time.sleep(3.0)  # an idle null sink sleeps for up to two seconds first
        threading.Thread(target=people, args=(soak, out, loop, runner._mouth._sink), name="people", daemon=True).start()
        return runner

    sessions.run(session, runner_of)
    out.close()


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=float, default=60.0)
    asked.add_argument("--bystanders", type=float, default=0.0)
    asked.add_argument("--engine", default=None)
    given = asked.parse_args()
    from tests.live import conftest

    server = conftest.started()
    booth = next(server)
    try:
        with tempfile.TemporaryDirectory() as place:
            for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
                os.environ[name] = place
            run(Soak(60 * (given.bystanders or given.minutes), bool(given.bystanders), Path(place)), given.engine)
    finally:
        next(server, None)
    del booth


if __name__ == "__main__":
    sys.exit(main())
