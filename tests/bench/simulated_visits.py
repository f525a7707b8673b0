"""Whole visits by the hundred: the shipped procedures at simulated cabinets, by the real machine, diagnosis against truth.

    python -m tests.bench.simulated_visits [--visits 300] [--seed 1]
    python -m tests.bench.simulated_visits --voice slt,rms --visits 4 [--engine whisper] [--models DIR]

A visit: a fault is drawn by the fault model's priors, a cabinet with it that somebody would complain of, and the
complaint's procedure is run from the lock number to its end. Every utterance is accepted by the machine as a typed line
would be: made from words that are understood in the grammar then in force. With `--voice` the same words are spoken by a
synthetic voice and heard by the recogniser; what is asked again is said again, and what was misheard goes into the visit.

The diagnosis is the last finding that accuses a fault (`ACCUSES`). Right: it accuses the cabinet's own. Wrong: another, or
the visit found nothing wrong. Handed over: the visit accused nobody and says so. `fixed and is not`: it ended
'fixed', though the cabinet, left alone, would bring the same complaint again. Minutes are those on site; absences of
half a day and more do not count."""

from __future__ import annotations

import argparse
import random
import statistics
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.errors import Trouble
from handsfree.isolation.people import named
from handsfree.journal.events import (
    Closed,
    FindingMade,
    HandedOver,
    ListenFor,
    NoteKept,
    Opened,
    Resumed,
    Stamped,
    TimerRang,
    Utterance,
)
from handsfree.language import base
from handsfree.language.meaning import Listening, Sense, Verdict
from handsfree.procedure.load import load_book
from handsfree.procedure.model import Ask, Book, Evidence, Prove, Read
from handsfree.resources import shipped_folder
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Awaiting, Overlay, State
from tests.bench.mirror.answers import mirrored
from tests.bench.mirror.simulator import SimulatedCabinet, cabinet, complaints
from tests.bench.simulated_technician import OFF_SCALE, UNSTEADY, Technician

ENGLISH = base.load("en")
LOCK, SECOND = "four two", "five six"
WALL = "2026-03-02T08:00:00+00:00"
MOST_UTTERANCES = 600
SAYS_AGAIN = 3

PROCEDURES = {
    "too_warm": "too-warm", "freezing": "freezing-the-stock", "dead": "dead-or-trips", "runs_always": "runs-all-the-time",
    "noisy": "noisy-or-vibrating", "iced_up": "iced-up",
}  # fmt: skip

_SENSOR = frozenset({"sensor_reads_warm", "sensor_reads_cold"})
_NONE: frozenset[str] = frozenset()
#: The faults that a finding accuses. A finding that is not here accuses nobody.
ACCUSES: dict[str, frozenset[str]] = {
    **dict.fromkeys(("sensor-suspected", "sensor-wrong", "sensor-open", "sensor-unsteady"), _SENSOR),
    **{name: frozenset({"evaporator_fan"}) for name in ("evaporator-fan-failed", "evaporator-fan-motor-open")},
    **{name: frozenset({"condenser_fan"}) for name in (
        "condenser-fan-failed", "condenser-fan-motor-open", "condenser-fan-stopped")},
    **{name: frozenset({"relay_open"}) for name in ("relay-does-not-close", "relay-voltage-low")},
    **{name: frozenset({"compressor_winding"}) for name in (
        "winding-open", "winding-shorted", "winding-to-frame", "windings-do-not-add-up")},
    **{name: frozenset({"supply_low"}) for name in ("supply-low-or-drops", "supply-out-of-band")},
    **{name: frozenset({"earth_fault"}) for name in ("deck-leaks-to-frame", "cabinet-leaks-to-frame")},
    **{name: frozenset({"low_charge"}) for name in ("sealed-circuit-suspected", "coil-part-frosted")},
    **dict.fromkeys((
        "stock-at-delivery-opening", "cord-open", "fuse-blown", "water-or-burns", "cabinet-not-level", "tube-touches",
        "mounts-worn", "compressor-knocks", "controller-or-wiring"), _NONE),
    "no-supply-at-outlet": frozenset({"no_supply"}),
    "not-in-cooling-mode": frozenset({"not_in_cooling"}),
    "setting-too-warm": frozenset({"set_too_warm"}),
    "setting-too-cold": frozenset({"set_too_cold"}),
    "fresh-fill": frozenset({"fresh_fill"}),
    "door-does-not-seal": frozenset({"door_seal"}),
    "coil-iced-over": frozenset({"coil_iced"}),
    "defrost-heater-bad": frozenset({"defrost_heater"}),
    "condenser-restricted": frozenset({"condenser_blocked"}),
    "relay-welded": frozenset({"relay_welded"}),
    "relay-contact-poor": frozenset({"relay_open", "relay_welded"}),
    "terminal-not-home": frozenset({"connector_loose"}),
    "breaker-out": frozenset({"earth_fault", "no_supply"}),
    "start-device-failed": frozenset({"start_device"}),
    "overload-open": frozenset({"overload_open"}),
    "compressor-seized-suspected": frozenset({"compressor_seized"}),
    "loose-panel-or-clip": frozenset({"loose_panel"}),
}  # fmt: skip

