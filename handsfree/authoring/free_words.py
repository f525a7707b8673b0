"""Hears a writer's free words with an engine without extra training, given examples of how a writer speaks.

The engine of a visit is trained on the trade's answers and commands, and tends to hear them in anything; for dictation that
is a fault. `base` writes half as many wrong words as `tiny.en` (tests/bench/results/log.md) and knows Spanish too.

For a language for which no engine of visits is installed, `FreeRecogniser` also hears the recorder's commands. It is for
recording alone, where everything is read back: no visit is ever heard by it."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.speech.engine import Declared, Witness

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.sound.samples import Samples
    from handsfree.speech.recogniser import Recogniser

#: Writes free words: sound, and what may be said ('' for anything) -> text.
Write = Callable[["Samples", str], str]
NAME = "free words"
UNSURE = "not sure enough"
_MOST_TOLD = 900  # letters: the engine reads no more beforehand
SURE = 0.9  # given to words that are exactly a phrase in force: never fitted, and read back
#: Letters alike above which what was written is a phrase in force, and by how much more than any other.
ALIKE, LEAD = 0.8, 0.1
_KNOWS = {"base": ("en", "es"), "tiny.en": ("en",)}  # the best first


def writers(language: str, models: Path) -> tuple[FreeWriter, ...]:
    """Those that are installed and know the language, the best first."""
    from handsfree.speech.neural_weights import find_weights

    if importlib.util.find_spec("faster_whisper") is None:
        return ()
    found = (find_weights(size, models) for size, known in _KNOWS.items() if language in known)
    return tuple(_of(weights, language) for weights in found if weights is not None)


def whole_model(weights: Path) -> Any:
    """The engine with these weights, put together where packages carry them in parts."""
    from faster_whisper import WhisperModel

    from handsfree.speech.neural_weights import model_bytes, model_parts

    files: dict[str, Any] | None = None
    if len(model_parts(weights)) > 1:
        files = {"model.bin": model_bytes(weights)}
        files |= {path.name: path.read_bytes() for path in weights.iterdir() if path.suffix in (".json", ".txt")}
    return WhisperModel(str(weights), device="cpu", compute_type="int8", cpu_threads=1, files=files)


class FreeWriter:
    """Writes what was said, and tells how readily it would have written something else."""

    def __init__(self, weights: Path, language: str) -> None:
        from faster_whisper.tokenizer import Tokenizer

        from handsfree.authoring.words import load_words

        model = whole_model(weights)
        self._model, self._language = model, language
        self._tokens: Any = Tokenizer(model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language=language)
        self._told = load_words(language).prompt("dictation-like")

    def __call__(self, samples: Samples, among: str = "") -> str:
        pieces, _ = self._model.transcribe(
            samples, language=self._language, beam_size=5, condition_on_previous_text=False,
            initial_prompt=among or self._told,
        )  # fmt: skip
        return " ".join(piece.text.strip() for piece in pieces)

    def weigh(self, samples: Samples, texts: Sequence[str]) -> list[float]:
        """The log-probability of each text, given the sound. Of the 30 seconds that the engine looks at, those that are
        empty are left out: each text would cost five times as much. Only the first 30 seconds count. [] if a text is longer
        than the engine reads."""
        import numpy as np
        from ctranslate2 import StorageView

        pieces = [self._tokens.encode(f" {text}") for text in texts]
        longest = max(map(len, pieces), default=0)
        if longest + len(self._tokens.sot_sequence) + _MARKS > self._model.max_length:
            return []
        features = self._model.feature_extractor(samples)[:, :_FRAMES]
        heard = min(_FRAMES, features.shape[1]) // 2
        features = np.pad(features, ((0, 0), (0, _FRAMES - features.shape[1])))
        encoded = np.asarray(self._model.encode(features))[:, : heard + _AFTER]
        found: list[float] = []
        together = max(1, min(_TOGETHER, _PIECES // max(1, longest)))
        for at in range(0, len(pieces), together):
            some = pieces[at : at + together]
            view = StorageView.from_array(np.ascontiguousarray(np.repeat(encoded, len(some), 0)))
            told = self._model.model.align(view, list(self._tokens.sot_sequence), some, [heard] * len(some))
            found += [float(np.log(np.maximum(one.text_token_probs, _NEVER)).sum()) for one in told]
        return found


#: Of the engine: frames of 10 ms that it looks at. Ours: frames of 20 ms kept after the sound, and the least probability
#: of a piece of a word.
_FRAMES, _AFTER, _NEVER = 3000, 20, 1e-9
#: Texts and pieces of words weighed at a time: each piece takes 0.2 MB meanwhile, for every piece that could stand there.
_TOGETHER, _PIECES = 16, 600
_MARKS = 2  # pieces of the engine's own, besides those that begin a text


@lru_cache(maxsize=2)
def _of(weights: Path, language: str) -> FreeWriter:
    return FreeWriter(weights, language)


class FreeRecogniser:
    """What the recorder needs of a recogniser, from free words alone."""

    name = NAME
    declares = Declared(NAME, Witness.TOKENS, "writes freely; the phrase in force is sought in that", "not measured")

    def __init__(self, language: Language, write: Write, missing: str = "") -> None:
        self._language, self._write, self.missing = language, write, missing
        self.engines = (self,)

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        """Accepted where the words mean exactly one thing in force, or are spelled nearly as one phrase of it. What denies
        one is asked again, however it is spelled. An engine that was told what may be said sometimes writes worse for it:
        what is not taken so is written again, without telling it."""
        told = ". ".join(dict.fromkeys(self._language.forms(listening)))
        heard = self._heard(samples, listening, told if len(told) <= _MOST_TOLD else "")
        if heard.reason == UNSURE and heard.verdict is Verdict.ASKED_AGAIN and 0 < len(told) <= _MOST_TOLD:
            untold = self._heard(samples, listening, "")
            return untold if untold.verdict is Verdict.ACCEPTED or untold.reason != UNSURE else heard
        return heard

    def _heard(self, samples: Samples, listening: Listening, told: str) -> Heard:
        from rapidfuzz.distance import Levenshtein

        from handsfree.speech.judge import DENIED

        forms = self._language.forms(listening)
        text = self._write(samples, told).strip()
        meanings: tuple[Meaning, ...] = self._language.understand(text, listening) if text else ()
        if any(meaning.sense is Sense.DENIAL for meaning in meanings):
            return Heard(Verdict.ASKED_AGAIN, meanings[0], SURE, text, engine=NAME, reason=DENIED)
        if len(meanings) == 1:
            return Heard(Verdict.ACCEPTED, meanings[0], SURE, text, engine=NAME)
        plain = " ".join(self._language.plain(text).casefold().split()).strip(" .,?!;:¿¡")
        near = sorted(((Levenshtein.normalized_similarity(plain, form), form) for form in forms), reverse=True)
        if text and near and near[0][0] >= ALIKE:
            best = forms[near[0][1]]
            others = [alike for alike, form in near[1:] if forms[form] != best]
            if near[0][0] - max(others, default=0.0) >= LEAD:
                return Heard(Verdict.ACCEPTED, best, SURE, text, engine=NAME)
        verdict = Verdict.ASKED_AGAIN if text else Verdict.NOT_FOR_ME
        return Heard(verdict, None, 0.0, text, engine=NAME, reason=UNSURE)

    def dictate(self, samples: Samples) -> str:
        return self._write(samples, "")

    def load(self) -> None:
        """It is loaded when it is made."""

    def forget(self) -> None:
        """It keeps nothing of what was said before."""

    def together(self, heard: Heard, listening: Listening) -> Heard:
        return heard


def recogniser(engine: str | None, language: str, models: Path) -> Recogniser | FreeRecogniser:
    """That of visits, or, if the language has none that can be used, free words. If one is there and damaged, `missing`
    says so. Trouble where there is neither."""
    from handsfree.errors import Trouble
    from handsfree.language import base
    from handsfree.speech.recogniser import NoEngine, build_recogniser

    try:
        return build_recogniser(engine, language, models)
    except Trouble as trouble:
        found = writers(language, models) if engine is None else ()
        if not found:
            raise
        missing = "" if isinstance(trouble, NoEngine) else f"{trouble} Until then the engine of free words hears everything."
        return FreeRecogniser(base.load(language), found[0], missing)
