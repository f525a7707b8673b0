"""A visit over the device: what `handsfree visit` runs, on the sound card of software.

The technician is the demo's recordings, played by a second stream into the same loudspeaker whenever the program has
stopped speaking and waits. The program's own voice is at full level in the microphone throughout. As in the demo, the
recordings are the only thing given: what is accepted, refused or opened comes from the engine and the machine. A recording
that was not heard at all, or that the program left alone though it was meant for it (a busy machine may have torn it), is
said again, as a person would.
"""

from __future__ import annotations

import sys
import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
import yaml

from handsfree.dialogue.hearing import typed
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import FindingMade, Gate, ListenFor, PromptEnded, Say, Stamped, StepEntered, Utterance
from handsfree.journal.verify import verify
from handsfree.language.meaning import Listening, Verdict
from handsfree.resources import shipped_folder
from handsfree.sound.files import read_sound
from handsfree.sound.loudspeaker import Loudspeaker
from handsfree.sound.prompts import Played, Prompt
from handsfree.visit import commands, sessions
from handsfree.visit.demo import THINKS, Script, load_script
from handsfree.visit.live import joined
from handsfree.visit.state import Awaiting, State
from tests.journal.made import read_list

from .conftest import LOUDSPEAKER, MICROPHONE, Booth
from .test_loop import recogniser

LONGEST = 400.0  # s: then the technician gives up, and the visit stops unfinished
SAYS_AGAIN = 6  # times in one place
FAST = "280"  # words a minute: what is tested is not how well a person can follow
#: The demo's clock lets the compressor's rest pass in no time; here the technician cuts it short.
REST = {
    ("compressor-rest", "wait"): ("how-long.flac", "next-step.flac"),
    ("compressor-rest", "wait cut short"): ("affirm.flac",),
}
#: Said to somebody else, or a word that is not in force: the program may leave these alone.
ASIDE = ("does-this-train-stop-at-the-summit.flac", "tepid.flac")


@dataclass(frozen=True)
class Said:
    """A recording as it was played: on the visit's clock, with what was in force."""

    clip: str
    started: float
    ended: float
    listening: Listening


