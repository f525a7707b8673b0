"""YAML text to plain data, with the line of every field.

Rules of this file:

- Only mappings, lists and scalars. Anchors, aliases, tags and merge keys are refused: a procedure needs none, and they are
  how a small file becomes a huge one.
- A plain scalar is a number, `true`, `false`, `null` or text. `yes`, `no`, `on` and `off` are text: they are answers.
- A key that is there twice is refused: YAML would silently keep the last.
"""

from __future__ import annotations

import math
import re
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

LIMIT_BYTES = 1_000_000
LIMIT_DEPTH = 12
LIMIT_NODES = 40_000  # four hundred steps of the fullest kind are a third of it
YamlPath = tuple[str | int, ...]

_INT = re.compile(r"^[-+]?(0|[1-9][0-9]{0,14})$")
_FLOAT = re.compile(r"^[-+]?([0-9]{1,15}\.[0-9]{0,15}|\.[0-9]{1,15}|[0-9]{1,15}(\.[0-9]{0,15})?[eE][-+]?[0-9]{1,3})$")
_WORDS: dict[str, bool | None] = {"true": True, "false": False, "null": None, "~": None, "": None}


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong in a file. `sentence` carries no place; `shown` does."""

    file: str
    line: int
    sentence: str
    step: str = ""
    field: str = ""

    @property
    def shown(self) -> str:
        return f"{self.file} line {self.line}: {self.sentence}" if self.line else f"{self.file}: {self.sentence}"


class Unreadable(Exception):
    """The text is not YAML that this program takes."""

    def __init__(self, line: int, sentence: str) -> None:
        super().__init__(sentence)
        self.line = line
        self.sentence = sentence


@dataclass(frozen=True)
class Document:
    """`lines`: the line (from 1) of each field, by its place: ('steps', 3, 'go')."""

    data: Any
    lines: dict[YamlPath, int]

    def line(self, place: YamlPath) -> int:
        """Of the field, else of the nearest thing around it."""
        while place not in self.lines and place:
            place = place[:-1]
        return self.lines.get(place, 1)


class _Bounded(yaml.composer.Composer):
    """Nodes out of events, whoever makes these."""

    peek_event: Any
    depth = 0
    nodes = 0

    def compose_node(self, parent: Node | None, index: Any) -> Node | None:
        event: Any = self.peek_event()
        line = event.start_mark.line + 1
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise Unreadable(line, "anchors and aliases ('&name', '*name') are not allowed here; write the text out.")
        if getattr(event, "tag", None):
            raise Unreadable(line, "tags ('!name') are not allowed in a procedure; put the text in quotes.")
        self.depth += 1
        self.nodes += 1
        if self.nodes > LIMIT_NODES:
            raise Unreadable(line, f"there are more than {LIMIT_NODES} fields and values; this is no procedure.")
        if self.depth > LIMIT_DEPTH:
            raise Unreadable(line, f"things are nested more than {LIMIT_DEPTH} deep; a procedure is a flat list of steps.")
        node = super().compose_node(parent, index)
        self.depth -= 1
        return node


class _Loader(_Bounded, yaml.SafeLoader):
    """By Python: it says best what is wrong."""


if yaml.__with_libyaml__:
    _PARSER: Any = yaml.CSafeLoader.__mro__[1]  # CParser, which PyYAML's types leave out

    class _QuickLoader(_Bounded, _PARSER, yaml.resolver.Resolver):  # type: ignore[misc]  # a base without types
        """Events by libyaml, in a tenth of the time."""

        def __init__(self, text: str) -> None:
            _PARSER.__init__(self, text)
            yaml.composer.Composer.__init__(self)
            yaml.resolver.Resolver.__init__(self)

    _LOADERS: tuple[Any, ...] = (_QuickLoader, _Loader)
else:
    _LOADERS = (_Loader,)


def read_yaml(text: str) -> Document:
    """Raises Unreadable."""
    if "\x00" in text:
        line = text[: text.index("\x00")].count("\n") + 1
        raise Unreadable(line, "there is a NUL character in it; it is not a text file.")
    try:
        node = _node(text)
    except yaml.MarkedYAMLError as error:
        raise Unreadable(*_explained(error, text)) from None
    except yaml.reader.ReaderError as error:
        line = text.count("\n", 0, max(error.position, 0)) + 1
        raise Unreadable(line, "there is a character that YAML does not allow; type the line anew.") from None
    if node is None:
        raise Unreadable(1, "it is empty; begin with 'procedure:', 'title:' and 'steps:'.")
    lines: dict[YamlPath, int] = {}
    return Document(_plain(node, (), lines), lines)


def _node(text: str) -> Node | None:
    """Raises yaml.YAMLError as Python's own reader words it."""
    *quick, exact = _LOADERS
    for make in () if "\t" in text else quick:  # libyaml takes a tab where YAML has none
        with suppress(yaml.YAMLError):
            return _composed(make, text)
    return _composed(exact, text)


def _composed(make: Any, text: str) -> Node | None:
    loader = make(text)
    try:
        node: Node | None = loader.get_single_node()
        return node
    finally:
        loader.dispose()


def _explained(error: yaml.MarkedYAMLError, text: str) -> tuple[int, str]:
    mark = error.problem_mark or error.context_mark
    line = (mark.line if mark else 0) + 1
    rows = text.splitlines()
    row = rows[line - 1] if line <= len(rows) else ""
    problem = error.problem or error.context or "it is not YAML"
    if "\t" in row and ("\\t" in problem or "tab" in problem.lower() or row.lstrip(" ").startswith("\t")):
        return line, "there is a tab; YAML wants spaces before a field."
    if "expected a single document" in (error.context or "") or "single document" in problem:
        return line, "a second document begins ('---'); one file holds one procedure."
    if "mapping values are not allowed" in problem:
        return line, "there is a second ': ' in the line, or the line is indented too far; put the text in quotes."
    if "<stream end>" in problem:
        return line, "it ends too soon: a value, a quote or a closing bracket is missing."
    if "'?'" in problem:
        return line, "there is a '?' before a comma or bracket; put the text in quotes."
    return line, f"this is not YAML: {problem}; look at the quotes, colons and the spaces before the field."


def _plain(node: Node, place: YamlPath, lines: dict[YamlPath, int]) -> Any:
    lines.setdefault(place, node.start_mark.line + 1)
    if isinstance(node, ScalarNode):
        return _scalar(node)
    if isinstance(node, SequenceNode):
        return [_plain(item, (*place, at), lines) for at, item in enumerate(node.value)]
    assert isinstance(node, MappingNode)
    data: dict[str, Any] = {}
    for key_node, value_node in node.value:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, ScalarNode):
            raise Unreadable(line, "the name of a field must be a word, not a list or a mapping.")
        key = key_node.value
        if key == "<<":
            raise Unreadable(line, "merge keys ('<<') are not allowed in a procedure; write the fields out.")
        if key in data:
            raise Unreadable(line, f"'{key}' is there twice, first on line {lines[(*place, key)]}; keep one.")
        lines[(*place, key)] = line
        data[key] = _plain(value_node, (*place, key), lines)
    return data


def _scalar(node: ScalarNode) -> Any:
    text: str = node.value
    if node.style:  # quoted or a block: always text
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INT.match(text):
        return int(text)
    if _FLOAT.match(text):
        number = float(text)
        if not math.isfinite(number):
            raise Unreadable(node.start_mark.line + 1, f"{text} is too large a number.")
        return number
    return text
