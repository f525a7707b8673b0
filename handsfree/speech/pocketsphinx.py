"""The embedded engine: PocketSphinx with the US English model of its wheel. Always there, needs no download.

Rules of this file:

- Four searches of the same sound: the grammar of what is in force (answers, commands, the number, and all their decoys), a
  free decode with the bundled language model, a loop of phones without words, and each likely candidate forced on its own.
- A grammar always answers with one of its own phrases, so its answer is only a candidate. What the other searches find is
  passed on as evidence. Nothing is decided here.
- Scores of forced candidates are comparable with each other within one utterance (same frames, one path each).
- The decoders keep state and the library does not release the interpreter lock: one set per process, behind a lock.
"""

from __future__ import annotations

import math
import re
import threading
import warnings
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble
from handsfree.language.meaning import Listening, Meaning
from handsfree.language.phonetics import phonemes, pronunciations, sound_distance
from handsfree.speech.engine import RATE, Candidate, Declared, Testimony, Witness
from handsfree.speech.pocketsphinx_grammar import Network, automaton, transitions
from handsfree.speech.pocketsphinx_rivals import Phrasebook, rivals_of, weakest_word

if TYPE_CHECKING:
    from pocketsphinx import Decoder, Hypothesis

    from handsfree.language.base import Language
    from handsfree.speech.engine import Samples

NAME = "pocketsphinx"
_SHORTEST_S = 0.12  # less sound than this holds no word
_FLOOR = 2e-4  # a peak below this is digital silence, not a quiet voice
_FRAMES_A_SECOND = 100
_SCORE_SHIFT = 1024  # the library shifts path scores right by ten bits
_GRAMMARS_KEPT = 6  # one takes about 2 MB
_FORCED_KEPT = 40  # a search takes 0.15 MB
_RIVALS = 6
#: The free search drowns in noise (0.9 of real time at 10 dB) unless held in; held in so, it costs 0.07 to 0.13 and
#: its words lie no further from what was said (24 clips: similarity 0.83 clean, 0.42 at 10 dB; wide beams 0.84, 0.32).
_FREE = {"fwdflat": False, "beam": 1e-40, "pbeam": 1e-40, "wbeam": 1e-20, "maxhmmpf": 3000}
_WARM = "warm"  # a search that costs next to nothing


def _decoder(**settings: object) -> Decoder:
    try:
        import pocketsphinx

        home = Path(pocketsphinx.get_model_path()) / "en-us"
        return pocketsphinx.Decoder(loglevel="FATAL", hmm=str(home / "en-us"), **settings)
    except (ImportError, RuntimeError, OSError) as error:
        raise Trouble(f"The model of pocketsphinx cannot be read ({error}); install handsfree again.") from error


def _model_file(name: str) -> str:
    import pocketsphinx

    return str(Path(pocketsphinx.get_model_path()) / "en-us" / name)


def as_pcm(samples: Samples) -> bytes:
    """16-bit samples at a working level, with a trace of dither so that digital silence does not stop the mathematics."""
    import numpy as np

    clean = np.nan_to_num(np.asarray(samples, dtype=np.float32), nan=0.0, posinf=1.0, neginf=-1.0)
    peak = float(np.max(np.abs(clean), initial=0.0))
    scaled = clean * (0.5 / peak) if peak > 0 else clean
    dither = np.random.default_rng(0).uniform(-1.0, 1.0, len(clean))
    return np.clip(scaled * 32767 + dither, -32768, 32767).astype("<i2").tobytes()


@dataclass(frozen=True)
class Decoded:
    """One search over one sound. `score`: nats, of the whole path; `words` without fillers; `frames` of each word."""

    text: str
    score: float
    words: tuple[tuple[str, int], ...] = ()


_NOTHING = Decoded("", -math.inf)


def _decode(decoder: Decoder, search: str, sound: bytes) -> Decoded:
    decoder.activate_search(search)
    decoder.start_utt()
    try:
        decoder.process_raw(sound, full_utt=True)
    finally:
        decoder.end_utt()
    hypothesis: Hypothesis | None = decoder.hyp()
    if hypothesis is None or not hypothesis.hypstr:
        return _NOTHING
    score = math.log(hypothesis.score) * _SCORE_SHIFT if hypothesis.score > 0 else -math.inf
    words = tuple(
        (segment.word.split("(")[0], segment.end_frame - segment.start_frame + 1)
        for segment in decoder.seg()
        if not segment.word.startswith(("<", "[", "(", "+"))
    )
    return Decoded(hypothesis.hypstr, score, words)


