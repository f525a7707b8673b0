"""A language: its grammar file, its prompts and its number grammar, put together. `load` finds one by its ISO 639-1 code.

Rules of this file:

- What is the same in every language is written here. What each must supply is abstract: its number words and grammar, what
  is misheard in it, what it says for signs.
- Nothing outside `grammar/` and the language's own module (`english.py`, `spanish.py`) knows a word of it.
- Files are read when they are first needed, once.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from functools import cache, cached_property, lru_cache

from handsfree.language import prompts, understanding
from handsfree.language.declared import with_units
from handsfree.language.decoys import Decoys
from handsfree.language.expand import expand
from handsfree.language.jsgf import Grammar, load_grammar
from handsfree.language.meaning import ALWAYS, IN_OWN_WORDS, WHEN_ASKED, YES_NO, Listening, Meaning, Sense
from handsfree.language.numerals import NumberWords, Written, exact, written_forms, written_phrase, written_plainly
from handsfree.language.own_words import OwnWords
from handsfree.language.quantities import alike, pint_name
from handsfree.language.tokens import is_number, tokens
from handsfree.language.twoway import TwoWay
from handsfree.language.understanding import Vocabulary
from handsfree.resources import shipped_folder


class Language(ABC):
    code: str
    words: NumberWords
    #: units with the same singular and plural: a grammar has them once
    uncounted: frozenset[str]

    # ---- what a language must supply

    @abstractmethod
    def number_grammar(self) -> TwoWay:
        """The two-way grammar of its numbers. Names it must have: 'signed', 'magnitude', 'quantity', 'digits', 'minus' and
        'below' (and 'thousands' and 'millions', left out of recognisers' grammars where no such number is plausible)."""

    @abstractmethod
    def needs_both_ways(self, value: float) -> bool:
        """The value has a -teen or a -ty, so the read-back must say it both ways."""

    @abstractmethod
    def confusable(self, value: float) -> tuple[float, ...]:
        """Values that sound near this one, without itself."""

    @abstractmethod
    def speakable(self, text: str) -> str:
        """Text of a procedure as it should be spoken: '208 V' -> 'two hundred and eight volts', part codes spelled."""

    @abstractmethod
    def apart(self, a: str, b: str) -> float:
        """How far two texts lie apart in sound: 0 the same, 1 nothing in common."""

    def plain(self, text: str) -> str:
        """The text with its written numbers and marks as `tokens` takes them: '43,5' -> '43.5' in a language with a decimal
        comma."""
        return text

    @abstractmethod
    def nearest(self, word: str, how_many: int) -> tuple[str, ...]:
        """Common words that sound nearest to `word` without sounding the same; () where there is no dictionary."""

    # ---- what the grammar says

    @cached_property
    def grammar(self) -> Grammar:
        return load_grammar(shipped_folder("grammar") / f"{self.code}.jsgf", lambda text: with_units(text, self.code))

    @cached_property
    def _prompts(self) -> prompts.Prompts:
        return prompts.load(shipped_folder("grammar") / f"{self.code}.prompts.yaml")

    @cached_property
    def commands(self) -> Mapping[str, tuple[str, ...]]:
        """Command -> every way to say it: 'next step' -> ('next step', 'next', ...)."""
        return {name: self._ways(name.replace(" ", "_")) for name in (*ALWAYS, *WHEN_ASKED, *IN_OWN_WORDS)}

    @cached_property
    def hints(self) -> Mapping[str, frozenset[str]]:
        """To tell who is meant: 'replying' words people answer with, 'plain' words of every sentence, 'trade' of the work,
        'others' of other people; 'figures' and 'denying' words; 'asking' and 'correcting' words begin such a sentence, those
        of 'what_else' and 'besides' stand in it, those of 'too' end it, those of 'going_on' join two. 'harmless': things
        named after a danger."""
        rules = ("replying", "plain", "trade", "others", "figures", "denying", "asking", "correcting", "what_else",
                 "besides", "too", "going_on", "harmless")  # fmt: skip
        return {rule: frozenset(self._ways(rule)) for rule in rules}

    @cached_property
    def gates(self) -> Mapping[str, tuple[str, ...]]:
        """Gate word ('isolated', 'clear') -> how its phrase begins: ('isolated lock',)."""
        return self._tagged("gate")

    @cached_property
    def states(self) -> Mapping[str, tuple[str, ...]]:
        """'over range' or 'unsteady' -> every way to say it."""
        return self._tagged("state")

    @cached_property
    def units(self) -> Mapping[str, tuple[str, ...]]:
        """pint name -> its ways to be said, the plural first, the singular second."""
        return self._tagged("unit", once=False)

    def _ways(self, rule: str) -> tuple[str, ...]:
        return tuple(phrase.text for phrase in expand(self.grammar, rule))

    def _tagged(self, rule: str, once: bool = True) -> Mapping[str, tuple[str, ...]]:
        ways: dict[str, tuple[str, ...]] = {}
        for phrase in expand(self.grammar, rule):
            ways[phrase.tags[-1]] = (*ways.get(phrase.tags[-1], ()), phrase.text)
        if not once:  # a unit with the same singular and plural is in the expansion once
            ways = {name: (way[0], *way) if name in self.uncounted or len(way) == 1 else way for name, way in ways.items()}
        return ways

    @cached_property
    def vocabulary_of_phrases(self) -> Vocabulary:
        def words(rule: str) -> frozenset[str]:
            return frozenset(self._ways(rule))

        def sequences(rule: str) -> tuple[tuple[str, ...], ...]:
            return tuple(phrase.words for phrase in expand(self.grammar, rule))

        def written(rule: str) -> dict[str, tuple[str, ...]]:
            there = expand(self.grammar, rule) if rule in self.grammar.rules else ()
            return {phrase.text: tuple(phrase.tags[-1].split()) for phrase in there}

        return Vocabulary(
            self.commands, self.gates, self.states, written("respell"), sequences("hesitation"), sequences("lead_in"),
            sequences("number_lead_in"),
            words("negation"), words("asking"), words("doubt"), words("live"), written("whole"),
            # its numbers only when they are asked for: their grammar takes long to build
            lambda said: self._written.words(said), lambda said: self._written.digits(said),
            lambda said: self._readings(tuple(said)), self.digits, self.digit_ways, self.speakable,
        )

    @cached_property
    def own_words(self) -> OwnWords:
        """What people say in place of the words they were taught."""
        def of(rule: str) -> frozenset[tuple[str, ...]]:
            there = rule in self.grammar.rules
            return frozenset(phrase.words for phrase in expand(self.grammar, rule)) if there else frozenset()

        ways = {name: of(f"own_{name.replace(' ', '_')}") for name in (*ALWAYS, *WHEN_ASKED, *IN_OWN_WORDS)}
        yes_no = frozenset(tuple(way.split()) for name in YES_NO for way in self.commands[name])
        return OwnWords(
            {name: own for name, own in ways.items() if own}, of("around"), of("opening"), of("assent"), of("unwritten"),
            yes_no,
        )  # fmt: skip

    # ---- numbers

    @cached_property
    def two_way(self) -> TwoWay:
        return self.number_grammar()

    @cached_property
    def _written(self) -> Written:
        unit_words = {name: tuple(tuple(way.split()) for way in ways) for name, ways in self.units.items()}
        return Written(self.words, self.two_way, unit_words)

    @lru_cache(maxsize=20_000)  # noqa: B019  one object a process
    def _readings(self, words: tuple[str, ...]) -> tuple[tuple[float, str | None], ...]:
        spelled = self._written.words(tuple(word.lower() for word in words))
        return tuple((float(value), unit) for value, unit in self.two_way.read("quantity", spelled))

    def numbers(self, words: Sequence[str]) -> tuple[Meaning, ...]:
        """Every reading of these words as a number with or without its unit, the chosen one first; () for none.
        `Meaning.value` and `.unit` (pint name or None) are set."""
        found = self._readings(tuple(words))
        return tuple(Meaning(Sense.NUMBER, f"{value:.12g}", value, unit, " ".join(words)) for value, unit in found)

    def say_number(self, value: float) -> str:
        """43.5 -> 'forty three point five'. Every value it can say, `numbers` reads back unchanged."""
        return " ".join(self.two_way.say("signed", exact(value))[0])

    def say_unit(self, unit: str, value: float = 2) -> str:
        """'volts', or 'volt' after one; a unit without words of its own by its pint name; '' for a bare count."""
        name = pint_name(unit).removeprefix("delta_")
        if not name:
            return ""
        ways = self.units.get(name)
        if ways is None:
            name = name.replace("_", " ").replace("/", self.words.per)
            return name.replace("**", self.words.power).replace("*", "")
        return self.words.capital(ways[abs(exact(value)) == 1])

    def say_quantity(self, value: float, unit: str) -> str:
        """(43.5, 'degF') -> 'forty three point five degrees Fahrenheit'."""
        return f"{self.say_number(value)} {self.say_unit(unit, value)}".strip()

    def say_digits(self, value: float) -> str:
        """43.5 -> 'four three decimal five' (ICAO Doc 9432: digit by digit)."""
        number = exact(value)
        whole, point, fraction = written_plainly(abs(number)).partition(".")
        minus = (self.words.minus,) if number < 0 else ()
        after = (self.words.decimal, *self.words.spell(fraction)) if point else ()
        return " ".join((*minus, *self.words.spell(whole), *after))

    def digits(self, words: Sequence[str]) -> tuple[str, ...]:
        """Digit words in plain form, 'niner' -> 'nine', 'double four' -> ('four', 'four'); () where any is none."""
        found = self.two_way.read("digits", self._written.digits([word.lower() for word in words]))
        return self.words.spell(found[0]) if found else ()

    def digit_ways(self, digits: Sequence[str]) -> tuple[str, ...]:
        """Every way to say the digits one by one: 'four four', 'double four'; the plain one first."""
        ways = self.two_way.say("digits", self.words.figures(digits))
        plain_way = tuple(digits)
        return tuple(" ".join(way) for way in sorted(ways, key=lambda way: way != plain_way))

    def spoken_forms(self, value: float, unit: str = "") -> tuple[str, ...]:
        """All the ways people say the reading, with and without its unit, the program's own first. Rare ones (nought,
        plus twelve) are understood but not listed."""
        number, name = exact(value), pint_name(unit).removeprefix("delta_")
        forms = list(self.two_way.say("signed", number))
        if name in self.units:
            wrong = self.units[name][abs(number) != 1]
            right = self.units[name][abs(number) == 1]
            ends = tuple(wrong.split()) if wrong != right else ("",)
            forms += [way for way in self.two_way.say("quantity", (number, name)) if not _holds(way, ends)]
            if name in ("degF", "degC"):
                odd = tuple(self.units["degree"][abs(number) != 1].split())
                forms += [way for way in self.two_way.say("quantity", (number, "degree")) if not _holds(way, odd)]
        own = self.say_quantity(value, unit).lower()
        return tuple(dict.fromkeys((own, *(" ".join(way) for way in forms))))

    def written_forms(self, value: float, unit: str = "") -> tuple[str, ...]:
        """The ways a transcriber writes the reading: '43.5', '43.5 degrees', '43.5°F', '2,200 V', '11 1/2', '-12'."""
        return written_forms(value, pint_name(unit).removeprefix("delta_"), self._written)

    def vocabulary(self) -> frozenset[str]:
        """Every word that a number or its unit may be said with."""
        return self.two_way.words(rare=False)

    def number_grammar_jsgf(self, unit: str = "", most: float = 9999) -> str:
        """One number with or without its unit, as a JSGF grammar for PocketSphinx; <number> is public. `most`: below 1000 it
        has no words for thousands, below a million none for millions. It has the units that fit the step's."""
        big = frozenset(name for name, least in (("thousands", 1000), ("millions", 10**6)) if most < least)
        names = alike(unit)
        ways = tuple(dict.fromkeys(way for name in names for way in self.units.get(name, ())))
        return recogniser_grammar(self.two_way, ways, big, below=pint_name(unit) in ("", "degF", "degC"))

    # ---- phrases

    @cached_property
    def _decoys(self) -> Decoys:
        return Decoys(
            self.grammar, self.vocabulary_of_phrases, self.own_words, self.nearest, self.words.digits,
            self.words.likely,
        )

    def forms(self, listening: Listening) -> Mapping[str, Meaning]:
        """Every fixed phrase in force, as spoken, with its meaning: answers, commands, states, the gate's phrase. No
        numbers."""
        return understanding.forms(listening, self.vocabulary_of_phrases)

    @lru_cache(maxsize=256)  # noqa: B019  one object a process
    def decoys(self, listening: Listening) -> Mapping[str, Meaning]:
        """Denials and look-alikes of every accepted phrase in force, as spoken, each with Sense.DENIAL: negations,
        questions, half phrases, other lock numbers."""
        return self._decoys.all(listening)

    def understand(self, text: str, listening: Listening) -> tuple[Meaning, ...]:
        """Every meaning that these exact words have under `listening`, best first; denials included; () for none.
        The typed visit hears through this, and so does any engine that returns words."""
        return understanding.understand(
            self.plain(text), listening, self.vocabulary_of_phrases, self.own_words, self.decoys
        )

    def written(self, spoken: str) -> tuple[str, ...]:
        """How a transcriber would write the phrase: 'isolated lock four two' -> ('Isolated, lock 42.', ...)."""
        gates = [opening for ways in self.gates.values() for opening in ways]
        readings = self._readings(tuple(spoken.split()))
        phrases = written_phrase(spoken, gates, self.words, self.vocabulary_of_phrases.asking)
        if not readings:
            return phrases
        value, unit = readings[0]
        forms = self.written_forms(value, unit or "")
        with_unit = [form for form in forms if not unit or not is_number(tokens(self.plain(form))[-1])]
        return tuple(dict.fromkeys([*(f"{form}." for form in with_unit[:4]), *with_unit, *phrases]))

    def prompt(self, key: str, **values: object) -> str:
        """The sentence for `key` from grammar/<code>.prompts.yaml, filled in. KeyError for one that is not there."""
        return self._prompts.prompt(key, **values)


def _holds(way: tuple[str, ...], part: tuple[str, ...]) -> bool:
    return any(way[at : at + len(part)] == part for at in range(len(way) - len(part) + 1))


@cache
def recogniser_grammar(two_way: TwoWay, unit_ways: tuple[str, ...], big: frozenset[str], below: bool) -> str:
    """The magnitude stands in it once, with its sign around it: this makes a recogniser's network a third of the size."""
    rules = two_way.jsgf(["magnitude", "minus", *(["below"] if below else [])], big)
    after = ("[<unit>] " if unit_ways else "") + ("[<below>]" if below else "")
    lines = ["#JSGF V1.0 UTF-8;", "grammar number;", f"public <number> = [<minus>] <magnitude> {after};"]
    if unit_ways:
        lines.append(f"<unit> = {' | '.join(unit_ways)};")
    return "\n".join([*lines, rules]) + "\n"


_MODULES = {"en": "handsfree.language.english", "es": "handsfree.language.spanish"}
CODES = tuple(sorted(_MODULES))


def load(code: str) -> Language:
    """Trouble where the grammar folder has no such language or its files do not parse."""
    from importlib import import_module

    from handsfree.errors import Trouble

    if code not in CODES:
        raise Trouble(f"There is no language '{code}'; the grammar folder has: {', '.join(CODES)}.")
    language: Language = import_module(_MODULES[code]).LANGUAGE
    return language
