"""How the answers of a procedure sound: alike, like a phrase that always works, too short, or unknown to the engine."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import partial
from itertools import combinations, permutations, product

from handsfree.language.base import Language
from handsfree.language.meaning import ALWAYS
from handsfree.procedure.model import Answer, Ask, Book
from handsfree.procedure.remarks import Remark, Weight, at
from handsfree.procedure.wording import Words, texts, words_of

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
    words = words_of(procedure.language)
    for step in procedure.steps:
        for text in texts(step):
            if unsaid := _UNSAID.search(text):
                do = "Write it in words."
                why = f"has the sign '{unsaid[0]}', which the voice leaves out or spells."
                yield at(book, name, step, "sound", Weight.ADVICE, why, do)
        if isinstance(step, Ask):
            say = partial(at, book, name, step, "sound")
            yield from _alike(step, language, words, say)
            yield from _one_word_apart(step, language, words, say)
            yield from _like_commands(step, language, words, say)
            if procedure.language == "en":  # the dictionary at hand is of English
                yield from _unknown(step, language, words, say)


def ways(answer: Answer) -> tuple[str, ...]:
    return (answer.say, *answer.also)


def _alike(step: Ask, language: Language, words: Words, say: partial[Remark]) -> Iterator[Remark]:
    for one, other in combinations(step.answers, 2):
        apart, a, b = min((language.apart(a, b), a, b) for a in ways(one) for b in ways(other))
        if apart < NEAR:
            weight = Weight.ERROR if apart < ALIKE else Weight.ADVICE
            taken = [way for answer in step.answers if answer is not other for way in ways(answer)]
            yield say(weight, f"has the answers '{a}' and '{b}', which sound alike.", _better(b, a, taken, language, words))


def _one_word_apart(step: Ask, language: Language, words: Words, say: partial[Remark]) -> Iterator[Remark]:
    """Answers of which one is the other with a word more: a word that is lost turns it round ('tight', 'not tight')."""
    from handsfree.language.tokens import tokens

    do = "Take another word for one of them, so that no lost word turns it into the other."
    for one, other in permutations(step.answers, 2):
        for a, b in product(ways(one), ways(other)):
            short, long = " ".join(tokens(a)), " ".join(tokens(b))
            rest = long.removesuffix(short) if short else long
            if rest == long or not rest:
                continue
            if rest.endswith(" ") and rest.strip() in words["negations"]:
                lost = rest.strip()
                why = f"has the answers '{a}' and '{b}', which differ by '{lost}' alone; recognisers lose such a word."
                yield say(Weight.ERROR, why, do)
                return
            if rest in words["negating_prefixes"] and language.apart(a, b) >= NEAR:
                yield say(Weight.ADVICE, f"has the answers '{a}' and '{b}', which differ by '{rest}-' alone.", do)
                return


def _like_commands(step: Ask, language: Language, words: Words, say: partial[Remark]) -> Iterator[Remark]:
    phrases = [way for name in ALWAYS for way in language.commands.get(name, ())]
    for answer in step.answers:
        apart, way, phrase = min((language.apart(way, phrase), way, phrase) for way in ways(answer) for phrase in phrases)
        if apart < ALIKE:
            others = [w for one in step.answers if one is not answer for w in ways(one)]
            yield say(
                Weight.ERROR, f"has the answer '{way}', which sounds like '{phrase}', a phrase that always works.",
                _better(way, "", others, language, words),
            )  # fmt: skip


def _unknown(step: Ask, language: Language, words: Words, say: partial[Remark]) -> Iterator[Remark]:
    from handsfree.language.phonetics import lacking, phonemes
    from handsfree.language.tokens import tokens

    for answer in step.answers:
        for way in ways(answer):
            spoken = list(tokens(way))
            missing = lacking(spoken)
            if missing:
                yield say(
                    Weight.ERROR, f"has the answer '{way}', but the recogniser's dictionary has no '{missing[0]}'.",
                    _apart(missing[0]) or _in_words(way, language) or _better(way, "", [], language, words),
                )  # fmt: skip
            elif 0 < len(phonemes(way)) <= SHORT:
                yield say(
                    Weight.ADVICE, f"has the answer '{way}', which is too short to be heard well.",
                    _better(way, "", [w for one in step.answers if one is not answer for w in ways(one)], language, words),
                )  # fmt: skip


def _in_words(way: str, language: Language) -> str:
    """'2' -> 'two'."""
    spoken = language.speakable(way)
    return f"Write it as '{spoken}'." if spoken.casefold() != way.casefold() else ""


def _apart(word: str) -> str:
    """'lowside' -> 'low side', where the dictionary has both."""
    from handsfree.language.phonetics import common, lacking

    for cut in range(3, len(word) - 2):
        halves = (word[:cut], word[cut:])
        if not lacking(halves) and all(common(half) for half in halves):
            return f"Write it as '{halves[0]} {halves[1]}'."
    return ""


def _better(answer: str, rival: str, taken: list[str], language: Language, words: Words) -> str:
    """An answer for the same thing that sounds like nothing else in force, from the language's list."""
    phrases = [way for name in ALWAYS for way in language.commands.get(name, ())]
    for said in (answer, rival):
        offers = [word for group in words.instead if said.casefold() in group for word in group if word != said.casefold()]
        for offer in offers:
            if min((language.apart(offer, other) for other in (*taken, *phrases, said)), default=1.0) >= NEAR:
                return f"Say '{offer}' instead of '{said}'."
    return "Take a longer word with other vowels, or two words."