class Technician:
    """Waits for the program to wait, and speaks. `watch` is told of every event; `next` stands before the ear's."""

    def __init__(self, script: Script, out: Loudspeaker) -> None:
        self._script, self._out = script, out
        self._says = {**script.says, **REST}
        self._told: dict[tuple[str, str], tuple[int, int]] = {}  # recordings heard there, times the last was said again
        self._speaking: set[int] = set()  # prompts of the program that have not ended
        self._listening = Listening(commands=())
        self._waits = threading.Event()  # the runner has nothing to do but to listen
        self._heard: list[Utterance] = []
        self.said: list[Said] = []
        self.gave_up = ""

    def join(self, runner: Any, loop: Any) -> None:
        self._runner, self._loop, self._hear = runner, loop, runner._ear.next
        runner._ear.next = self.next
        threading.Thread(target=self._work, name="technician", daemon=True).start()

    def watch(self, entry: Stamped, state: State) -> None:
        event = entry.event
        if isinstance(event, Say):
            self._speaking.add(event.number)
        elif isinstance(event, PromptEnded):
            self._speaking.discard(event.said)
        elif isinstance(event, ListenFor):
            self._listening = listening_of(event)
        elif isinstance(event, Utterance):
            self._heard.append(event)

    def next(self, timeout: float | None) -> Any:
        if self.gave_up:
            raise EOFError
        self._waits.set()
        try:
            return self._hear(0.5 if timeout is None else min(timeout, 0.5))
        finally:
            self._waits.clear()

    def _work(self) -> None:
        until = time.monotonic() + LONGEST
        while not self._runner.state.closed and not self.gave_up:
            if time.monotonic() > until:
                self.gave_up = f"no end after {LONGEST:.0f} s"
            elif self._quiet_for(THINKS):
                self._turn()

    def _quiet(self) -> bool:
        return self._waits.is_set() and not self._speaking and not self._runner._mouth._sink.busy()

    def _quiet_for(self, seconds: float) -> bool:
        until = time.monotonic() + seconds
        while self._quiet() or self._waits.wait(0.05):  # between two waits the runner is away for a moment
            if self._speaking or self._runner.state.closed:
                break
            if time.monotonic() > until:
                return self._loop.settled(10) and not self._speaking
            time.sleep(0.02)
        time.sleep(0.02)
        return False

    def _turn(self) -> None:
        """The next recording for here if the one before was heard; the last one again where nothing new is left."""
        state = self._runner.state
        where = (state.frames[-1].step if state.frames else "", str(state.awaiting))
        clips = self._says.get(where, ())
        told, tries = self._told.get(where, (0, 0))
        if not clips or (told == len(clips) and where[1] == Awaiting.WAIT):
            return
        if tries > SAYS_AGAIN:
            self.gave_up = f"{clips[-1]} was not taken at {where}"
            return
        heard = self._say(self._take(clips[min(told, len(clips) - 1)], tries + (told == len(clips))))
        self._told[where] = (told + 1, 0) if heard and told < len(clips) else (told, tries + 1)

    def _take(self, name: str, times: int) -> str:
        again = name.replace(".flac", "-again.flac")
        return again if times % 2 and (self._script.folder / again).is_file() else name

    def _say(self, clip: str) -> bool:
        """Whether anything was heard of it, and was not left alone unless it is an aside."""
        before, listening = len(self._heard), self._listening

        def heard() -> bool:
            return any(clip in ASIDE or u.verdict != Verdict.NOT_FOR_ME for u in self._heard[before:])

        self._out.play(Prompt(0, "", read_sound(self._script.folder / clip)))
        self._out.drain(20)
        played = self._out.history()[-1]
        ended = played.ended if played.ended is not None else played.started + len(played.samples) / 16_000
        self.said.append(Said(clip, played.started, ended, listening))
        until = time.monotonic() + 6.0
        while not heard() and time.monotonic() < until:
            time.sleep(0.02)
        return heard()


@pytest.fixture
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Settings, keys and caches of its own."""
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.setenv("HANDSFREE_WORDS_A_MINUTE", FAST)
    return tmp_path


@dataclass(frozen=True)
class Visit:
    """As it went, and what the technician did."""

    state: State
    entries: list[Stamped]
    folder: Path
    said: tuple[Said, ...]
    gave_up: str
    last_words: tuple[Played, Played]  # the procedure's own, and those of the sealed record


def visited(script: Script, place: Path, person: type[Technician] = Technician) -> Visit:
    """The visit, held on the booth's devices."""
    asked = commands.VisitOptions(
        procedure=script.procedure, resume=None, typed=False, sound_in=MICROPHONE, sound_out=LOUDSPEAKER, engine=None,
        visits=place / "visits", technician=script.technician, site=script.site, cabinet=script.cabinet,
    )
    engine = recogniser()
    session = commands.opened(asked, engine.name)
    out = Loudspeaker(LOUDSPEAKER, commands.RecordClock(session), lambda _: None)
    technician = person(script, out)
    sinks: list[Any] = []
    printed = commands.printer(sys.stdout)

    def watch(entry: Stamped, state: State) -> None:
        printed(entry, state)
        technician.watch(entry, state)

    def runner_of(session: sessions.Session) -> Any:
        runner, loop = joined(session, asked, commands.settings_of(asked), engine, watch)
        technician.join(runner, loop)
        sinks.append(loop._sink)
        return runner

    state = sessions.run(session, runner_of)
    out.close()
    own, sealed = [played for played in sinks[0].history() if played.text][-2:]
    return Visit(state, read_list(session.folder), session.folder, tuple(technician.said), technician.gave_up, (own, sealed))


