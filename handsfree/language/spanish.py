"""Spanish: `LANGUAGE`, put together from grammar/es.jsgf, grammar/es.prompts.yaml and the spanish_* modules."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cached_property

from handsfree.language import spanish_hearing, spanish_sounds, spanish_speakable
from handsfree.language.base import Language
from handsfree.language.expand import expand
from handsfree.language.jsgf import Sequence, Word
from handsfree.language.meaning import Listening, Meaning
from handsfree.language.numerals import exact
from handsfree.language.quantities import alike, pint_name
from handsfree.language.spanish_numbers import bare, spanish_numbers
from handsfree.language.spanish_words import WORDS
from handsfree.language.tokens import tokens
from handsfree.language.twoway import TwoWay

_WORD = re.compile(r"[^\W\d_]+")


class Spanish(Language):
    code = "es"
    words = WORDS
    uncounted = frozenset({"kelvin", "percent"})

    def number_grammar(self) -> TwoWay:
        return spanish_numbers(self.grammar)

    def needs_both_ways(self, value: float) -> bool:
        return spanish_hearing.needs_both_ways(value)

    def confusable(self, value: float) -> tuple[float, ...]:
        return spanish_hearing.confusable(value)

    def speakable(self, text: str) -> str:
        return spanish_speakable.speakable(text, self.say_quantity, self.say_counted)

    def apart(self, a: str, b: str) -> float:
        return spanish_sounds.distance(self.plain(a), self.plain(b))

    def nearest(self, word: str, how_many: int) -> tuple[str, ...]:
        """No pronouncing dictionary of Spanish is at hand."""
        return ()

    # ---- numbers before a noun

    @cached_property
    def feminine(self) -> frozenset[str]:
        return frozenset(phrase.words[0] for phrase in expand(self.grammar, "feminine"))

    def say_counted(self, value: float, noun: str) -> str:
        """The number as it stands before the noun: (21, 'voltios') -> 'veintiún', (200, 'libras') -> 'doscientas'."""
        first = noun.split()[0] if noun else ""
        gender = "" if not first or first == "por" else "_f" if first in self.feminine else "_m"
        ways = self.two_way.say(f"signed{gender}", exact(value)) if gender else ()
        return " ".join(ways[0]) if ways else self.say_number(value)

    def say_quantity(self, value: float, unit: str) -> str:
        noun = self.say_unit(unit, value)
        return f"{self.say_counted(value, noun)} {noun}".strip()

    def number_grammar_jsgf(self, unit: str = "", most: float = 9999) -> str:
        names = alike(unit)
        ways = tuple(dict.fromkeys(way for name in names for way in self.units.get(name, ())))
        by_gender = {g: [way for way in ways if (way.split()[0] in self.feminine) == (g == "_f")] for g in ("_m", "_f")}
        big = frozenset(
            f"{name}{g}" for name, least in (("thousands", 1000), ("millions", 10**6)) if most < least
            for g in ("", "_m", "_f")
        )
        below = " [<below>]" if pint_name(unit) in ("", "degF", "degC") else ""
        counted = [f"<counted{g}> <unit{g}>" for g, found in by_gender.items() if found]
        after = f" [{' | '.join(f'<unit{g}>' for g, found in by_gender.items() if found)}]" if ways else ""
        lines = ["#JSGF V1.0 UTF-8;", "grammar number;"]
        lines.append(f"public <number> = [<minus>] ({' | '.join([f'<magnitude>{after}', *counted])}){below};")
        lines += [f"<unit{g}> = {' | '.join(found)};" for g, found in by_gender.items() if found]
        needed = ["magnitude", "minus", *(f"counted{g}" for g, found in by_gender.items() if found)]
        needed += ["below"] if below else []
        return "\n".join([*lines, self.two_way.jsgf(needed, big)]) + "\n"

    # ---- words as they are typed and transcribed

    def plain(self, text: str) -> str:
        """The text in the form that the common machinery takes, without decimal commas, '¿' and '¡'."""
        return spanish_speakable.figures(text)

    def understand(self, text: str, listening: Listening) -> tuple[Meaning, ...]:
        """Words typed without their accents are tried with them. Words such as 'que', which also exist without one, are
        tried so only where nothing was understood otherwise."""
        found = super().understand(self._accented(text, listening), listening)
        return found or super().understand(self._accented(text, listening, all_of_them=True), listening)

    @cached_property
    def _known(self) -> frozenset[str]:
        """Every word of the grammar."""
        def words(at: object) -> Iterator[str]:
            if isinstance(at, Word):
                yield from at.text.split()
            for inner in _inside(at):
                yield from words(inner)

        return frozenset(word for rule in self.grammar.rules.values() for word in words(rule.expansion))

    def _accented(self, text: str, listening: Listening, all_of_them: bool = False) -> str:
        """Puts back the accents of known words that were typed without them: 'frio' -> 'frío'. A word that also exists
        without accents, as 'que' does, is left unless `all_of_them` is asked for."""
        known = self._known | {word for phrase in listening.phrases for word in tokens(self.plain(phrase))}
        missing = {bare(word): word for word in sorted(known) if bare(word) != word}
        if not all_of_them:
            missing = {plain: word for plain, word in missing.items() if plain not in known}
        return _WORD.sub(lambda match: missing.get(match[0].lower(), match[0]), text)


def _inside(at: object) -> tuple[object, ...]:
    if isinstance(at, Sequence):
        return tuple(at.items)
    return tuple(getattr(at, "branches", ())) or ((at.item,) if hasattr(at, "item") else ())


LANGUAGE = Spanish()
