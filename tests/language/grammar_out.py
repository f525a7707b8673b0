"""A grammar written out again as JSGF text: what the parser must read back as the same."""

from __future__ import annotations

from handsfree.language.jsgf import Choice, Expansion, Grammar, Ref, Repeat, Sequence, Tagged, Word


def _token(text: str) -> str:
    return text if not set(text) & set(' ;=|()[]*+<>{}"/\\') else '"' + text.replace("\\", r"\\").replace('"', r"\"") + '"'


def written(at: Expansion) -> str:
    """The expansion as JSGF text; reading it back gives the same expansion."""
    match at:
        case Word(text):
            return _token(text)
        case Ref(name, _):
            return f"<{name}>"
        case Sequence(items):
            return " ".join(f"({written(i)})" if isinstance(i, (Choice, Sequence)) else written(i) for i in items)
        case Choice(branches, weights):
            plain = all(weight == 1.0 for weight in weights)
            return " | ".join(
                ("" if plain else f"/{weight:g}/ ") + (f"({written(b)})" if isinstance(b, Choice) else written(b))
                for b, weight in zip(branches, weights, strict=True)
            )
        case Repeat(item, 0, 1):
            return f"[{written(item)}]"
        case Repeat(item, least, _):
            return _grouped(item) + ("+" if least else "*")
        case Tagged(item, tag):
            text = tag.replace("\\", r"\\").replace("}", r"\}")
            return f"{_grouped(item)} {{{text}}}"


def _grouped(item: Expansion) -> str:
    return f"({written(item)})" if isinstance(item, (Choice, Sequence)) else written(item)


def grammar_text(grammar: Grammar) -> str:
    """The whole grammar as a JSGF file."""
    lines = ["#JSGF V1.0 UTF-8;", f"grammar {grammar.name};", *(f"import <{name}>;" for name in grammar.imports)]
    lines += [f"{'public ' * r.public}<{r.name}> = {written(r.expansion)};" for r in grammar.rules.values()]
    return "\n".join(lines) + "\n"
