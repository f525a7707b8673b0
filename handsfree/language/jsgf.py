"""Reading grammar files: the JSpeech Grammar Format (W3C note, 5 June 2000), to frozen data.

Rules of this file:

- A grammar is a name, its imports and its rules; a rule is a name and an expansion; nothing here knows a language.
- Expansions are six small classes. `expand.py` walks them; this file only reads and checks.
- Every error is a Trouble that names the file, the line and the rule.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from handsfree.errors import Trouble


@dataclass(frozen=True)
class Word:
    text: str


@dataclass(frozen=True)
class Ref:
    """Another rule, by name without its brackets; `line` is where it is used."""

    name: str
    line: int = 0


@dataclass(frozen=True)
class Sequence:
    items: tuple[Expansion, ...]


@dataclass(frozen=True)
class Choice:
    """`weights`: one for each branch, all 1.0 where the file gives none."""

    branches: tuple[Expansion, ...]
    weights: tuple[float, ...]


@dataclass(frozen=True)
class Repeat:
    """`least`, `most`: [x] is 0 to 1, x* is 0 to None, x+ is 1 to None."""

    item: Expansion
    least: int
    most: int | None


@dataclass(frozen=True)
class Tagged:
    item: Expansion
    tag: str


Expansion = Word | Ref | Sequence | Choice | Repeat | Tagged


@dataclass(frozen=True)
class Rule:
    name: str
    expansion: Expansion
    public: bool
    line: int


@dataclass(frozen=True)
class Grammar:
    """`imports`: full names ('in_force.phrase') of what the program supplies when it expands the grammar."""

    name: str
    rules: Mapping[str, Rule]
    imports: tuple[str, ...] = ()

    def rule(self, name: str) -> Rule:
        if name not in self.rules:
            raise Trouble(f"The grammar '{self.name}' has no rule <{name}>.")
        return self.rules[name]


@dataclass(frozen=True)
class _Lexeme:
    kind: str
    text: str
    line: int


_LEXEME = re.compile(
    r"""(?P<space>\s+) | (?P<comment>//[^\n]*|/\*.*?\*/) | (?P<rule><[^<>\s]+>) | (?P<weight>/\s*[0-9.]+\s*/)
    | (?P<tag>\{(?:\\.|[^\\}])*\}) | (?P<quoted>"(?:\\.|[^"\\])*") | (?P<mark>[;=|()\[\]*+])
    | (?P<word>[^\s;=|()\[\]*+<>{}"/]+)""",
    re.VERBOSE | re.DOTALL,
)
_HEADER = re.compile(r"\A\ufeff?#JSGF\s+V1\.0[^;\n]*;")
_MOST = 1_000_000  # characters: no spoken vocabulary is larger; a bigger file is a mistake or an attack
_DEEPEST = 50  # brackets within brackets


def _lexemes(text: str, file: str, line: int) -> Iterator[_Lexeme]:
    at = 0
    while at < len(text):
        match = _LEXEME.match(text, at)
        if match is None:
            raise Trouble(f"{file} line {line}: '{text[at]}' cannot stand here; see the JSpeech Grammar Format.")
        kind = str(match.lastgroup)
        if kind not in ("space", "comment"):
            yield _Lexeme(kind, match.group(), line)
        line += match.group().count("\n")
        at = match.end()


class _Reader:
    """Recursive descent over the lexemes of one file."""

    def __init__(self, text: str, file: str) -> None:
        header = _HEADER.match(text)
        if header is None:
            raise Trouble(f"{file} line 1: a grammar begins with '#JSGF V1.0 UTF-8 en;'.")
        start = header.end()
        self.file, self.rule, self.at, self.depth = file, "", 0, 0
        self.lexemes = tuple(_lexemes(text[start:], file, 1 + text[:start].count("\n")))

    def wrong(self, what: str) -> NoReturn:
        last = self.lexemes[min(self.at, len(self.lexemes) - 1)] if self.lexemes else _Lexeme("", "", 1)
        where = f", rule <{self.rule}>" if self.rule else ""
        raise Trouble(f"{self.file} line {last.line}{where}: {what}.")

    def peek(self) -> _Lexeme | None:
        return self.lexemes[self.at] if self.at < len(self.lexemes) else None

    def sees(self, *texts: str) -> bool:
        lexeme = self.peek()
        return lexeme is not None and lexeme.text in texts and lexeme.kind in ("mark", "word")

    def take(self, kind: str, text: str | None = None, what: str = "") -> _Lexeme:
        lexeme = self.peek()
        if lexeme is None:
            self.wrong(f"the file ends where {what or text or kind} should be")
        if lexeme.kind != kind or (text is not None and lexeme.text != text):
            self.wrong(f"'{lexeme.text}' stands where {what or text or kind} should be")
        self.at += 1
        return lexeme

    def grammar(self) -> Grammar:
        self.take("word", "grammar", "'grammar NAME;'")
        name = self.take("word", what="the grammar's name").text
        self.take("mark", ";")
        imports: list[str] = []
        while self.sees("import"):
            self.at += 1
            imports.append(self.take("rule", what="an imported <rule>").text[1:-1])
            self.take("mark", ";")
        rules: dict[str, Rule] = {}
        while self.peek() is not None:
            rule = self.definition()
            if rule.name in rules:
                self.wrong(f"the rule is defined twice, first on line {rules[rule.name].line}")
            rules[rule.name] = rule
        return Grammar(name, rules, tuple(imports))

    def definition(self) -> Rule:
        self.rule = ""
        public = self.sees("public")
        self.at += public
        head = self.take("rule", what="a rule such as '<name> = ...;'")
        self.rule = head.text[1:-1]
        self.take("mark", "=")
        expansion = self.choice()
        self.take("mark", ";", "'|', ';' or more words")
        return Rule(self.rule, expansion, public, head.line)

    def choice(self) -> Expansion:
        branches: list[Expansion] = []
        weights: list[float] = []
        while True:
            lexeme = self.peek()
            weight = 1.0
            if lexeme is not None and lexeme.kind == "weight":
                try:
                    weight = float(lexeme.text.strip("/ "))
                except ValueError:
                    self.wrong(f"{lexeme.text} is no weight; write it as /0.5/")
                self.at += 1
            branches.append(self.sequence())
            weights.append(weight)
            if not self.sees("|"):
                break
            self.at += 1
        return branches[0] if len(branches) == 1 else Choice(tuple(branches), tuple(weights))

    def sequence(self) -> Expansion:
        items: list[Expansion] = []
        while (lexeme := self.peek()) is not None:
            if lexeme.kind == "mark" and lexeme.text in "|;)]":
                break
            items.append(self.item())
        if not items:
            self.wrong("an alternative is empty; write [ ] around what may be left out")
        return items[0] if len(items) == 1 else Sequence(tuple(items))

    def item(self) -> Expansion:
        item = self.atom()
        while (lexeme := self.peek()) is not None:
            if lexeme.kind == "tag":
                item = Tagged(item, re.sub(r"\\(.)", r"\1", lexeme.text[1:-1]).strip())
            elif lexeme.kind == "mark" and lexeme.text in "*+":
                item = Repeat(item, int(lexeme.text == "+"), None)
            else:
                break
            self.at += 1
        return item

    def atom(self) -> Expansion:
        lexeme = self.peek()
        if lexeme is None:
            self.wrong("the file ends in the middle of a rule")
        self.at += 1
        if lexeme.kind == "word":
            return Word(lexeme.text)
        if lexeme.kind == "quoted":
            return Word(re.sub(r"\\(.)", r"\1", lexeme.text[1:-1]))
        if lexeme.kind == "rule":
            return Ref(lexeme.text[1:-1], lexeme.line)
        if lexeme.text in ("(", "["):
            self.depth += 1
            if self.depth > _DEEPEST:
                self.wrong(f"brackets are nested more than {_DEEPEST} deep")
            inside = self.choice()
            self.take("mark", ")" if lexeme.text == "(" else "]")
            self.depth -= 1
            return inside if lexeme.text == "(" else Repeat(inside, 0, 1)
        self.at -= 1
        if lexeme.text == "=":
            self.wrong("'=' stands in the middle of a rule; is the ';' of the rule above missing?")
        self.wrong(f"'{lexeme.text}' cannot stand here")


def _references(expansion: Expansion) -> Iterator[Ref]:
    match expansion:
        case Ref():
            yield expansion
        case Sequence(items) | Choice(items, _):
            for item in items:
                yield from _references(item)
        case Repeat(item, _, _) | Tagged(item, _):
            yield from _references(item)


def parse(text: str, file: str = "grammar") -> Grammar:
    """Trouble for what is not well formed, for a rule used but not defined or imported, and for a file over 1 MB."""
    if len(text) > _MOST:
        raise Trouble(f"{file} is larger than a grammar may be ({_MOST} characters).")
    grammar = _Reader(text, file).grammar()
    known = {*grammar.rules, *grammar.imports, "NULL", "VOID"}
    for rule in grammar.rules.values():
        for ref in _references(rule.expansion):
            if ref.name not in known:
                raise Trouble(f"{file} line {ref.line}, rule <{rule.name}>: <{ref.name}> is not defined.")
    return grammar


def load_grammar(path: Path, with_more: Callable[[str], str] = str) -> Grammar:
    """`with_more`: puts into the text what is kept elsewhere. Trouble where the file cannot be read or is not UTF-8, and for
    all that `parse` refuses."""
    try:
        return parse(with_more(path.read_text(encoding="utf-8")), path.name)
    except (OSError, UnicodeDecodeError) as error:
        raise Trouble(f"The grammar {path.name} cannot be read: {error}.") from error
