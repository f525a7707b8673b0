"""The reference of the grammar: every rule of every file of `grammar/`, as it is read."""

from __future__ import annotations

import re
from pathlib import Path

from handsfree.handbook.markdown import code, table, text
from handsfree.language import jsgf
from handsfree.language.jsgf import Choice, Expansion, Ref, Repeat, Rule, Sequence, Tagged, Word
from handsfree.resources import folder

_SECTION = re.compile(r"^// -+ (.+)$")
_HEAD = re.compile(r"/\*(.*?)\*/", re.S)


def reference() -> str:
    return "\n".join(_file(path) for path in sorted(folder("grammar").glob("*.jsgf")))


def _file(path: Path) -> str:
    source = path.read_text(encoding="utf-8")
    grammar = jsgf.load(path)
    sections = [(at, found[1]) for at, line in enumerate(source.splitlines(), 1) if (found := _SECTION.match(line))]
    parts = [f"## {path.name}\n", *_about(source)]
    if grammar.imports:
        parts.append("The program supplies " + ", ".join(code(f"<{name}>") for name in grammar.imports) + ".\n")
    begun = [(1, ""), *sections]
    for (first, title), (after, _) in zip(begun, [*sections, (10**9, "")], strict=True):
        rules = [rule for rule in grammar.rules.values() if first <= rule.line < after]
        if rules:
            parts += [f"### {text(title[:1].upper() + title[1:])}\n"] if title else []
            parts.append(table(("rule", "ways to say it"), [(code(f"<{rule.name}>"), _ways(rule)) for rule in rules]))
    return "\n".join(parts)


def _about(source: str) -> list[str]:
    """What the file says of itself at its head."""
    found = _HEAD.search(source)
    if found is None:
        return []
    lines = [line.strip().removeprefix("*").strip() for line in found[1].strip().splitlines()]
    made: list[str] = []
    for line in filter(None, lines):
        if line.startswith("- ") or not made:
            made.append(line)
        elif line.endswith(":") and not line.startswith("-"):
            made.append(f"\n{line}\n")
        else:
            made[-1] += f" {line}"
    return ["\n".join("- " + text(line[2:]) if line.startswith("- ") else line if line.startswith("\n") else text(line)
                      for line in made) + "\n"]


def _ways(rule: Rule) -> str:
    branches = rule.expansion.branches if isinstance(rule.expansion, Choice) else (rule.expansion,)
    return "<br>".join(code(written(branch)) for branch in branches)


def written(expansion: Expansion, inside: bool = False) -> str:
    """As it would stand in a file; `inside`: within something, so that a choice needs its brackets."""
    match expansion:
        case Word(text=words):
            return words
        case Ref(name=name):
            return f"<{name}>"
        case Sequence(items=items):
            return " ".join(written(item, True) for item in items)
        case Choice(branches=branches):
            ways = " | ".join(written(branch) for branch in branches)
            return f"({ways})" if inside else ways
        case Repeat(item=item, least=0, most=1):
            return f"[{written(item)}]"
        case Repeat(item=item, least=least):
            return f"{_grouped(item)}{'*' if least == 0 else '+'}"
        case Tagged(item=item, tag=tag):
            return f"{_grouped(item)} {{{tag}}}"


def _grouped(item: Expansion) -> str:
    made = written(item, True)
    return f"({made})" if isinstance(item, Sequence) and len(item.items) > 1 else made
