"""The engines, and which of them hear together.

Rules of this file:

- Adding an engine is one file with its class, one row of `ENGINES` and its name in `SETS` here, and a fit of the evidence it
  gives. Settings, help and handbook read these.
- A row says whether the engine is installed for a language, and builds it; and where its class is, which describes itself
  (`engine.Declared`).
- Every engine of a set that is installed and undamaged hears; the recogniser says what is missing or damaged, and is more
  cautious without it.
"""

from __future__ import annotations

import importlib.util
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import Trouble

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.speech.engine import Declared, Engine

    Builder = Callable[[Language, Path], Engine | None]  # None where the engine is not installed; Path: the models folder

_LIBRARY = "onnxruntime"  # of both witnesses


def _need_library() -> None:
    if importlib.util.find_spec(_LIBRARY) is None:
        raise Trouble(
            f"The neural engines need {_LIBRARY}, not installed here; install all of it with: "
            "pip install --force-reinstall handsfree. Until then --engine pocketsphinx works without."
        )


def _phonetic(language: Language, models_dir: Path) -> Engine | None:
    from handsfree.speech import phonetic_adapted
    from handsfree.speech.phonetic import TAUGHT, Phonetic, missing, weights

    if language.code != "en" or missing():
        return None
    _need_library()
    # Trouble before a visit, and not from an engine that fails at every word
    data = weights()
    for corrections in (phonetic_adapted.CORRECTIONS, phonetic_adapted.PEOPLE):
        phonetic_adapted.corrected_file(data, corrections, TAUGHT)
    return Phonetic(language)


def _whisper(language: Language, models_dir: Path) -> Engine | None:
    from handsfree.speech import neural_adapted
    from handsfree.speech.neural_weights import SIZES, find_weights
    from handsfree.speech.whisper import Whisper

    if language.code != "en":
        return None
    folder = find_weights("tiny.en", models_dir)
    if folder is None:
        return None
    _need_library()
    neural_adapted.parts_of(neural_adapted.CORRECTIONS[SIZES["tiny.en"]])  # Trouble before a visit
    return Whisper(language, folder)


def _vosk(language: Language, models_dir: Path) -> Engine | None:
    from handsfree.speech import vosk
    from handsfree.speech.models import vosk_model

    model = vosk_model(models_dir, language.code)
    return vosk.load(model.path, language.code) if model is not None else None


def _pocketsphinx(language: Language, models_dir: Path) -> Engine | None:
    from handsfree.speech import pocketsphinx

    return pocketsphinx.load("en") if language.code == "en" else None


@dataclass(frozen=True)
class EngineRow:
    """`where`: 'module:class'; nothing is imported before it is asked for."""

    build: Builder
    where: str


ENGINES: Mapping[str, EngineRow] = {
    "whisper": EngineRow(_whisper, "handsfree.speech.whisper:Whisper"),
    "phonetic": EngineRow(_phonetic, "handsfree.speech.phonetic:Phonetic"),
    "vosk": EngineRow(_vosk, "handsfree.speech.vosk:Vosk"),
    "pocketsphinx": EngineRow(_pocketsphinx, "handsfree.speech.pocketsphinx:PocketSphinx"),
}
#: What may be asked for by name, the best first: engines that hear together.
SETS: Mapping[str, tuple[str, ...]] = {
    "whisper": ("whisper", "phonetic"), "phonetic": ("phonetic",), "vosk": ("vosk",), "pocketsphinx": ("pocketsphinx",),
}  # fmt: skip


def declarations() -> tuple[Declared, ...]:
    """What each engine says of itself, installed or not, in the order of `ENGINES`."""
    return tuple(pkgutil.resolve_name(row.where).declares for row in ENGINES.values())


def usable_engines(name: str, language: Language, models_dir: Path, named: bool) -> tuple[list[Engine], str]:
    """The engines of a set that are usable, and sentences on those that are missing or damaged, and on what those that are
    left can never settle. `named`: this very set was asked for, so it cannot be used without its first engine. Trouble if
    no engine is left but one is there and damaged."""
    from handsfree.speech.acceptance import fitted
    from handsfree.speech.reach import shut

    fitted()  # Trouble before a visit
    built: dict[str, Engine | None] = {}
    troubles: list[Trouble] = []
    for which in SETS[name]:
        try:
            built[which] = ENGINES[which].build(language, models_dir)
        except Trouble as trouble:
            built[which] = None
            troubles.append(trouble)
    found = [engine for engine in built.values() if engine is not None]
    lacking = [which for which, engine in built.items() if engine is None]
    if not found or (named and SETS[name][0] in lacking):
        if troubles:
            raise troubles[0]
        return [], ""
    without = f"Without its witness '{' and '.join(lacking)}' the program asks again more often." if lacking else ""
    never = shut(" and ".join(engine.name for engine in found), {engine.declares.gives for engine in found})
    return found, "\n".join(filter(None, (*map(str, troubles), without, never)))