#: Words, what is listened for, seconds of the visit -> the utterance that the machine gets.
Ear = Callable[[str, Listening, float], Utterance]


@cache
def book(name: str) -> Book:
    return load_book(shipped_folder("procedures") / f"{name}.yaml", [shipped_folder("procedures")])


@dataclass
class Visit:
    fault: str
    complaint: str
    findings: list[str] = field(default_factory=list)
    handed_to: list[str] = field(default_factory=list)
    outcome: str = ""
    minutes: float = 0.0
    worked: float = 0.0
    blemish: bool = False
    isolations: int = 0
    utterances: int = 0
    mended: bool = False
    steps: list[str] = field(default_factory=list)

    @property
    def verdict(self) -> str:
        accused = [ACCUSES[name] for name in self.findings if name in ACCUSES]
        if accused:
            return "right" if self.fault in accused[-1] else "wrong"
        return "handed over" if self.outcome == "handed over" else "wrong"

    @property
    def vain(self) -> bool:
        return self.outcome == "fixed" and not self.mended


def draw(seed: int, complaint: str | None = None) -> tuple[SimulatedCabinet, str]:
    """A cabinet with a fault by the model's priors, and what its site complains of: by the model's shares, of that which the
    cabinet really shows."""
    model, rng = mirrored(), random.Random(f"visits/{seed}")
    for attempt in range(2000):
        fault = rng.choices([one.id for one in model.faults], [one.prior for one in model.faults])[0]
        made = cabinet(fault, seed * 2000 + attempt)
        row = model.complaint.rows[[one.id for one in model.faults].index(fault)]
        shares = dict(zip(model.complaint.answers, row, strict=True))
        noticed = [one for one in complaints(made) if complaint in (None, one)]
        if noticed:
            return made, rng.choices(noticed, [shares[one] for one in noticed])[0]
    raise Trouble(f"No simulated cabinet brings the complaint {complaint!r}.")


def by_typing(words: str, listening: Listening, now: float) -> Utterance:
    """AssertionError for words that mean nothing in force: the technician here says only what can be said."""
    heard = utterance_of(typed(ENGLISH, words, listening, now), typed=True)
    assert heard.verdict == Verdict.ACCEPTED, f"'{words}' is not understood here: {heard.reason}"
    return heard


# ---- one visit ------------------------------------------------------------------------------------------------------


