"""How the answers of a procedure sound: alike, like a phrase that always works, too short, or unknown to the engine."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from itertools import combinations, permutations, product

from handsfree.language.base import Language
from handsfree.language.meaning import ALWAYS, GIVES_WAY, WHEN_ASKED
from handsfree.procedure import phrasing
from handsfree.procedure.confusions import least_cost, shares_of, weighed
from handsfree.procedure.model import Answer, Ask, Book
from handsfree.procedure.remarks import Remark, Weight, remark_at
from handsfree.procedure.wording import WordLists, texts, word_lists

#: Shares of differing sound (`Language.apart`). Below the first two words are taken for one another: 'warm' and 'worn'
#: lie 0.12 apart, 'fan' and 'van' 0.17. Below the second, in noise: 'hot' and 'not' 0.33. Chosen by ear and by those pairs.
ALIKE = 0.25
NEAR = 0.34
#: An answer of so few sounds has nothing to hold on to ('on', 'no').
SHORT = 2
#: Signs that are neither letters, digits, punctuation of a sentence, nor of a unit.
_UNSAID = re.compile(r"[^\w\s.,;:!?'\"()\-–—…’“”¿¡°%Ωµμ±/+&]|_")


def remarks(book: Book, name: str, language: Language) -> Iterator[Remark]:
    procedure = book.procedures[name]
    words = word_lists(procedure.language)
    for step in procedure.steps:
        for text in texts(step):
            if unsaid := _UNSAID.search(text):
                found = remark_at(book, name, step, "sound", Weight.ADVICE, "unsaid-sign", sign=unsaid[0])
                yield replace(found, field="say")
        if isinstance(step, Ask):
            say = partial(remark_at, book, name, step, "sound")
            yield from _alike(step, language, words, say)
            yield from _one_word_apart(step, language, words, say)
            yield from _like_commands(step, language, words, say)
            if procedure.language == "en":  # the dictionary at hand is of English
                yield from _unknown(step, language, words, say)


def _far(language: Language, a: str, b: str) -> float:
    """The nearer of two: by groups of sounds that are like one another, and by confusions that were measured."""
    return min(language.apart(a, b), weighed(a, b, language.code))


def taken_for(language: Language, a: str, b: str) -> bool:
    """One may be heard as the other."""
    return a.casefold() == b.casefold() or (_may_lie_within(language, a, b, ALIKE) and _far(language, a, b) < ALIKE)


def _may_lie_within(language: Language, a: str, b: str, share: float) -> bool:
    """False where their lengths alone keep them further apart than this (a sound that is lost costs 1), or, in English, so
    many sounds of theirs differ that they do whatever these are: found sooner than by how unlike each is."""
    from handsfree.language.phonetics import apart_at_least, phonemes

    one, other = phonemes(a), phonemes(b)
    longer = max(len(one), len(other))
    if abs(len(one) - len(other)) >= share * longer and len(one) != len(other):
        return False
    return language.code != "en" or apart_at_least(one, other, least_cost(language.code)) < share


def _all_but_one(a: str, b: str, language: Language) -> bool:
    """Two answers of so few sounds that the one they differ in is all there is to tell them by ('low', 'no')."""
    from handsfree.language.phonetics import phonemes

    one, other = phonemes(a), phonemes(b)
    short = len(one) == len(other) <= SHORT
    return bool(shares_of(language.code)) and short and sum(x != y for x, y in zip(one, other, strict=True)) == 1


def ways_said(answer: Answer) -> tuple[str, ...]:
    return (answer.say, *answer.also)


def _alike(step: Ask, language: Language, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    for one, other in combinations(step.answers, 2):
        apart, a, b = min((_far(language, a, b), a, b) for a in ways_said(one) for b in ways_said(other))
        if apart < NEAR or _all_but_one(a, b, language):
            weight = Weight.ERROR if apart < ALIKE else Weight.ADVICE
            taken = [way for answer in step.answers if answer is not other for way in ways_said(answer)]
            yield say(weight, "alike", a=a, b=b, better=_better(b, a, taken, language, words))


def _one_word_apart(step: Ask, language: Language, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    """Answers of which one is the other with a word more: a word that is lost turns it round ('tight', 'not tight')."""
    from handsfree.language.tokens import tokens

    for one, other in permutations(step.answers, 2):
        for a, b in product(ways_said(one), ways_said(other)):
            short, long = " ".join(tokens(a)), " ".join(tokens(b))
            rest = long.removesuffix(short) if short else long
            if rest == long or not rest:
                continue
            if rest.endswith(" ") and rest.strip() in words["negations"]:
                yield say(Weight.ERROR, "lost-word", a=a, b=b, lost=rest.strip())
                return
            if rest in words["negating_prefixes"] and _far(language, a, b) >= NEAR:
                yield say(Weight.ADVICE, "lost-prefix", a=a, b=b, lost=rest)
                return


def _like_commands(step: Ask, language: Language, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    phrases = [way for name in ALWAYS if name not in GIVES_WAY for way in language.commands.get(name, ())]
    guarded = _guarded(language)
    for answer in step.answers:
        same = next((way for way in ways_said(answer) if way.casefold() in guarded), None)
        if same is not None:
            yield say(Weight.ERROR, "guarded-answer", way=same)
            continue
        near = [pair for pair in product(ways_said(answer), phrases) if _may_lie_within(language, *pair, ALIKE)]
        apart, way, phrase = min(((_far(language, *pair), *pair) for pair in near), default=(1.0, "", ""))
        if apart < ALIKE:
            others = [w for one in step.answers if one is not answer for w in ways_said(one)]
            better = _better(way, "", others, language, words)
            yield say(Weight.ERROR, "like-command", way=way, phrase=phrase, better=better)


def _guarded(language: Language) -> frozenset[str]:
    """The very words on which a proof, a caution or a gate hangs. 'Yes', 'no' and 'done' stand for answers."""
    names = [name for name in (*WHEN_ASKED, *GIVES_WAY) if name not in ("yes", "no", "done")]
    return frozenset(way for name in names for way in language.commands.get(name, ())) | {
        way for starts in language.gates.values() for way in starts
    }


def _unknown(step: Ask, language: Language, words: WordLists, say: partial[Remark]) -> Iterator[Remark]:
    from handsfree.language.phonetics import lacking, phonemes
    from handsfree.language.tokens import tokens

    for answer in step.answers:
        for way in ways_said(answer):
            spoken = list(tokens(way))
            missing = lacking(spoken)
            if missing:
                written = _apart(missing[0]) or _in_words(way, language)
                known = _better(way, "", [], language, words, "say-known")
                better = _write_as(written, language) if written else known
                yield say(Weight.ERROR, "unknown-word", way=way, word=missing[0], better=better)
            elif 0 < len(phonemes(way)) <= SHORT:
                others = [w for one in step.answers if one is not answer for w in ways_said(one)]
                yield say(Weight.ADVICE, "too-short", way=way, better=_better(way, "", others, language, words))


def _in_words(way: str, language: Language) -> str:
    """'2' -> 'two'."""
    spoken = language.speakable(way)
    return spoken if spoken.casefold() != way.casefold() else ""


def _write_as(written: str, language: Language) -> str:
    return phrasing.say(language.code, "write-as", written=written)


def _apart(word: str) -> str:
    """'lowside' -> 'low side', where the dictionary has both."""
    from handsfree.language.phonetics import common, lacking

    for cut in range(3, len(word) - 2):
        halves = (word[:cut], word[cut:])
        if not lacking(halves) and all(common(half) for half in halves):
            return " ".join(halves)
    return ""


def _better(
    answer: str, rival: str, taken: list[str], language: Language, words: WordLists, otherwise: str = "say-longer"
) -> str:
    """An answer for the same thing that sounds like nothing else in force, from the language's list; where it has none, what
    helps `otherwise`."""
    phrases = [way for name in ALWAYS for way in language.commands.get(name, ())]
    for said in (answer, rival):
        offers = [word for group in words.instead if said.casefold() in group for word in group if word != said.casefold()]
        for offer in offers:
            if min((_far(language, offer, other) for other in (*taken, *phrases, said)), default=1.0) >= NEAR:
                return phrasing.say(language.code, "say-instead", offer=offer, said=said)
    return phrasing.say(language.code, otherwise)
