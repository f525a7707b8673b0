"""What the program needs to know of a language. Each language is one object; `load` finds it by its ISO 639-1 code.

Nothing outside `grammar/` and the language's own module (`english.py`, `spanish.py`) knows a word of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from handsfree.language.meaning import Listening, Meaning
from handsfree.language.own_words import OwnWords


class Language(Protocol):
    code: str
    #: command name -> every way to say it, from grammar/<code>.jsgf: 'next step' -> ('next step', 'next', ...)
    commands: Mapping[str, tuple[str, ...]]
    #: gate word ('isolated', 'clear') -> how its phrase begins: ('isolated lock',)
    gates: Mapping[str, tuple[str, ...]]
    #: over-range / unsteady -> every way to say it
    states: Mapping[str, tuple[str, ...]]

    #: to tell who is meant: 'replying' words people answer with, 'plain' words of every sentence, 'trade' of the work,
    #: 'others' of other people
    hints: Mapping[str, frozenset[str]]

    @property
    def own_words(self) -> OwnWords:
        """What people say in place of the words they were taught."""
        ...

    def prompt(self, key: str, **values: object) -> str:
        """The sentence for `key` from grammar/<code>.prompts.yaml, filled in. KeyError for one that is not there."""
        ...

    def numbers(self, words: Sequence[str]) -> tuple[Meaning, ...]:
        """Every reading of these words as a number with or without its unit, the chosen one first; () for none.
        `Meaning.value` and `.unit` (pint name or None) are set."""
        ...

    def say_number(self, value: float) -> str:
        """43.5 -> 'forty three point five'. Every value it can say, `numbers` reads back unchanged."""
        ...

    def say_quantity(self, value: float, unit: str) -> str:
        """(43.5, 'degF') -> 'forty three point five degrees Fahrenheit'."""
        ...

    def say_unit(self, unit: str) -> str:
        """'degF' -> 'degrees Fahrenheit'; '' -> ''."""
        ...

    def say_digits(self, value: float) -> str:
        """43.5 -> 'four three decimal five' (ICAO Doc 9432: digit by digit)."""
        ...

    def digits(self, words: Sequence[str]) -> tuple[str, ...]:
        """Digit words in plain form, 'niner' -> 'nine', 'double four' -> ('four', 'four'); () where any is none."""
        ...

    def needs_both_ways(self, value: float) -> bool:
        """The value has a -teen or a -ty, so the read-back must say it both ways."""
        ...

    def speakable(self, text: str) -> str:
        """Text of a procedure as it should be spoken: '208 V' -> 'two hundred and eight volts', part codes spelled."""
        ...

    def understand(self, text: str, listening: Listening) -> tuple[Meaning, ...]:
        """Every meaning that these exact words have under `listening`, best first; denials included; () for none.
        The typed visit hears through this, and so does any engine that returns words."""
        ...

    def forms(self, listening: Listening) -> Mapping[str, Meaning]:
        """Every fixed phrase in force, as spoken, with its meaning: answers, commands, states, the gate's phrase.
        Numbers are not enumerated here."""
        ...

    def decoys(self, listening: Listening) -> Mapping[str, Meaning]:
        """Denials and look-alikes of every accepted phrase in force, as spoken, each with Sense.DENIAL: negations,
        questions, half phrases, other lock numbers."""
        ...

    def written(self, spoken: str) -> tuple[str, ...]:
        """How a transcriber would write the phrase: 'isolated lock four two' -> ('Isolated, lock 42.', ...)."""
        ...

    # ---- for recognisers, corpora and tests

    def spoken_forms(self, value: float, unit: str = "") -> tuple[str, ...]:
        """All the ways people say the reading, with and without its unit, the program's own first."""
        ...

    def written_forms(self, value: float, unit: str = "") -> tuple[str, ...]:
        """The ways a transcriber writes it: '43.5', '43.5°F', '2,200 V', '11 1/2', '-12'."""
        ...

    def apart(self, a: str, b: str) -> float:
        """How far two texts lie apart in sound: 0 the same, 1 nothing in common."""
        ...

    def confusable(self, value: float) -> tuple[float, ...]:
        """Values that sound near this one, without itself."""
        ...

    def vocabulary(self) -> frozenset[str]:
        """Every word that a number or its unit may be said with."""
        ...

    def number_grammar_jsgf(self, unit: str = "", most: float = 9999) -> str:
        """A JSGF grammar whose public <number> is one number with or without its unit; no larger words than `most` needs."""
        ...


def load(code: str) -> Language:
    """Trouble where the grammar folder has no such language or its files do not parse."""
    from importlib import import_module

    from handsfree.errors import Trouble

    modules = {"en": "handsfree.language.english", "es": "handsfree.language.spanish"}
    if code not in modules:
        known = ", ".join(sorted(modules))
        raise Trouble(f"There is no language '{code}'; the grammar folder has: {known}.")
    language: Language = import_module(modules[code]).LANGUAGE
    return language
