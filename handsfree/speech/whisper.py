"""The neural engine: what is in force is scored against the model's own free decode, on one scale.

Rules of this file:

- Every phrase in force and every decoy is scored in several written forms, whose probabilities add up.
- Numbers and lock digits are not listed: they are built freely from the tokens that numbers are written with, and each
  text found is parsed by the language; texts of one value add up.
- The same search finds whatever else the model would rather write, so that a phrase can be compared with it.

The encoder runs on a window a few seconds longer than the sound, not on 30 s: with a shorter window than that the model
fails to end its text.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble
from handsfree.language.meaning import Listening, Meaning
from handsfree.speech.byte_pairs import BytePairs
from handsfree.speech.engine import OTHER, RATE, Candidate, Declared, Testimony, Witness, log_sum, one_thread

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.speech.engine import Samples
    from handsfree.speech.neural_search import Alphabet, Finish, TrieNode

NUMBERS, LOCKS = "numbers", "locks"
#: The share of the additional training that is used. With half of it the trade's words are heard nearly as well, and little
#: of the other words is lost. Of 382 answers in words nobody taught, together with the phonetic witness, 366 are accepted at
#: 0.9 (351 with all of it, 330 to 350 with none); of 419 readings 304 (258, 290).
TAUGHT = 0.5
REACH = 14.0  # nats below the best text at which a phrase is given up
_FREE_REACH, _NUMBER_REACH, _LOCK_REACH = 4.0, 9.0, 12.0
_BUILT_MOST = 24  # number texts understood, the best first; each takes a millisecond or two
_AFTER = 4.0  # seconds of silence after the sound, so that the model sees that it ends
_AFTER_TAUGHT = 1.6  # less for a taught model, which was taught with 1.2 s or more
_SHORTEST = 0.15  # seconds of sound; no word is shorter
_LONGEST = 26.0  # the model hears 30 s with the silence put around; an utterance is cut at 12
_FRAMES_A_SECOND = 100
_USUAL_TOKENS = 20_000  # of the vocabulary, what may be written whatever is in force
#: On 24 clips wider searches found the same leading acts, and took a fifth longer.
_FREE_WIDTH, _NUMBER_WIDTH, _LOCK_WIDTH = 3, 6, 6
_FREE_MOST, _NUMBER_MOST, _LOCK_MOST = 28, 14, 16
#: Beginnings kept, tokens, seconds at a time: of a minute of speech 24 s at a time left six sentences out, 9 s none.
_NOTE_WIDTH, _NOTE_MOST, _NOTE_PIECE = 5, 110, 9.0


@dataclass(frozen=True)
class _Model:
    encoder: Any
    decoder: Any
    pairs: BytePairs
    opening: tuple[int, ...]  # start of transcript (of a language, where the weights know several), no timestamps
    end: int
    usual: Any  # tokens that may be written, whatever is in force: (n,) int64
    name: str
    sha256: str
    taught: bool


class Whisper:
    """`folder`: weights in CTranslate2's form, with what they were taught of the trade's speech in noise where
    `neural_adapted` knows them. Nothing is loaded before the first utterance (or `load`)."""

    declares = Declared("whisper", Witness.TOKENS, "scores each phrase against all it might write", cost="0.05 of the sound")

    def __init__(
        self, language: Language, folder: Path, name: str = "whisper", taught: float = TAUGHT
    ) -> None:
        self.name = name
        self._taught = taught
        self.language = language.code
        self._language = language
        self._folder = folder
        self._prepared: dict[Listening, _Prepared] = {}

    @cached_property
    def _model(self) -> _Model:
        return _load(self._folder, self._taught)

    def load(self) -> str:
        """Load now; returns the name of the weights with the head of their SHA-256."""
        model = self._model
        return f"{model.name}, sha256 {model.sha256[:12]}"

    def testify(self, samples: Samples, listening: Listening) -> Testimony:
        """Evidence on one utterance; silence gives no candidates."""
        if len(samples) < _SHORTEST * RATE or len(samples) > _LONGEST * RATE or float(abs(samples).max()) < 1e-4:
            return Testimony(self.name, (), "")
        prepared = self._prepare(listening)
        finishes = self._search(samples, prepared)
        return self._testimony(finishes, prepared, listening)

    def also(self, testimony: Testimony, offered: Mapping[str, Meaning]) -> Testimony:
        """Scores nothing that another proposes."""
        return testimony

    def dictate(self, samples: Samples) -> str:
        """Free text of a note, with sentence punctuation."""
        from handsfree.speech.neural_search import FREE, Alphabet, TrieNode

        usual, end = self._model.usual, self._model.end
        alphabets = {FREE: Alphabet(usual[usual < end], _NOTE_WIDTH, _NOTE_MOST, _FREE_REACH)}
        said = []
        for piece in breaths(samples, _NOTE_PIECE):
            finishes = self._finishes(piece, TrieNode(), alphabets, ())
            if finishes:
                said.append(self._model.pairs.decode(finishes[0].tokens).strip())
        return " ".join(text for text in said if text)

    def _search(self, samples: Samples, prepared: _Prepared) -> list[Finish]:
        return self._finishes(samples, prepared.trie, prepared.alphabets, prepared.tokens)

    def _finishes(
        self, samples: Samples, trie: TrieNode, alphabets: Mapping[str, Alphabet], tokens: Iterable[int]
    ) -> list[Finish]:
        from handsfree.speech.mel import log_mel, on_floor
        from handsfree.speech.neural_search import search

        model = self._model
        after = _AFTER_TAUGHT if model.taught else _AFTER
        frames = min(3000, 2 * math.ceil((len(samples) / RATE + after) * _FRAMES_A_SECOND / 2))
        encoded = model.encoder(log_mel(on_floor(samples), frames)[None])[0]
        sound = model.decoder.listen(encoded, model.opening, model.decoder.outlet(model.usual, tokens))
        return search(sound, trie, alphabets, model.end, REACH)

    # ---- what is in force, as tokens

    def _prepare(self, listening: Listening) -> _Prepared:
        if listening not in self._prepared:
            if len(self._prepared) > 32:
                self._prepared.clear()
            self._prepared[listening] = self._build(listening)
        return self._prepared[listening]

    def _build(self, listening: Listening) -> _Prepared:
        from handsfree.speech.neural_search import FREE, TrieNode

        language = self._language
        trie = TrieNode()
        meanings: dict[tuple[int, ...], Meaning] = {}
        for phrases in (language.forms(listening), language.decoys(listening)):
            for spoken, meaning in phrases.items():
                for text in _written(spoken, language):
                    tokens = self._tokens(text)
                    trie.add(tokens)
                    meanings.setdefault(tokens, meaning)
        alphabets: dict[str, Alphabet] = {}
        if listening.number is not None:
            trie.then = (NUMBERS,)
            alphabets[NUMBERS] = self._alphabet(language.vocabulary(), _NUMBER_WIDTH, _NUMBER_MOST, _NUMBER_REACH)
        if listening.digits is not None:
            trie.then = (*trie.then, LOCKS)
            alphabets[LOCKS] = self._digits
        if listening.gate is not None:
            alphabets[LOCKS] = self._digits
            for opening in language.gates[listening.gate.word]:
                for text in _openings(opening):
                    trie.add(self._tokens(text), then=(LOCKS,))
        in_force = set(trie.tokens()) | {int(token) for alphabet in alphabets.values() for token in alphabet.tokens}
        return _Prepared(trie, {**alphabets, FREE: self._free(in_force)}, meanings, frozenset(in_force))

    def _tokens(self, text: str) -> tuple[int, ...]:
        return tuple(self._model.pairs.encode(" " + text))

    def _free(self, in_force: Iterable[int]) -> Alphabet:
        """What the free decode may write: the usual tokens, and all tokens of what is in force."""
        import numpy as np

        from handsfree.speech.neural_search import Alphabet

        usual, end = self._model.usual, self._model.end
        written = np.union1d(usual, np.fromiter(in_force, np.int64))
        return Alphabet(written[written < end], _FREE_WIDTH, _FREE_MOST, _FREE_REACH)

    @cached_property
    def _digits(self) -> Alphabet:
        language = self._language
        words = {word for digit in range(10) for word in language.say_number(digit).split()}
        words |= {word for digit in range(10) for word in language.say_digits(digit).split()} | {"oh", "double", "niner"}
        return self._alphabet(words, _LOCK_WIDTH, _LOCK_MOST, _LOCK_REACH)

    def _alphabet(self, words: Iterable[str], width: int, most: int, reach: float) -> Alphabet:
        """Every token made of figures and their punctuation, and every token that these words are written with."""
        import numpy as np

        from handsfree.speech.neural_search import Alphabet

        tokens: set[int] = set()
        for word in words:
            for text in (word, word.capitalize(), f" {word}", f" {word.capitalize()}", f"-{word}", f"x-{word}"):
                ids = self._model.pairs.encode(text)
                tokens.update(ids[1:] if text.startswith("x-") else ids)
        tokens.update(self._figures)
        return Alphabet(np.array(sorted(tokens)), width, most, reach)

    @cached_property
    def _figures(self) -> frozenset[int]:
        pairs = self._model.pairs
        marks = set("0123456789.,-:/°%½¼¾")
        texts = ((token, pairs.decode([token])) for token in range(self._model.end))
        return frozenset(token for token, text in texts if text.strip() and set(text.strip()) <= marks and len(text) <= 5)

    # ---- what was found, as meanings

    def _testimony(self, finishes: list[Finish], prepared: _Prepared, listening: Listening) -> Testimony:
        """Texts of one meaning add up. Free texts with no meaning under `listening` are evidence: ('other: TEXT', score)."""
        from handsfree.speech.neural_search import FREE

        totals: dict[Meaning, list[tuple[float, Meaning]]] = {}
        others: list[tuple[str, float]] = []
        free: list[tuple[str, float]] = []
        built = 0
        for finish in finishes:
            if "phrase" not in finish.kinds and FREE not in finish.kinds:
                built += 1
                if built > _BUILT_MOST:
                    continue
            text = self._model.pairs.decode(finish.tokens).strip()
            text = f"-{text[2:]}" if text.startswith("- ") else text  # '- 12' is minus twelve, not twelve
            meaning = self._meaning(finish, text, prepared, listening)
            if meaning is not None:
                totals.setdefault(replace(meaning, spoken=""), []).append((finish.score, meaning))
            elif FREE in finish.kinds:
                others.append((f"{OTHER}{text}", finish.score))
            if FREE in finish.kinds:
                free.append((text, finish.score))
        candidates = [Candidate(scored[0][1], log_sum(score for score, _ in scored)) for scored in totals.values()]
        candidates.sort(key=lambda candidate: -candidate.score)
        text, score = free[0] if free else ("", None)
        return Testimony(self.name, tuple(candidates), text, score, tuple(others[:8]))

    def _meaning(self, finish: Finish, text: str, prepared: _Prepared, listening: Listening) -> Meaning | None:
        if not finish.ended:
            return None
        if "phrase" in finish.kinds:
            return prepared.meanings[finish.tokens]
        if text not in prepared.understood:
            prepared.understood[text] = next(iter(self._language.understand(text, listening)), None)
        return prepared.understood[text]


@dataclass(frozen=True)
class _Prepared:
    trie: TrieNode
    alphabets: Mapping[str, Alphabet]
    meanings: Mapping[tuple[int, ...], Meaning]
    tokens: frozenset[int]  # all that may be written of what is in force
    understood: dict[str, Meaning | None] = field(default_factory=dict)


def breaths(samples: Samples, most: float) -> list[Samples]:
    """The sound in pieces of at most `most` seconds, split at the quietest place in the last third of each."""
    import numpy as np

    pieces, rest, step = [], samples, RATE // 20
    while len(rest) > most * RATE:
        longest = int(most * RATE) // step
        power = np.square(rest[: longest * step].reshape(longest, step)).mean(axis=1)
        first = 2 * longest // 3
        at = (first + int(power[first:].argmin())) * step
        pieces.append(rest[:at])
        rest = rest[at:]
    return [*pieces, rest] if len(rest) >= _SHORTEST * RATE else pieces


def _written(spoken: str, language: Language) -> list[str]:
    given = list(language.written(spoken))
    return list(dict.fromkeys([*given, f"{spoken[:1].upper()}{spoken[1:]}.", spoken, f"{spoken[:1].upper()}{spoken[1:]}"]))


def _openings(opening: str) -> list[str]:
    """'isolated lock' as it may be written before the number."""
    first, *rest = opening.split()
    with_comma = " ".join([f"{first},", *rest]) if rest else first
    return [opening, opening.capitalize(), with_comma, with_comma.capitalize()]


@lru_cache(maxsize=4)
def _load(folder: Path, taught: float) -> _Model:
    from handsfree.speech.neural_adapted import CORRECTIONS, corrected_model
    from handsfree.speech.neural_decoder import Decoder
    from handsfree.speech.neural_encoder import encoder
    from handsfree.speech.neural_weights import identify, model_bytes, read_part

    which = identify(folder)
    one_thread()
    model = corrected_model(model_bytes(folder), which.sha256, taught) if taught else model_bytes(folder)
    weights, sounds = read_part(model, "decoder", folder), read_part(model, "encoder", folder)
    try:
        pairs = BytePairs(folder / "tokenizer.json")
        made = encoder(sounds, int(sounds["num_heads"])), Decoder(weights, int(weights["num_heads"]))
    except Exception as error:  # whatever a damaged file makes numpy or onnxruntime raise
        raise Trouble(f"The Whisper weights in {folder} cannot be used ({error}); install them again.") from None

    def special(name: str) -> int:
        return pairs.special.get(f"<|{name}|>", 0)

    end = special("endoftext")
    return _Model(
        *made, pairs, tuple(special(name) for name in ("startoftranscript", "notimestamps")), end,
        _usual(pairs, end), which.name, which.sha256, taught > 0 and which.sha256 in CORRECTIONS,
    )  # fmt: skip


def _usual(pairs: BytePairs, end: int) -> Any:
    """The commonest tokens that are written in Latin letters, figures and punctuation, and the end: the vocabulary has the
    commonest first. With 10,000 tokens 'isolated' could not be spelt."""
    import numpy as np

    latin = [token for token in range(end) if all(ord(sign) < 0x250 for sign in pairs.decode([token]))]
    return np.array([*latin[:_USUAL_TOKENS], end], np.int64)
