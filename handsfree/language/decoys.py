"""Denials and look-alikes of every accepted phrase in force, so that a recogniser has a place to put them.

Rules of this file:

- A decoy is never a phrase in force: what is in force wins.
- A gate gets the most: negations, questions, doubt, half phrases, every number one digit away, swapped, dropped and doubled
  digits, and the words of the dictionary that sound nearest.
- This file knows no language: the sentences are the grammar's <denial_...>, <command_...> and <gate_...> rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from handsfree.language.expand import expand
from handsfree.language.jsgf import Grammar
from handsfree.language.meaning import Denial, GateAsked, Listening, Meaning, Sense, may_prove
from handsfree.language.own_words import OwnPieces, OwnWords, Words
from handsfree.language.understanding import Vocabulary, forms, gate_forms, in_own_words, trimmed

Pair = tuple[str, Denial]
Near = Callable[[str, int], tuple[str, ...]]  # (word, how many) -> the dictionary's words that sound nearest, no homophones

_ANSWER = (("denial_negated", Denial.NEGATION), ("denial_question", Denial.QUESTION), ("denial_doubt", Denial.UNSURE))
_COMMAND = (("command_negated", Denial.NEGATION),)
_PROOF = (
    *_ANSWER, ("proof_denied", Denial.STILL_ON), ("proof_negated", Denial.NEGATION), ("proof_asked", Denial.QUESTION),
)  # fmt: skip
_GATE = (("gate_negated", Denial.NEGATION), ("gate_question", Denial.QUESTION), ("gate_doubt", Denial.UNSURE))


@dataclass(frozen=True)
class Decoys:
    grammar: Grammar
    vocabulary: Vocabulary
    own: OwnWords
    near: Near
    digits: Words  # the ten digit words, zero first
    likely: Mapping[str, str]  # digit words most often taken for one another: five and nine

    def all(self, listening: Listening) -> dict[str, Meaning]:
        accepted = forms(listening, self.vocabulary)
        by_words = in_own_words({spoken: (one,) for spoken, one in accepted.items()})
        own = self.own.reading(listening, by_words)
        found: dict[str, Meaning] = {}
        for spoken, kind in self._all(listening, accepted):
            if spoken and spoken not in found and not self._accepted(tuple(spoken.split()), by_words, own, listening):
                found[spoken] = Meaning(Sense.DENIAL, kind, spoken=spoken)
        return found

    def _all(self, listening: Listening, accepted: dict[str, Meaning]) -> Iterator[Pair]:
        if listening.gate is not None:
            yield from self.gate(listening.gate)
        taught: set[tuple[Sense, str]] = set()
        for spoken, meaning in accepted.items():
            if meaning.sense is Sense.GATE or meaning.text in listening.asides:  # an aside only informs: it can do no harm
                continue
            first = (meaning.sense, meaning.text) not in taught
            taught.add((meaning.sense, meaning.text))
            yield from self.phrase(spoken, meaning.sense, first)
            if may_prove(meaning, listening):
                yield from self._sentences(_PROOF, (spoken,))

    def _accepted(self, words: Words, accepted: dict[Words, Meaning], own: OwnPieces, listening: Listening) -> bool:
        """It is in force itself, as it stands or without the words around an answer ('it is' before 'not running')."""
        around = (*self.vocabulary.hesitation, *self.vocabulary.lead_in)
        if words in accepted or trimmed(words, around) in accepted or own.meaning(words):
            return True
        return (listening.number is not None and bool(self.vocabulary.readings(words))) or (
            listening.digits is not None and bool(self.vocabulary.digits(words))
        )

    def phrase(self, spoken: str, sense: Sense, first: bool) -> Iterator[Pair]:
        """Decoys of an answer, state or command. Only the first way of a command gets the sentences: for the others they
        would cost more than they keep out."""
        rules = _ANSWER if sense is Sense.PHRASE else _COMMAND if first and sense is Sense.COMMAND else ()
        yield from self._sentences(rules, (spoken,))
        words = tuple(spoken.split())
        if len(words) > 1 and sense is not Sense.STATE:
            yield from ((" ".join(half), Denial.HALF) for half in _halves(words))
        if len(words) == 1:
            yield from ((other, Denial.NEAR) for other in self.near(spoken, 2))

    def gate(self, gate: GateAsked) -> Iterator[Pair]:
        """Decoys of a gate's phrase with its number."""
        openings = self.vocabulary.gates[gate.word]
        number = " ".join(gate.lock)
        whole = tuple(f"{opening} {number}" for opening in openings)
        yield from self._sentences(_GATE, (*(opening.split()[0] for opening in openings), *whole))
        yield from ((phrase.text, Denial.STILL_ON) for phrase in expand(self.grammar, "gate_live"))
        yield from ((f"{phrase.text} {number}", Denial.NEAR) for phrase in expand(self.grammar, "gate_alike"))
        for opening in openings:
            words = tuple(opening.split())
            yield from ((" ".join(half), Denial.HALF) for half in _halves((*words, *gate.lock)))
            yield f"{words[0]} {number}", Denial.HALF
            yield from ((f"{opening} {' '.join(other)}", Denial.NUMBER) for other in self.other_numbers(gate.lock))
            # No look-alikes of a word like 'lock': with the right number, that is the phrase in another accent.
            for other in self.near(words[0], 3):
                yield " ".join((other, *words[1:], *gate.lock)), Denial.NEAR
        for word, ways in self.vocabulary.gates.items():
            if word != gate.word:
                near = GateAsked(word, gate.lock)
                yield from ((form, Denial.NEAR) for form in gate_forms(near, self.vocabulary)[: len(ways)])

    def other_numbers(self, lock: Words) -> tuple[Words, ...]:
        """One digit changed (the likeliest first), two swapped, one dropped, one said twice, one added."""
        found: dict[Words, None] = {}
        for at, digit in enumerate(lock):
            if digit in self.likely:
                found[(*lock[:at], self.likely[digit], *lock[at + 1:])] = None
        for at in range(len(lock)):
            found.update({(*lock[:at], other, *lock[at + 1:]): None for other in self.digits})
            found[lock[:at] + lock[at + 1:]] = None
            found[(*lock[: at + 1], *lock[at:])] = None
            if at:
                found[(*lock[: at - 1], lock[at], lock[at - 1], *lock[at + 1:])] = None
        found.update({(*lock, other): None for other in self.digits})
        return tuple(other for other in found if other != lock and other)

    def _sentences(self, rules: tuple[tuple[str, Denial], ...], phrases: tuple[str, ...]) -> Iterator[Pair]:
        for rule, kind in rules:
            for phrase in expand(self.grammar, rule, {"in_force.phrase": phrases}):
                yield phrase.text, kind


def _halves(words: Words) -> Iterator[Words]:
    for cut in range(1, len(words)):
        yield words[:cut]
        yield words[cut:]