def _start(decoder: Decoder, sound: bytes) -> None:
    """Forget the utterance before, so that the same sound always gives the same evidence; then let the library's own
    noise estimate hear this one once before anything is decided on it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # said to be unnecessary; without it results depend on history
        decoder.start_stream()
    _decode(decoder, _WARM, sound)


_WARM_GRAMMAR = "#JSGF V1.0;\ngrammar warm;\npublic <warm> = the;\n"


def _free_decoder() -> Decoder:
    """The bundled language model and its whole dictionary; and a loop of phones."""
    found = _decoder(dict=_model_file("cmudict-en-us.dict"), lm=_model_file("en-us.lm.bin"), **_FREE)
    found.add_allphone_file("phones", _model_file("en-us-phone.lm.bin"))
    found.add_jsgf_string(_WARM, _WARM_GRAMMAR)
    return found


@dataclass
class _Searches:
    """The grammar decoder and what has been taught to it; oldest grammars are forgotten first."""

    decoder: Decoder
    grammars: OrderedDict[Listening, tuple[str, Phrasebook]] = field(default_factory=OrderedDict)
    forced: OrderedDict[str, str] = field(default_factory=OrderedDict)
    words: set[str] = field(default_factory=set)
    made: int = 0

    def teach(self, text: str) -> None:
        """Pronunciations for words: the decoder has none of its own, since the whole dictionary takes 25 MB in it. Searches
        that are there already do not need them, so they are not built anew."""
        for word in text.split():
            if word in self.words:
                continue
            for at, sounds in enumerate(pronunciations(word)):
                self.decoder.add_word(word if at == 0 else f"{word}({at + 1})", " ".join(sounds) or "SIL", False)
            self.words.add(word)

    def add(self, network: Network, kept: OrderedDict[Any, Any], most: int) -> str:
        if len(kept) >= most:
            _, oldest = kept.popitem(last=False)
            self.decoder.remove_search(oldest if isinstance(oldest, str) else oldest[0])
        self.made += 1
        name = f"s{self.made}"
        self.decoder.add_fsg(name, self.decoder.create_fsg(name, *network))
        return name


def _quoted(phrase: str) -> str:
    """Only words: what would be a sign of the grammar format is left out."""
    return re.sub(r"[^\w' -]", "", phrase)


def number_grammar(language: Language, listening: Listening) -> str:
    """The JSGF of the number or the digits that a listening asks for; '' where it asks for none."""
    asked = listening.number
    if asked is not None:
        most = min(max(abs(asked.low), abs(asked.high), 99.9) * 10, 99_999.0)
        return language.number_grammar_jsgf(asked.unit, most)
    if listening.digits is not None:
        text = language.number_grammar_jsgf("", 9999.0)
        return text.replace("public <number>", "<number>").replace("<digits> =", "public <digits> =", 1)
    return ""


def force(searches: _Searches, phrase: str, sound: bytes, most: int) -> Decoded:
    """The phrase compared with the sound, and nothing else allowed. `most`: searches kept for phrases."""
    kept = searches.forced
    if phrase not in kept:
        searches.teach(phrase)
        kept[phrase] = searches.add(transitions([_quoted(phrase)], None), kept, most)
    kept.move_to_end(phrase)
    found = _decode(searches.decoder, kept[phrase], sound)
    return found if found.text == phrase else _NOTHING


def acoustic_searches() -> _Searches:
    """A decoder of grammars alone, without the language model. `lw`: the branch probabilities of a grammar are bookkeeping,
    not knowledge of what people say, so they weigh little."""
    searches = _Searches(_decoder(dict=None, lm=None, bestpath=False, lw=1.0))
    searches.teach("the")
    searches.decoder.add_jsgf_string(_WARM, _WARM_GRAMMAR)
    return searches


class PocketSphinx:
    """See `handsfree.speech.engine.Engine`. Trouble where the model is missing. Safe to call from several threads, one
    at a time inside."""

    name = NAME
    declares = Declared(
        NAME, Witness.GRAMMAR, "answers from a grammar, beside a free decode of the same sound", "0.25 of the sound",
        everyday=True,
    )

    def __init__(self, language: Language) -> None:
        self.language = language.code
        self._spoken = language
        self._lock = threading.Lock()
        self._grammar = acoustic_searches()
        self._free = _free_decoder()

    def _grammar_for(self, listening: Listening) -> tuple[str, Phrasebook]:
        kept = self._grammar.grammars
        if listening in kept:
            kept.move_to_end(listening)
            return kept[listening]
        book = Phrasebook.of(self._spoken, listening)
        self._grammar.teach(" ".join(book.meanings))
        numbers = number_grammar(self._spoken, listening)
        if numbers:
            self._grammar.teach(" ".join(self._spoken.vocabulary()))
        network = transitions([_quoted(phrase) for phrase in book.meanings], automaton(numbers) if numbers else None)
        name = self._grammar.add(network, kept, _GRAMMARS_KEPT)
        kept[listening] = name, book
        return kept[listening]

    def _forced(self, phrase: str, sound: bytes) -> Decoded:
        return force(self._grammar, phrase, sound, _FORCED_KEPT)

    def testify(self, samples: Samples, listening: Listening) -> Testimony:
        import numpy as np

        if len(samples) < _SHORTEST_S * RATE or not float(np.max(np.abs(samples), initial=0.0)) > _FLOOR:
            return Testimony(self.name, (), "", gives=Witness.GRAMMAR)
        sound = as_pcm(samples)
        with self._lock:
            return self._testify(sound, listening, len(samples) / RATE)

    def _testify(self, sound: bytes, listening: Listening, seconds: float) -> Testimony:
        search, book = self._grammar_for(listening)
        _start(self._grammar.decoder, sound)
        _start(self._free, sound)
        grammar = _decode(self._grammar.decoder, search, sound)
        free = _decode(self._free, "_default", sound)
        loop = _decode(self._free, "phones", sound)
        said = tuple(phone for phone, _ in loop.words if phone != "SIL")
        phrases = rivals_of(book, grammar.text, free.text, said, _RIVALS)
        forced = {phrase: self._forced(phrase, sound) for phrase in phrases}
        candidates = _candidates(book, forced)
        heard_free = self._forced(free.text, sound) if is_plain(free.text) else _NOTHING
        evidence = _evidence(grammar, forced, free, loop, said, candidates, seconds, heard_free.score)
        score = heard_free.score if math.isfinite(heard_free.score) else None
        return Testimony(self.name, candidates, free.text, score, evidence, Witness.GRAMMAR)

    def also(self, testimony: Testimony, offered: Mapping[str, Meaning]) -> Testimony:
        """Scores nothing that another proposes."""
        return testimony

    def load(self) -> str:
        """It was loaded when it was made."""
        return ""

    def dictate(self, samples: Samples) -> str:
        if len(samples) < _SHORTEST_S * RATE:
            return ""
        sound = as_pcm(samples)
        with self._lock:
            _start(self._free, sound)
            return _decode(self._free, "_default", sound).text


def is_plain(text: str) -> bool:
    return bool(text) and all(word.replace("'", "").isalpha() for word in text.split())


def _candidates(book: Phrasebook, forced: dict[str, Decoded]) -> tuple[Candidate, ...]:
    """One candidate per meaning, the best of its forms; best first."""
    found: dict[Meaning, Candidate] = {}
    for phrase, decoded in sorted(forced.items(), key=lambda pair: -pair[1].score):
        meaning = book.meaning(phrase)
        if meaning is None or not math.isfinite(decoded.score):
            continue
        same = next((known for known in found if _alike(known, meaning)), meaning)
        found.setdefault(same, Candidate(meaning, decoded.score))
    return tuple(found.values())


def _alike(a: Meaning, b: Meaning) -> bool:
    return (a.sense, a.text, a.value, a.unit) == (b.sense, b.text, b.value, b.unit)


def _evidence(
    grammar: Decoded, forced: dict[str, Decoded], free: Decoded, loop: Decoded, said: tuple[str, ...],
    candidates: tuple[Candidate, ...], seconds: float, free_forced: float,
) -> tuple[tuple[str, float], ...]:  # fmt: skip
    """Of the first candidate. Similarities 0 to 1 of phonemes; score differences in nats a frame of speech.

    agree: with the free decode's words; agree_loop: with the bare phones; weakest: of its words, the one found least well in
    the free decode; grammar_same: the grammar search chose the same phrase; over_next: above the next meaning; over_loop,
    over_free: against the loop's path and the free words forced; pace: frames a phoneme; shortest: the fewest a phoneme
    of any word; speech: share of the sound that is words; seconds: of the sound."""
    if not candidates:
        return (("seconds", seconds),)
    best = candidates[0]
    decoded = forced[best.meaning.spoken]
    sounds = phonemes(best.meaning.spoken)
    frames = max(sum(count for _, count in decoded.words), 1)
    free_sounds = phonemes(free.text)
    after = candidates[1].score if len(candidates) > 1 else best.score - 2.0 * frames
    paces = [count / max(len(phonemes(word)), 1) for word, count in decoded.words]
    found = {
        "agree": 1 - sound_distance(sounds, free_sounds),
        "agree_loop": 1 - sound_distance(sounds, said),
        "weakest": weakest_word(best.meaning.spoken, free_sounds),
        "grammar_same": float(grammar.text == best.meaning.spoken),
        "over_next": (best.score - after) / frames,
        "over_loop": (best.score - loop.score) / frames if math.isfinite(loop.score) else 0.0,
        "over_free": (best.score - free_forced) / frames if math.isfinite(free_forced) else 0.0,
        "pace": frames / max(len(sounds), 1),
        "shortest": min(paces, default=0.0),
        "speech": frames / max(seconds * _FRAMES_A_SECOND, 1.0),
        "seconds": seconds,
    }
    return tuple(found.items())


@lru_cache(maxsize=2)
def load(language: str = "en") -> PocketSphinx:
    """The engine of the process for a language. Trouble for a language that PocketSphinx's bundled model does not speak."""
    if language != "en":
        raise Trouble("pocketsphinx comes with a model of US English only; install a Vosk model for another language.")
    from handsfree.language.english import LANGUAGE

    return PocketSphinx(LANGUAGE)