def not_said(visit: Visit) -> list[tuple[Utterance, list[Said]]]:
    """What was accepted though the technician had not just said it: of the program's own voice, or of nobody's."""
    clips = yaml.safe_load((shipped_folder("audio_fixtures") / "demo" / "visit.yaml").read_text(encoding="utf-8"))["words"]
    wrong = []
    for utterance in heard_in(visit, "accepted"):
        said = [s for s in visit.said if s.started < utterance.ended and s.ended + 0.5 > utterance.started]
        words = [clips.get(s.clip) or clips[s.clip.replace("-again.flac", ".flac")] for s in said]  # or its second take
        meant = [typed(visit.state.language, w, s.listening, 0.0).meaning for w, s in zip(words, said, strict=True)]
        if (utterance.sense, utterance.text, utterance.value) not in [(m.sense, m.text, m.value) for m in meant if m]:
            wrong.append((utterance, said))
    return wrong


def heard_in(visit: Visit, verdict: str) -> list[Utterance]:
    return [e.event for e in visit.entries if isinstance(e.event, Utterance) and e.event.verdict == verdict]


def gates_of(visit: Visit) -> list[str]:
    """How the isolation changed, or did not."""
    return [entry.event.how for entry in visit.entries if isinstance(entry.event, Gate)]


def steps_of(visit: Visit) -> list[str]:
    return [entry.event.step for entry in visit.entries if isinstance(entry.event, StepEntered)]


#: A whole procedure, short; its steps have names of the demo's script, so that the demo's recordings fit. Invented.
SHORT = """
procedure: short
title: The condenser
steps:
  - id: unplug
    kind: isolate
    say: The next step puts your hands near a fan.
    do: [Pull the plug., Put your lock on it.]
    sources: [mains by cord and plug]
  - {id: prove-dead, kind: prove, method: switch, say: Try the switch. Watch the fans.}
  - {id: clean-condenser, kind: instruct, hazards: [moving fan], say: Brush the condenser.}
  - {id: restore-supply, kind: restore, say: Power comes back., checks: [Tools out., Cover on.], power: Put the plug in.}
  - {id: dirty-condenser, kind: finding, finding: dirty-condenser, evidence: [prove-dead], say: It was dirty.}
  - {id: end-cleaned, kind: end, outcome: done, say: Your lock goes home with you.}
"""
STEPS = ["unplug", "prove-dead", "clean-condenser", "restore-supply", "dirty-condenser", "end-cleaned"]


def test_a_whole_visit_by_recorded_voice(booth: Booth, alone: Path) -> None:
    """Gate, proof, hazard, restoring, finding and end, with what is refused on the way, and the last words whole. All of
    platform-check takes four minutes: `python -m tests.bench.live_visit`."""
    script = load_script(shipped_folder("audio_fixtures") / "demo")
    place = alone / "short.yaml"
    place.write_text(SHORT, encoding="utf-8")
    says = {
        **script.says, ("clean-condenser", "step done"): ("does-this-train-stop-at-the-summit.flac", "next-step.flac"),
        ("unplug", "seen running before"): ("affirm.flac",),
    }  # fmt: skip
    visit = visited(replace(script, procedure=str(place), says=says), alone)
    assert visit.gave_up == ""
    assert visit.state.outcome == "done"
    assert verify(visit.folder).holds
    assert steps_of(visit) == STEPS
    gates = gates_of(visit)
    assert gates.index("refused") < gates.index("denied") < gates.index("phrase") < gates.index("proof")
    assert gates[-1] == "restored"
    assert [entry.event.finding for entry in visit.entries if isinstance(entry.event, FindingMade)] == ["dirty-condenser"]
    assert len(heard_in(visit, "accepted")) >= 8
    assert not_said(visit) == []
    assert len(visit.said) <= 16 + SAYS_AGAIN  # the script's, and few of them again
    own, sealed = visit.last_words
    assert "Your lock goes home with you" in own.text
    assert sealed.text.startswith("The record is sealed.")
    assert not [played.text for played in visit.last_words if played.cut or played.ended is None]
