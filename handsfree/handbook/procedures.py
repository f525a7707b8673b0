"""The reference of procedure files, from the JSON Schema that the program gives editors."""

from __future__ import annotations

from typing import Any, get_args

from handsfree.handbook.markdown import code, table, text
from handsfree.procedure import model
from handsfree.procedure.schema import schema


def reference() -> str:
    """The file, then each kind of step in the order of the model, then what steps are made of."""
    made = schema()
    kinds = [kind.__name__ for kind in get_args(get_args(model.Step)[0])]
    common = set(model.Instruct.model_fields) - {"kind"}
    every = _fields(made["$defs"]["Instruct"], {"kind"})
    parts = ["## The file\n", _fields(made, set()), "## Every step\n",
             "These fields may stand on a step of any kind.\n", every, "## Kinds of step\n"]
    for name in kinds:
        own = made["$defs"][name]
        kind = own["properties"]["kind"]["const"]
        parts += [f"### {kind}\n", f"{text(own.get('description', ''))}\n", _fields(own, common | {"kind"})]
    parts.append("## What steps are made of\n")
    for name in sorted(set(made["$defs"]) - set(kinds)):
        own = made["$defs"][name]
        parts += [f"### {name}\n", f"{text(own.get('description', ''))}\n"]
        parts.append(_fields(own, set()) if "properties" in own else "One of: " + ", ".join(map(code, own["enum"])) + ".\n")
    return "\n".join(parts)


def _fields(own: dict[str, Any], without: set[str]) -> str:
    needed = own.get("required", [])
    rows = [
        (code(name), _kind(field), "yes" if name in needed else _usual(field), text(field.get("description", "")))
        for name, field in own["properties"].items() if name not in without
    ]  # fmt: skip
    return table(("field", "what it is", "needed", "meaning"), rows) if rows else "No field of its own.\n"


def _usual(field: dict[str, Any]) -> str:
    usual = field.get("default")
    return "no" if usual in (None, "", []) else f"no: {code(str(usual).lower() if isinstance(usual, bool) else str(usual))}"


def _kind(field: dict[str, Any]) -> str:
    """A field's shape in words."""
    if "$ref" in field:
        name = field["$ref"].rsplit("/", 1)[-1]
        return f"[{name}](#{name.lower()})"
    if "anyOf" in field:
        return " or ".join(dict.fromkeys(_kind(one) for one in field["anyOf"] if one.get("type") != "null"))
    if "const" in field:
        return code(str(field["const"]))
    if "enum" in field:
        return ", ".join(code(str(one)) for one in field["enum"])
    if field.get("type") == "array":
        if "prefixItems" in field:
            return f"{len(field['prefixItems'])} of {_kind(field['prefixItems'][0])}"
        of = "steps" if "oneOf" in field["items"] else _kind(field["items"])
        return f"list of {of}{_limits(field, 'minItems', 'maxItems')}"
    if field.get("type") == "object":
        more = field.get("additionalProperties")
        return "answers by what is said, each with where it leads" if isinstance(more, dict) else "fields of an answer"
    words = {"string": "text", "number": "number", "integer": "whole number", "boolean": "true or false"}[field["type"]]
    if field.get("pattern") == model.NAME:
        return "a name: small letters, digits, single '-'" + _limits(field, "minLength", "maxLength")
    if "pattern" in field:
        words += f" like {code(field['pattern'])}"
    return words + _limits(field, "minLength", "maxLength") + _limits(field, "minimum", "maximum") \
        + _limits(field, "exclusiveMinimum", "exclusiveMaximum")


def _limits(field: dict[str, Any], least: str, most: str) -> str:
    above = "more than" if least.startswith("exclusive") else "at least"
    low = f"{above} {field[least]:g}" if least in field else ""
    high = f"at most {field[most]:g}" if most in field else ""
    both = ", ".join(filter(None, (low, high)))
    return f" ({both})" if both else ""
