"""English: `LANGUAGE`, put together from grammar/en.jsgf, grammar/en.prompts.yaml and the english_* modules."""

from __future__ import annotations

from handsfree.language import english_hearing, english_speakable, phonetics
from handsfree.language.base import Language
from handsfree.language.english_numbers import english_numbers
from handsfree.language.english_words import WORDS
from handsfree.language.twoway import TwoWay


class English(Language):
    code = "en"
    words = WORDS
    uncounted = frozenset({"kelvin", "hertz", "psi", "bar", "percent", "revolutions_per_minute"})

    def number_grammar(self) -> TwoWay:
        return english_numbers(self.grammar)

    def needs_both_ways(self, value: float) -> bool:
        return english_hearing.needs_both_ways(value)

    def confusable(self, value: float) -> tuple[float, ...]:
        return english_hearing.confusable(value)

    def speakable(self, text: str) -> str:
        return english_speakable.speakable(text, self.say_number, self.say_quantity, lambda unit: self.say_unit(unit, 1))

    def apart(self, a: str, b: str) -> float:
        return phonetics.distance(a, b)

    def nearest(self, word: str, how_many: int) -> tuple[str, ...]:
        return phonetics.nearest(word, how_many)


LANGUAGE = English()