class Site:
    """One visit under way: the machine's state, the technician, the clock."""

    def __init__(self, made: SimulatedCabinet, complaint: str, ear: Ear = by_typing) -> None:
        self.book = book(PROCEDURES[complaint])
        self.state: State = start(self.book, ENGLISH)
        self.visit = Visit(made.fault, complaint)
        self.technician = Technician(made, random.Random(f"technician/{made.seed}"))
        self.ear, self.now, self.away = ear, 0.0, 0.0
        self.intended: float | None = None
        self.amiss = ""

    def run(self) -> Visit:
        """AssertionError where the visit does not come to an end."""
        self._tell(Opened("v", self.book.main, "en", "", "", "", "t", "simulated"))
        while not self.state.closed or self.state.not_before is not None:
            if self.state.closed:
                self._return()
            elif self.state.overlay is Overlay.NOTE:
                self._tell(NoteKept("", "", "misheard"))
            elif self.state.awaiting is Awaiting.WAIT:
                self.now = max(self.now, self.state.wait_ends)
                self._tell(TimerRang("wait"))
            else:
                self._speak()
            assert self.visit.utterances < MOST_UTTERANCES, f"{self.book.main} does not end: {self.visit.steps[-30:]}"
        visit, technician = self.visit, self.technician
        visit.minutes, visit.isolations = (self.now - self.away) / 60, technician.cut
        visit.mended = visit.complaint not in complaints(SimulatedCabinet("", technician.condition, 0, 0.0))
        return visit

    def _return(self) -> None:
        later = max(self.now, self.state.not_before or 0.0)
        self.away += later - self.now
        self.now = later
        if self.technician.condition.filled_today:  # the stock has given its heat away meanwhile
            self._at_the_cabinet().change(filled_today=False, load=60.0)
        self._tell(Resumed("return visit"))

    def _at_the_cabinet(self) -> Technician:
        self.technician.minute = self.now / 60
        return self.technician

    def _speak(self) -> None:
        step, awaiting = self.state.step, self.state.awaiting
        if step is not None and awaiting in WORKING:
            self.now += 60 * (step.minutes or 0.3)
        words = self._words()
        self.now += 4.0
        utterance = self.ear(words, listening_of(self.state.listening or ListenFor()), self.now)
        self.visit.utterances += 1
        before = self.state
        self._tell(utterance)
        self._power(before)
        moved = self.state.frames != before.frames
        if moved and awaiting in WORKING and step is not None and utterance.verdict == Verdict.ACCEPTED:
            self._at_the_cabinet().does(step.id)

    def _power(self, before: State) -> None:
        technician = self._at_the_cabinet()
        if before.awaiting is Awaiting.GATE and self.state.interlock.held:
            technician.power(False)
        if before.awaiting is Awaiting.RESTORE_POWER and self.state.awaiting is not Awaiting.RESTORE_POWER:
            technician.power(True)

    def _words(self) -> str:
        self._at_the_cabinet()
        if self.state.overlay in OVERLAID:
            return OVERLAID[self.state.overlay]
        own = OF_THE_STATE.get(self.state.awaiting)
        return WORDS[self.state.awaiting] if own is None else own(self)

    def _answer(self) -> str:
        step = self.state.step
        assert isinstance(step, Ask)
        return self.technician.answer(step, self.state.path[-1])

    def _measured(self) -> str:
        step = self.state.step
        assert isinstance(step, Read)
        return self._reading(step)

    def _dead(self) -> str:
        assert isinstance(self.state.step, Prove)
        self.intended = 0.0
        return ENGLISH.say_number(0.0)

    def _reading_affirmed(self) -> str:
        pending = self.state.pending
        heard = pending is not None and self.intended is not None and abs(pending.value - self.intended) < 0.051
        return "affirm" if heard else "negative"

    def _number(self) -> str:
        """The number on one's lock. Whoever comes back has the number that they had."""
        known = named(self.state.interlock.people, self.state.joining)
        return " ".join(known.number) if known is not None else SECOND if self.state.joining else LOCK

    def _number_affirmed(self) -> str:
        return "affirm" if " ".join(self.state.lock_offered) == self._number() else "negative"

    def _gate(self, word: str) -> str:
        return f"{word} lock {' '.join(self.state.interlock.lock)}"

    def _reading(self, step: Read) -> str:
        value = self.technician.reading(step)
        if isinstance(value, str):
            wanted = {OFF_SCALE: step.over_range, UNSTEADY: step.unsteady}[value]
            if wanted is not None:
                return value
            value = step.plausible[1]  # nothing better can be said
        self.intended = value
        return ENGLISH.say_number(value)

    def _tell(self, event: Any) -> None:
        self.state, effects = advance(self.state, Stamped(0, WALL, self.now, event))
        for effect in effects:
            if isinstance(effect, FindingMade):
                self.visit.findings.append(effect.finding)
                self.technician.found.append(effect.finding)
            elif isinstance(effect, HandedOver):
                self.visit.handed_to.append(effect.to)
            elif isinstance(effect, Closed) and effect.not_before is None:
                self.visit.outcome = effect.outcome
        if self.state.frames and self.state.awaiting is not Awaiting.NOTHING:
            self.visit.steps.append("/".join((*self.state.path[1:], self.state.frames[-1].step)))


