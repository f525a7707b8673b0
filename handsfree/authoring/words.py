"""The words of the recorder: grammar/<language>.record.jsgf and grammar/<language>.record.prompts.yaml.

Rules of this file:

- A command is a rule without tags, named as it is called here; a choice is a rule whose tags are the values of the file.
- This module knows no language; without the two files a language cannot be used for recording.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from handsfree.errors import Trouble
from handsfree.language import base, jsgf, prompts
from handsfree.language.base import Language
from handsfree.language.expand import expand
from handsfree.language.tokens import tokens
from handsfree.procedure.hazards import usual
from handsfree.resources import shipped_folder


@dataclass(frozen=True, eq=False)
class RecorderWords:
    """What the recorder says and understands in one language."""

    language: Language
    grammar: jsgf.Grammar
    sentences: prompts.Prompts
    _found: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)

    def pairs(self, rule: str) -> tuple[tuple[str, str], ...]:
        """(wording, its tag or '') of a rule, in the order of the grammar."""
        if rule not in self._found:
            found = expand(self.grammar, rule)
            self._found[rule] = tuple((phrase.text, phrase.tags[-1] if phrase.tags else "") for phrase in found)
        return self._found[rule]

    def ways(self, command: str) -> tuple[str, ...]:
        return tuple(way for way, _ in self.pairs(command.replace(" ", "_")))

    def taught(self, command: str) -> str:
        return self.ways(command)[0]

    def choice(self, rule: str) -> Mapping[str, str]:
        """Wording -> value. Hazards and proofs are data: those without a wording in the grammar go by their names."""
        known = {"hazard": usual().hazards, "method": usual().methods}.get(rule, {})
        ways = dict(self.pairs(rule))
        return ways | {name.replace("-", " "): name for name in known if name not in ways.values()}

    def name_of(self, rule: str, value: str) -> str:
        """The first wording of a value."""
        return next((way for way, tag in self.pairs(rule) if tag == value), value)

    def prompt(self, key: str, **values: object) -> str:
        return self.sentences.prompt(key, **values)

    def joined(self, items: Sequence[str]) -> str:
        """'a, b or c'."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.language.prompt('or')} {items[-1]}"

    def listed(self, items: Sequence[str]) -> str:
        """'a, b and c'."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.language.prompt('and')} {items[-1]}"

    def tokens(self, text: str) -> tuple[str, ...]:
        """The words of a text without the signs of its language."""
        return tokens(self.language.plain(text))

    def says(self, text: str, command: str) -> bool:
        """The text is a wording of the command and nothing else."""
        said = " ".join(self.tokens(text))
        return any(said == " ".join(self.tokens(way)) for way in self.ways(command))

    def step_name(self, number: int) -> str:
        """'step three'."""
        return self.prompt("step-name", number=self.language.say_number(number))

    @cached_property
    def small(self) -> frozenset[str]:
        return frozenset(self.ways("small_word"))


@lru_cache(maxsize=4)
def load_words(code: str) -> RecorderWords:
    """Trouble if the language has no words for recording."""
    home = shipped_folder("grammar")
    grammar, sentences = home / f"{code}.record.jsgf", home / f"{code}.record.prompts.yaml"
    if not grammar.is_file() or not sentences.is_file():
        raise Trouble(f"Steps cannot be recorded in '{code}': the grammar folder lacks {grammar.name} or {sentences.name}.")
    return RecorderWords(base.load(code), jsgf.load_grammar(grammar), prompts.load(sentences))
