"""Vosk: used whenever a model of the program's language is installed (see `models`).

Rules of this file:

- The phrase list of a step is a bag of words joined by a small language model, not a grammar: words recombine. So the result
  is only words, and the language says what they mean, if anything.
- A second recogniser without a list hears the same sound: its words are the witness.
- Recognisers are kept by listening (one without a list takes long to make) and reset before each utterance. The library
  dithers, so the scores of the same sound vary by a nat or two; nothing may depend on less.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble
from handsfree.language.meaning import Listening, Meaning
from handsfree.speech.engine import RATE, Candidate, Declared, Testimony, Witness
from handsfree.speech.pocketsphinx import as_pcm

if TYPE_CHECKING:
    from vosk import KaldiRecognizer  # type: ignore[import-untyped]  # carries no types

    from handsfree.language.base import Language
    from handsfree.speech.engine import Samples

NAME = "vosk"
_ALTERNATIVES = 5
_KEPT = 12
_UNKNOWN = "[unk]"
Likeness = Callable[[str, str], float]  # of two texts, 0 to 1


def _library() -> Any:
    try:
        import vosk
    except (ImportError, OSError) as error:
        said = f"The vosk library cannot be loaded ({error}). It is an extra: pip install 'handsfree[vosk]'."
        raise Trouble(said) from None
    vosk.SetLogLevel(-1)
    return vosk


def spelled_alike(a: str, b: str) -> float:
    """For languages without a pronouncing dictionary here."""
    from rapidfuzz.distance import Levenshtein

    return float(Levenshtein.normalized_similarity(a, b))


class Vosk:
    """See `handsfree.speech.engine.Engine`. `path`: a model's folder. `alike`: how alike two texts sound. Trouble where the
    model does not load."""

    name = NAME
    declares = Declared(
        NAME, Witness.GRAMMAR, "answers from a grammar, beside a free decode of the same sound", cost="not measured"
    )

    def __init__(self, path: Path, language: Language, alike: Likeness = spelled_alike) -> None:
        self.language = language.code
        self._spoken, self._alike = language, alike
        self._vosk = _library()
        self._lock = threading.Lock()
        try:
            self._model = self._vosk.Model(str(path))
        except Exception:  # the library raises the bare class
            raise Trouble(f"The Vosk model in {path} does not load; delete it and add it again.") from None
        self._free: KaldiRecognizer = self._vosk.KaldiRecognizer(self._model, float(RATE))
        self._kept: OrderedDict[Listening, KaldiRecognizer] = OrderedDict()

    def knows(self, word: str) -> bool:
        return bool(self._model.vosk_model_find_word(word) >= 0)

    def phrase_list(self, listening: Listening) -> tuple[str, ...]:
        """What may be said, decoys included, as far as the model's vocabulary goes; `[unk]` where the model has it."""
        phrases = [*self._spoken.forms(listening), *self._spoken.decoys(listening)]
        if listening.number is not None or listening.digits is not None:
            phrases += sorted(self._spoken.vocabulary())
        known = [phrase for phrase in phrases if all(self.knows(word) for word in phrase.split())]
        return tuple(dict.fromkeys([*known, *([_UNKNOWN] if self.knows(_UNKNOWN) else [])]))

    def _recogniser(self, listening: Listening) -> KaldiRecognizer | None:
        if listening in self._kept:
            self._kept.move_to_end(listening)
            return self._kept[listening]
        phrases = self.phrase_list(listening)
        if not phrases:
            return None
        made: KaldiRecognizer = self._vosk.KaldiRecognizer(self._model, float(RATE), json.dumps(phrases, ensure_ascii=False))
        made.SetMaxAlternatives(_ALTERNATIVES)
        if len(self._kept) >= _KEPT:
            self._kept.popitem(last=False)
        self._kept[listening] = made
        return made

    def testify(self, samples: Samples, listening: Listening) -> Testimony:
        import numpy as np

        if not len(samples) or not float(np.max(np.abs(samples), initial=0.0)) > 0:
            return Testimony(self.name, (), "", gives=Witness.GRAMMAR)
        sound = as_pcm(samples)
        with self._lock:
            recogniser = self._recogniser(listening)
            listed = [] if recogniser is None else _heard(recogniser, sound).get("alternatives", [])
            free = str(_heard(self._free, sound).get("text", ""))
        texts = [(" ".join(str(item["text"]).split()), float(item["confidence"])) for item in listed]
        candidates = self._candidates(texts, listening)
        evidence = self._evidence(texts, candidates, free, len(samples) / RATE)
        return Testimony(self.name, candidates, free, None, evidence, Witness.GRAMMAR)

    def _candidates(self, texts: list[tuple[str, float]], listening: Listening) -> tuple[Candidate, ...]:
        """One per meaning, best first; words that mean nothing in force are left out."""
        found: dict[tuple[object, ...], Candidate] = {}
        for text, score in texts:
            for meaning in self._spoken.understand(text, listening)[:1] if text and _UNKNOWN not in text else ():
                spoken = replace(meaning, spoken=text)
                found.setdefault(_key(spoken), Candidate(spoken, score))
        return tuple(sorted(found.values(), key=lambda candidate: -candidate.score))

    def _evidence(
        self, texts: list[tuple[str, float]], candidates: tuple[Candidate, ...], free: str, seconds: float
    ) -> tuple[tuple[str, float], ...]:
        """agree: of the first candidate with the free decode; over_next: nats a second above the next meaning; stray: above
        the best of the list's word strings that mean nothing; seconds: of the sound."""
        if not candidates:
            return (("seconds", seconds),)
        best = candidates[0]
        meant = {candidate.meaning.spoken for candidate in candidates}
        strays = [score for text, score in texts if text and text not in meant]
        after = candidates[1].score if len(candidates) > 1 else best.score - 20.0
        return (
            ("agree", self._alike(best.meaning.spoken, free)),
            ("over_next", (best.score - after) / seconds),
            ("stray", (best.score - max(strays, default=best.score - 20.0)) / seconds),
            ("seconds", seconds),
        )

    def also(self, testimony: Testimony, offered: Mapping[str, Meaning]) -> Testimony:
        """Scores nothing that another proposes."""
        return testimony

    def load(self) -> str:
        """It was loaded when it was made."""
        return ""

    def dictate(self, samples: Samples) -> str:
        if not len(samples):
            return ""
        with self._lock:
            return str(_heard(self._free, as_pcm(samples)).get("text", ""))


