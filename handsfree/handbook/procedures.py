"""The reference of procedure files, from the JSON Schema that the program gives editors."""

from __future__ import annotations

from typing import Any, get_args

from handsfree.handbook.markdown import code, table, text
from handsfree.procedure import model
from handsfree.procedure.schema import procedure_schema

#: What a step is made of, as a reader calls it.
PARTS = {
    "Answer": "An answer", "Case": "A case", "SourceOf": "A source", "Instrument": "An instrument", "Level": "A signal word",
}  # fmt: skip
#: Texts of one form, by what the schema says of it.
FORMS = {
    model.NAME: "a name: small letters, digits, single '-'",
    r"^\d+(\.\d+)? ?(s|min|h|d)$": "a time, as `90 s`, `5 min`, `24 h`, `2 d`",
    r"^[a-z_]+=[a-z_]+$": "a check and its answer, as `display=dark`",
    r"^[a-z_]+$": "a check, as `display`",
    r"^[a-z]{2}$": "two letters, as `en`",
    r"^[a-z_]*$": "small letters and `_`",
    r"^[a-z]*$": "small letters",
}


def reference() -> str:
    """The file, then each kind of step in the order of the model, then what steps are made of."""
    made = procedure_schema()
    kinds = [kind.__name__ for kind in get_args(get_args(model.Step)[0])]
    common = set(model.Instruct.model_fields) - {"kind"}
    every = _fields(made["$defs"]["Instruct"], {"kind"})
    parts = ["## The file\n", _fields(made, set()), "## Every step\n",
             "A step of any kind may have these fields.\n", every, "## Kinds of step\n"]
    for name in kinds:
        own = made["$defs"][name]
        kind = own["properties"]["kind"]["const"]
        parts += [f"### {kind}\n", f"{text(own.get('description', ''))}\n", _fields(own, common | {"kind"})]
    parts.append("## What steps are made of\n")
    for name in sorted(set(made["$defs"]) - set(kinds)):
        own = made["$defs"][name]
        parts += [f"### {PARTS[name]}\n", f"{text(own.get('description', ''))}\n"]
        parts.append(_fields(own, set()) if "properties" in own else "One of: " + ", ".join(map(code, own["enum"])) + ".\n")
    return "\n".join(parts)


def _fields(own: dict[str, Any], without: set[str]) -> str:
    needed = own.get("required", [])
    rows = [
        (code(name), _kind(field), "yes" if name in needed else _usual(field), text(field.get("description", "")))
        for name, field in own["properties"].items() if name not in without
    ]  # fmt: skip
    return table(("field", "type", "required", "meaning"), rows) if rows else "No field of its own.\n"


def _usual(field: dict[str, Any]) -> str:
    usual = field.get("default")
    if usual in (None, "", []):
        return "no"
    plain = str(usual).lower() if isinstance(usual, bool) else f"{usual:g}" if isinstance(usual, float) else str(usual)
    return f"no: {code(plain)}"


def _kind(field: dict[str, Any]) -> str:
    """A field's shape in words."""
    if "$ref" in field:
        name = field["$ref"].rsplit("/", 1)[-1]
        return f"[{PARTS[name].lower()}](#{PARTS[name].lower().replace(' ', '-')})"
    if "anyOf" in field:
        return " or ".join(dict.fromkeys(_kind(one) for one in field["anyOf"] if one.get("type") != "null"))
    if "const" in field:
        return code(str(field["const"]))
    if "enum" in field:
        return ", ".join(code(str(one)) for one in field["enum"])
    if field.get("type") == "array":
        if "prefixItems" in field:
            return "two numbers" if field["prefixItems"][0].get("type") == "number" else "names, each with its value"
        of = "steps" if "oneOf" in field["items"] else _kind(field["items"])
        return f"list of {of}{_limits(field, 'minItems', 'maxItems')}"
    if field.get("type") == "object":
        return _named(field.get("additionalProperties"))
    words = {"string": "text", "number": "number", "integer": "whole number", "boolean": "true or false"}[field["type"]]
    if "pattern" in field:
        return FORMS[field["pattern"]] + (_limits(field, "minLength", "maxLength") if field["pattern"] == model.NAME else "")
    return words + _limits(field, "minLength", "maxLength") + _limits(field, "minimum", "maximum") \
        + _limits(field, "exclusiveMinimum", "exclusiveMaximum")


def _named(each: Any) -> str:
    """What stands behind a name: where an answer leads, a fact's value, or the fields of a source or an instrument."""
    if each == {} or not isinstance(each, dict):
        return "fields of their own"
    if each.get("type") == "string":
        return "facts, as `{grille: off}`"
    first = each.get("anyOf", [{}])[0]  # where an answer leads, or a source's kind
    led = any(one.get("pattern") == model.NAME for one in (first, *first.get("anyOf", ())))
    return "answers, each with the step it leads to" if led else "names, each with its fields"


def _limits(field: dict[str, Any], least: str, most: str) -> str:
    above = "more than" if least.startswith("exclusive") else "at least"
    low = f"{above} {field[least]:g}" if least in field else ""
    high = f"at most {field[most]:g}" if most in field else ""
    both = ", ".join(filter(None, (low, high)))
    return f" ({both})" if both else ""
