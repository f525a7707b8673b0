"""What pydantic found, as sentences for the person who wrote the file."""

from __future__ import annotations

from typing import Any, get_args

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails
from rapidfuzz import process
from rapidfuzz.distance import JaroWinkler

from handsfree.procedure import model
from handsfree.procedure.parts import Frozen
from handsfree.procedure.yamlfile import YamlPath

STEP: TypeAdapter[model.Step] = TypeAdapter(model.Step)
KINDS: dict[str, type[model._Step]] = {
    kind.model_fields["kind"].annotation.__args__[0]: kind
    for kind in get_args(get_args(model.Step)[0])
}
_PARTS: dict[str, type[Frozen]] = {"answers": model.Answer, "cases": model.Case}


def did_you_mean(word: str, known: list[str]) -> str:
    """'; did you mean `x`?' or ''."""
    found = near(word, known)
    return f"; did you mean `{found}`?" if found else ""


def ended(sentence: str) -> str:
    """With a stop, unless it asks."""
    return sentence if sentence.endswith("?") else f"{sentence}."


def near(word: str, known: list[str]) -> str:
    """The known word that is written most like it; '' for none that is."""
    best = process.extractOne(word, known, scorer=JaroWinkler.similarity, score_cutoff=0.8)
    return str(best[0]) if best else ""


def stripped(place: tuple[int | str, ...]) -> YamlPath:
    """pydantic puts the kind of the step into the place; the file has no such level."""
    return tuple(part for at, part in enumerate(place) if not (at == 0 and part in KINDS))


def found(error: ValidationError, kind: str) -> list[tuple[YamlPath, str]]:
    """(place within the step or header, sentence without its subject) of every error."""
    return [(stripped(one["loc"]), _sentence(one, kind)) for one in error.errors(include_url=False)]


def _sentence(one: ErrorDetails, kind: str) -> str:
    place = stripped(one["loc"])
    name = ".".join(str(part + 1 if isinstance(part, int) else part) for part in place)
    given = one.get("input")
    context: dict[str, Any] = one.get("ctx", {})
    match one["type"]:
        case "missing" if isinstance(place[-1], int):
            return f"has too few entries in '{name.rpartition('.')[0]}'; it needs {place[-1] + 1}"
        case "no_say":
            return "lacks 'say', which it reads aloud"
        case "missing":
            return f"lacks '{name}'"
        case "extra_forbidden":
            hint = did_you_mean(str(place[-1]), _fields(place, kind))
            return f"has a field '{name}', which {_owner(place, kind)} does not have{hint}"
        case "union_tag_invalid":
            tag = str(context.get("tag", ""))
            hint = did_you_mean(tag, list(KINDS)) or "; the kinds are " + ", ".join(KINDS)
            return f"has the kind '{tag}', which does not exist{hint}"
        case "union_tag_not_found":
            return "lacks 'kind'; the kinds are " + ", ".join(KINDS)
        case "enum" | "literal_error":
            known = [part.strip(" '") for part in str(context.get("expected", "")).replace(" or ", ", ").split(",")]
            hint = did_you_mean(str(given), known)
            more = f". More are declared by files in {context['declared']}" if "declared" in context else ""
            return f"has '{given}' as its '{name}'{f'{hint} It' if hint else '; it'} may be " + ", ".join(known) + more
        case "string_pattern_mismatch":
            form = _PATTERNS.get(str(context.get("pattern")), "it is not of the right form")
            return f"has '{given}' as its '{name}'; {form}"
        case "string_type":
            return f"has {_shown(given)} as its '{name}', which must be text; put it in quotes"
        case "float_type" | "int_type" | "float_parsing" | "int_from_float":
            return f"has {_shown(given)} as its '{name}', which must be a number"
        case "tuple_type" | "list_type":
            return f"has {_shown(given)} as its '{name}', which must be a list"
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"has {_shown(given)} as its '{name}', which must be fields and their values"
        case "string_too_short":
            return f"has an empty '{name}'"
        case "too_short":
            return f"has too few entries in '{name}'; at least {context.get('min_length')} are needed"
        case "too_long" | "string_too_long":
            return f"has too much in '{name}'; at most {context.get('max_length')} are allowed"
        case _:
            return f"has {_shown(given)} as its '{name}': {one['msg'][:1].lower()}{one['msg'][1:]}"


_PATTERNS = {
    model.NAME: "a name is small letters, digits and single '-', and begins with a letter",
    r"^\d+(\.\d+)? ?(s|min|h|d)$": "write it as '90 s', '5 min', '24 h' or '2 d'",
    r"^[a-z_]+=[a-z_]+$": "write it as 'display=dark': a check of the fault model and one of its answers",
    r"^[a-z_]*$": "it is the name of a complaint of the fault model, as 'too_warm'",
    r"^[a-z]{2}$": "write the language's two letters, as 'en'",
}


def _shown(given: object) -> str:
    return "nothing" if given is None else f"'{str(given)[:60]}'"


def _owner(place: YamlPath, kind: str) -> str:
    if len(place) > 1 and place[0] in _PARTS:
        return f"an entry of '{place[0]}'"
    return f"the kind '{kind}'" if kind else "a procedure"


def _fields(place: YamlPath, kind: str) -> list[str]:
    part = _PARTS.get(str(place[0])) if len(place) > 1 else None
    owner = part if part is not None else KINDS.get(kind, model.Procedure)
    return list(owner.model_fields)
