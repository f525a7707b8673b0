"""What may be said, from the grammar files: phrases by what they mean, units, and the recorder's commands and choices.

Rules of this file:

- Only what a person may say is shown. The rules for numbers, the lists of words used only for weighing, and the wordings of
  denials stay in the files.
- The files' own notation is not shown: no rule names, no brackets."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from handsfree.handbook.markdown import table, text
from handsfree.language import jsgf
from handsfree.language.expand import expand
from handsfree.language.quantities import symbol
from handsfree.resources import shipped_folder

_SECTION = re.compile(r"^// -+ (.+)$")
#: Rules for a person, by the section that they stand in; the first rule of a section is enough to find it.
SHOWN = {
    "next_step": "Phrases that always work",
    "i_am_hurt": "Hurt, fire, shock, gas: heard at every moment",
    "affirm": "Only when asked for",
    "gate": "Gates: the lock number follows, digit by digit",
    "state": "A reading that is not a number",
    "unit": "Units",
    "new_step": "Commands of the recorder",
    "that_is_all": "Answers to the recorder's questions",
    "kind": "Choices of the recorder",
}
NAMES = {"en": "English", "es": "Spanish"}


def reference() -> str:
    home = shipped_folder("grammar")
    codes = sorted(path.stem for path in home.glob("*.jsgf") if "." not in path.stem)
    parts = []
    for code in codes:
        parts.append(f"## {NAMES.get(code, code)}\n")
        for path in (home / f"{code}.jsgf", home / f"{code}.record.jsgf"):
            parts += list(_file(path)) if path.is_file() else []
    return "\n".join(parts)


def _file(path: Path) -> Iterator[str]:
    grammar = jsgf.load_grammar(path)
    begun = [at for at, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if _SECTION.match(line)]
    for first, after in zip(begun, [*begun[1:], 10**9], strict=True):
        rules = [rule.name for rule in grammar.rules.values() if first <= rule.line < after]
        title = SHOWN.get(rules[0], "") if rules else ""
        if title:
            yield f"### {title}\n"
            yield table(*_rows(grammar, rules, title))


def _rows(grammar: jsgf.Grammar, rules: list[str], title: str) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """If a rule has one meaning, its first wording is the one to teach. If it is a choice, each choice has a row."""
    plain: list[tuple[str, ...]] = []
    for name in rules:
        chosen: dict[str, list[str]] = {}
        for phrase in expand(grammar, name):
            chosen.setdefault(phrase.tags[-1] if phrase.tags else "", []).append(phrase.text)
        for tag, ways in chosen.items():
            first, *others = dict.fromkeys(ways)
            shown = (symbol(tag).strip() or tag,) if title == "Units" else ()
            plain.append((*map(text, shown), text(first), text(" · ".join(others))))
    head = ("unit", "say", "or") if title == "Units" else ("say", "or")
    return head, plain