def _key(meaning: Meaning) -> tuple[object, ...]:
    return meaning.sense, meaning.text, meaning.value, meaning.unit


def _heard(recogniser: KaldiRecognizer, sound: bytes) -> dict[str, Any]:
    recogniser.Reset()
    recogniser.AcceptWaveform(sound)
    found = json.loads(recogniser.FinalResult())
    return found if isinstance(found, dict) else {}


def download(language: str, folder: Path) -> None:
    """Vosk's own downloader for its small model of `language` ('en-us'), into `folder`. Trouble without a network."""
    vosk = _library()

    class Fetcher:  # the library's methods, without opening a model
        get_model_by_lang = vosk.Model.get_model_by_lang
        download_model = vosk.Model.download_model
        download_progress_hook = vosk.Model.download_progress_hook

    usual, vosk.MODEL_DIRS = vosk.MODEL_DIRS, [folder]
    try:
        Fetcher().get_model_by_lang(language)
    except (Exception, SystemExit) as error:  # requests, urllib, zipfile and sys.exit: all mean that it did not come
        raise Trouble(
            f"The Vosk model could not be fetched ({type(error).__name__}): fetching needs a network. Fetch its zip "
            "elsewhere and add it with 'handsfree models --add FILE.zip'."
        ) from None
    finally:
        vosk.MODEL_DIRS = usual


def load(model: Path, language: str = "en") -> Vosk:
    """The engine on a model of the language, in the folder `model`."""
    from handsfree.language import base

    spoken = base.load(language)
    return Vosk(model, spoken, lambda a, b: 1.0 - spoken.apart(a, b))
