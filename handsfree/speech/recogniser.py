"""Sound in, a verdict out: the engines testify, `judge` weighs and decides.

Rules of this file:

- Every engine hears every utterance, each in its own thread: two witnesses that make different mistakes are worth more than
  one that makes fewer.
- What one witness finds by itself, and another can score, is passed to that other.
- An engine that fails in the middle of an utterance counts as a missing witness: the rest decide, more cautiously, and the
  reason is kept. If all fail, the caller must report the fault.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import Trouble
from handsfree.language.meaning import TOO_LOUD, Heard, Listening, Meaning, Sense, Verdict
from handsfree.language.tokens import tokens
from handsfree.speech.bars import CLIPPED
from handsfree.speech.engine import RATE, Engine, Testimony, Witness
from handsfree.speech.judge import DENIED, Shift, judge
from handsfree.speech.sayings import Sayings, add_attempt

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.speech.engine import Samples

_OWN_MOST = 4  # of a witness's candidates, the likeliest, that are looked at for people's own words
_FULL = 0.999  # of the largest sample: cut off there
_LOUD = f"{TOO_LOUD}: its sound is cut off"


class NoEngine(Trouble):
    """The language has none installed."""


class Recogniser:
    """`engines`: all of them hear. `enrolment`: log-odds by stake, fitted to a person. `missing`: what is not installed, and
    what those here can never settle, in sentences; '' where nothing is. Loads nothing before it hears (or `load`)."""

    def __init__(
        self, engines: Sequence[Engine], language: Language, enrolment: Shift | None = None, missing: str = ""
    ) -> None:
        if not engines:
            raise Trouble("No speech engine is installed; install one (see 'handsfree models').")
        self.engines = tuple(engines)
        self.language = language
        self.enrolment = dict(enrolment or {})
        self.missing = missing
        self._pool: ThreadPoolExecutor | None = None
        self._said: Sayings | None = None
        self.name = "+".join(engine.name for engine in self.engines)

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        """`samples`: one utterance, float32 mono 16 kHz, with or without silence around it. `started` is 0, `ended` its
        length in seconds. Raises whatever every engine raised."""
        heard, failed = self._testimonies(samples, listening)
        found = judge(heard, listening, self.language, self.enrolment, failed)
        again = found.verdict is Verdict.ASKED_AGAIN and found.reason != DENIED
        shut = found.verdict is Verdict.ACCEPTED and _grave(found, listening)
        if (again or shut) and _clipped(samples) > CLIPPED.value:
            told = f"{_LOUD}; {found.reason}" if found.reason else _LOUD
            found = replace(found, verdict=Verdict.ASKED_AGAIN, reason=told)
        return replace(found, ended=len(samples) / RATE)

    def together(self, heard: Heard, listening: Listening) -> Heard:
        """Weighed with what was said before under the same question and not accepted (`sayings`). Call it once per
        utterance, with its times on the visit's clock."""
        loud = "" if _grave(heard, listening) else f"{_LOUD}; "  # too loud and in doubt is a doubt, too; it opens no gate
        plain = replace(heard, reason=heard.reason.removeprefix(loud))
        weighed, self._said = add_attempt(self._said, plain, listening)
        if plain.reason != heard.reason and weighed.verdict is Verdict.ASKED_AGAIN:
            return replace(weighed, reason=f"{_LOUD}; {weighed.reason}")
        return weighed

    def forget(self) -> None:
        """What was said before no longer counts."""
        self._said = None

    def load(self) -> None:
        """Load every engine before it hears. Trouble if one cannot be loaded."""
        for engine in self.engines:
            engine.load()

    def dictate(self, samples: Samples) -> str:
        """Free text from the first engine that gives any."""
        return next((text for text in (engine.dictate(samples) for engine in self.engines) if text), "")

    def _testimonies(self, samples: Samples, listening: Listening) -> tuple[list[Testimony], str]:
        """Of the engines that did not fail, and why others did."""
        if self._pool is None:
            self._pool = ThreadPoolExecutor(len(self.engines), thread_name_prefix="engine")
        running = [self._pool.submit(engine.testify, samples, listening) for engine in self.engines]
        found: list[tuple[Engine, Testimony]] = []
        faults: list[Exception] = []
        for engine, one in zip(self.engines, running, strict=True):
            try:
                found.append((engine, one.result()))
            except Exception as fault:  # a library's own, of any class
                faults.append(fault)
        if not found:
            raise faults[0]
        told = "; ".join(f"{type(fault).__name__}: {fault}" for fault in faults)
        return [self._also(engine, testimony, found, listening) for engine, testimony in found], told

    def _also(
        self, engine: Engine, own: Testimony, found: Sequence[tuple[Engine, Testimony]], listening: Listening
    ) -> Testimony:
        others = [testimony for other, testimony in found if other is not engine]
        offered = {**numbers_found(others), **own_words(others, listening, self.language)}
        return engine.also(own, offered) if offered else own


def numbers_found(testimonies: Sequence[Testimony]) -> Mapping[str, Meaning]:
    """The numbers that these testimonies found, as said."""
    return {
        candidate.meaning.spoken: candidate.meaning for testimony in testimonies for candidate in testimony.candidates
        if candidate.meaning.sense in (Sense.NUMBER, Sense.DIGITS) and candidate.meaning.spoken
    }  # fmt: skip


def own_words(testimonies: Sequence[Testimony], listening: Listening, language: Language) -> Mapping[str, Meaning]:
    """What the witnesses that write made of people's own words, as said, and with what writers leave out before it."""
    if not listening.own_words:
        return {}
    found: dict[str, Meaning] = {}
    for testimony in (one for one in testimonies if one.gives is not Witness.SOUNDS):
        meant = language.understand(testimony.free, listening)[:1]
        written = [(" ".join(tokens(testimony.free)), meaning) for meaning in meant]
        others = [(one.meaning.spoken, one.meaning) for one in testimony.candidates[:_OWN_MOST]]
        for spoken, meaning in (*written, *others):
            if meaning.sense in (Sense.PHRASE, Sense.COMMAND) and spoken:
                ways = (spoken, *(f"{' '.join(before)} {spoken}" for before in language.own_words.unwritten))
                found |= {way: replace(meaning, spoken=way) for way in ways}
    return found


def _grave(heard: Heard, listening: Listening) -> bool:
    return listening.proof or (heard.meaning is not None and heard.meaning.sense is Sense.GATE)


def _clipped(samples: Samples) -> float:
    """The share of samples at the recording limit."""
    return float((abs(samples) >= _FULL).mean()) if len(samples) else 0.0


def build_recogniser(engine: str | None, language_code: str, models_dir: Path) -> Recogniser:
    """`engine`: the name of one of `engines.SETS`; None takes the best that is installed. Trouble if the one asked for is
    missing, or all that are installed are damaged; NoEngine if none is installed."""
    from handsfree.language import base
    from handsfree.speech.engines import SETS, usable_engines

    language = base.load(language_code)
    if engine is not None and engine not in SETS:
        raise Trouble(f"There is no engine '{engine}'; use one of {', '.join(SETS)}.")
    for name in SETS if engine is None else (engine,):
        found, missing = usable_engines(name, language, models_dir, named=engine is not None)
        if found:
            return Recogniser(found, language, missing=missing)
    if engine is not None:
        raise Trouble(f"The engine '{engine}' is not installed for '{language_code}'; see 'handsfree models'.")
    raise NoEngine(
        f"No speech engine is installed for '{language_code}'; install Vosk with "
        "pip install 'handsfree[vosk]' and a model of it with "
        "'handsfree models --add FILE.zip', or work from the keyboard with --typed."
    )
