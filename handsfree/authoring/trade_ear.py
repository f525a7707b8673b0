"""PocketSphinx with the language model of the trade: the second opinion for a dictation, and the only one if no other engine
is installed.

The model is built once from the procedures that ship, and kept in the user's cache under a name made from its input."""

from __future__ import annotations

import hashlib
import math
import threading
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.authoring import trade_words
from handsfree.errors import Trouble
from handsfree.language.phonetics import dictionary, pronunciations

if TYPE_CHECKING:
    from handsfree.sound.samples import Samples

EVERYDAY_LEAST, _RARE = 2e-6, 1e-9
PAUSE_FRAMES = 20  # of 10 ms: a silence as long as this ends a sentence
_WEIGHT = 6.5  # of the language against the sound: the library's own


@dataclass(frozen=True)
class HeardWord:
    """`sure`: the share of all likely paths through the sound that have this word here, 0 to 1. `ends`: a pause follows."""

    text: str
    sure: float
    first: int
    last: int
    ends: bool = False


def everyday() -> dict[str, float]:
    """The words that are not rare, and how often each is used, as a share."""
    return {word: share for word, share in used().items() if share >= EVERYDAY_LEAST}


@cache
def used() -> dict[str, float]:
    """The plain words of the dictionary, and how often each is used, as a share: by PocketSphinx' US English model."""
    from pocketsphinx import Config, LogMath, NGramModel, get_model_path

    model = NGramModel(Config(loglevel="FATAL"), LogMath(), str(Path(get_model_path()) / "en-us" / "en-us.lm.bin"))
    words = [word for word in dictionary() if word.replace("'", "").isalpha()]
    return trade_words.everyday(words, lambda word: math.exp(model.prob([word]) * math.log(1.0001)), _RARE)


def model_text(folder: Path, without: Iterable[str] = ()) -> str:
    return trade_words.arpa(trade_words.sentences(folder, without=without), everyday())


def _kept(folder: Path, without: tuple[str, ...]) -> Path:
    """The model's file in the cache; made if it is not there yet."""
    from platformdirs import user_cache_path

    from handsfree.outputs import replace_file
    from handsfree.procedure.load import procedure_files

    mark = hashlib.sha256(repr((without, trade_words.EVERYDAY, EVERYDAY_LEAST)).encode())
    for path in procedure_files(folder):
        mark.update(path.read_bytes())
    home = user_cache_path("handsfree")
    path = home / f"trade-{mark.hexdigest()[:16]}.lm"
    if not path.is_file():
        try:
            home.mkdir(parents=True, exist_ok=True)
            replace_file(path, model_text(folder, without).encode())
        except OSError as error:
            raise Trouble(f"The language model cannot be kept in {home.name} ({error.strerror}); free some space.") from None
    return path


class TradeEar:
    """Safe to call from several threads, one at a time inside."""

    def __init__(self, folder: Path, without: tuple[str, ...] = ()) -> None:
        import pocketsphinx

        home = Path(pocketsphinx.get_model_path()) / "en-us"
        path = _kept(folder, without)
        self._lock = threading.Lock()
        self._decoder: Any = pocketsphinx.Decoder(
            loglevel="FATAL", hmm=str(home / "en-us"), dict=str(home / "cmudict-en-us.dict"), lm=None, lw=_WEIGHT
        )
        for word in _lacking(path):
            for at, sounds in enumerate(pronunciations(word)):
                self._decoder.add_word(word if at == 0 else f"{word}({at + 1})", " ".join(sounds) or "SIL", False)
        self._decoder.add_lm_file("trade", str(path))
        self._decoder.activate_search("trade")

    def words(self, samples: Samples) -> tuple[HeardWord, ...]:
        """What was said, word by word; () for silence."""
        from handsfree.speech.pocketsphinx import as_pcm

        if len(samples) < 2000:
            return ()
        with self._lock:
            self._decoder.start_utt()
            self._decoder.process_raw(as_pcm(samples), full_utt=True)
            self._decoder.end_utt()
            pieces = [(one.word, one.prob, one.start_frame, one.end_frame) for one in self._decoder.seg() or ()]
            return _words([(word, min(1.0, float(prob)), first, last) for word, prob, first, last in pieces])


def _words(pieces: list[tuple[str, float, int, int]]) -> tuple[HeardWord, ...]:
    found: list[HeardWord] = []
    for text, sure, first, last in pieces:
        if text.startswith(("<", "[", "(", "+")):
            if found and last - first + 1 >= PAUSE_FRAMES:
                found[-1] = HeardWord(found[-1].text, found[-1].sure, found[-1].first, found[-1].last, True)
            continue
        found.append(HeardWord(text.split("(")[0], sure, first, last))
    return tuple(found)


def _lacking(path: Path) -> list[str]:
    """Words of the model that the dictionary cannot say."""
    known, found = dictionary(), []
    lines = iter(path.read_text(encoding="utf-8").splitlines())
    for line in lines:
        if line == "\\1-grams:":
            break
    for line in lines:
        if not line:
            break
        word = line.split()[1]
        if word not in known and not word.startswith("<"):
            found.append(word)
    return found


@lru_cache(maxsize=4)
def load(folder: Path | None = None, without: tuple[str, ...] = ()) -> TradeEar:
    """With the procedures that ship, or those of a folder. Trouble if the recogniser's model is missing."""
    from handsfree.resources import shipped_folder

    return TradeEar(folder or shipped_folder("procedures"), without)