#: Where a step's own minutes pass before it is answered.
WORKING = frozenset({
    Awaiting.DONE, Awaiting.ANSWER, Awaiting.READING, Awaiting.SWITCH_TRIED, Awaiting.GATE, Awaiting.RESTORE_POWER,
})  # fmt: skip
#: What leads back from where only a misheard phrase can have led.
OVERLAID = {Overlay.STAND_BY: "go ahead", Overlay.STOP_ONCE: "negative", Overlay.STOP_TWICE: "negative"}
WORDS = {
    Awaiting.CUT_WAIT: "negative",
    Awaiting.ALSO_SAID: "negative",
    Awaiting.UNDERSTOOD: "understood",
    Awaiting.SEEN: "affirm",
    Awaiting.OFF_AGAIN: "affirm",
    Awaiting.LOOKED: "affirm",
    Awaiting.RELIEVED: "next step",
    Awaiting.TESTER_BEFORE: "affirm",
    Awaiting.SWITCH_TRIED: "nothing runs",
    Awaiting.TESTER_AFTER: "affirm",
    Awaiting.DEAD_AFFIRM: "affirm",
    Awaiting.RESTORE_CHECK: "next step",
    Awaiting.RESTORE_POWER: "next step",
    # Nobody here is gone and no power is on unasked: only what was misheard leads to these two.
    Awaiting.OWNER_GONE: "affirm",
    Awaiting.WHO: "the first person",
    Awaiting.WHICH_SOURCE: ENGLISH.prompt("all-sources"),
}
#: What hangs on the state besides.
OF_THE_STATE: dict[Awaiting, Callable[[Site], str]] = {
    Awaiting.ANSWER: Site._answer,
    Awaiting.DONE: lambda site: "done" if isinstance(site.state.step, Evidence) else "next step",
    Awaiting.READING: Site._measured,
    Awaiting.READING_AFFIRM: Site._reading_affirmed,
    Awaiting.LOCK_NUMBER: Site._number,
    Awaiting.LOCK_AFFIRM: Site._number_affirmed,
    Awaiting.DEAD_READING: Site._dead,
    Awaiting.GATE: lambda site: site._gate("isolated"),
    Awaiting.JOIN_GATE: lambda site: site._gate("isolated"),
    Awaiting.RESTORE_GATE: lambda site: site._gate("clear"),
    Awaiting.LEAVE_GATE: lambda site: site._gate("clear"),
}
#: Nothing is said here: time passes, or the visit goes on by itself.
SILENT = frozenset({Awaiting.NOTHING, Awaiting.WAIT, Awaiting.DESK_ASKS})


def visits(seed: int, count: int, ear: Ear = by_typing) -> Iterable[Visit]:
    for number in range(count):
        made, complaint = draw(seed * 100_000 + number)
        yield Site(made, complaint, ear).run()


# ---- the table ------------------------------------------------------------------------------------------------------


def rows(made: list[Visit]) -> list[tuple[str, ...]]:
    """A row for each complaint and one for all."""
    by = {complaint: [visit for visit in made if visit.complaint == complaint] for complaint in PROCEDURES}
    return [_row(PROCEDURES[name], some) for name, some in by.items() if some] + [_row("all", made)]


def _row(name: str, some: list[Visit]) -> tuple[str, ...]:
    count = Counter(visit.verdict for visit in some)
    share = [f"{count[what]} ({100 * count[what] / len(some):.0f} %)" for what in ("right", "wrong", "handed over")]
    minutes = statistics.mean(visit.minutes for visit in some)
    cuts = statistics.mean(visit.isolations for visit in some)
    vain = sum(visit.vain for visit in some)
    fixed = sum(visit.outcome == "fixed" for visit in some)
    return (name, str(len(some)), *share, str(fixed), str(vain), f"{minutes:.0f}", f"{cuts:.1f}")


HEAD = (
    "procedure", "visits", "right", "wrong", "handed over", "ended fixed", "fixed and is not", "minutes on site",
    "isolations",
)  # fmt: skip


def table(made: list[Visit]) -> str:
    lines = [HEAD, tuple("---" for _ in HEAD), *rows(made)]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def misses(made: list[Visit]) -> str:
    """What went wrong, by complaint and fault, with one example of its findings."""
    kinds: dict[tuple[str, str, str], list[Visit]] = defaultdict(list)
    for visit in made:
        if visit.verdict != "right" or visit.vain:
            kinds[visit.complaint, visit.fault, visit.verdict + (", in vain" if visit.vain else "")].append(visit)
    ordered = sorted(kinds.items(), key=lambda one: -len(one[1]))
    return "\n".join(f"{len(some):3} {' '.join(kind)}: {', '.join(some[0].findings)}" for kind, some in ordered)


# ---- by voice -------------------------------------------------------------------------------------------------------


@dataclass
class VoiceEar:
    """Speaks the words with a synthetic voice and hears them with the recogniser; says them again when asked again."""

    recogniser: Any
    voice: str
    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[str, str]] = field(default_factory=list)
    rate: float = 1.0

    def __call__(self, words: str, listening: Listening, now: float) -> Utterance:
        from audio_fixtures.voices import padded, synthesise

        meant = by_typing(words, listening, now)
        for attempt in range(SAYS_AGAIN):
            sound = padded(synthesise(words, self.voice, self.rate * (1.0, 0.9, 1.08)[attempt]))
            heard = utterance_of(self.recogniser.hear(sound, listening))
            self.counts["said"] += 1
            if self.counts["said"] % 20 == 0:
                print(f"    so far: {dict(self.counts)}", flush=True)
            if heard.verdict == Verdict.ACCEPTED:
                right = (heard.sense, heard.text) == (meant.sense, meant.text) and _same(heard, meant)
                self.counts["right" if right else "wrong"] += 1
                if not right:
                    self.wrong.append((words, f"{heard.sense} {heard.text}"))
                return heard
            self.counts["asked again" if heard.verdict == Verdict.ASKED_AGAIN else "silence"] += 1
        self.counts["typed in the end"] += 1
        return meant


def _same(heard: Utterance, meant: Utterance) -> bool:
    if meant.sense != Sense.NUMBER:
        return True
    return heard.value is not None and meant.value is not None and abs(heard.value - meant.value) < 1e-6


def spoken_visits(seed: int, count: int, voices: list[str], engine: str | None, models: Path) -> None:
    from handsfree.speech.recogniser import build_recogniser

    recogniser = build_recogniser(engine, "en", models)
    for number in range(count):
        voice = voices[number % len(voices)]
        ear = VoiceEar(recogniser, voice)
        made, complaint = draw(seed * 100_000 + number)
        visit = Site(made, complaint, ear).run()
        total = ", ".join(f"{what} {many}" for what, many in ear.counts.items())
        end = f"{visit.fault}: {visit.verdict}, {visit.outcome}"
        print(f"{voice} ({recogniser.name}), {complaint}, {end}; {total}", flush=True)
        for words, instead in ear.wrong:
            print(f"    said '{words}', heard '{instead}'", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--visits", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--voice", default="", help="voices of audio_fixtures/voices.py, by comma: spoken visits")
    parser.add_argument("--engine", default=None)
    parser.add_argument("--models", type=Path, default=None, help="folder of speech models (default: the program's)")
    asked = parser.parse_args()
    if asked.voice:
        from handsfree.settings import load_settings

        models = asked.models or load_settings().models
        spoken_visits(asked.seed, asked.visits, asked.voice.split(","), asked.engine, models)
        return
    made = list(visits(asked.seed, asked.visits))
    print(table(made), misses(made), sep="\n\n")


if __name__ == "__main__":
    main()
