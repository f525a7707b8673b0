"""The reference of the journal, from the event classes themselves."""

from __future__ import annotations

import dataclasses
import types
import typing
from typing import Any, Union, get_args, get_origin

from handsfree.handbook.markdown import code, table, text
from handsfree.journal import events

MARKS = get_args(events.Mark)
GROUPS = (("Happenings", events.HAPPENINGS), ("Effects", events.EFFECTS), ("Marks of the journal itself", MARKS))
_NAMES = {str: "text", float: "number", int: "whole number", bool: "true or false", Any: "object"}


def reference() -> str:
    parts = ["## Around every event\n", f"{text(_about(events.Stamped))}\n", _fields(events.Stamped)]
    for title, kinds in GROUPS:
        parts.append(f"## {title}\n")
        for kind in kinds:
            parts += [f"### {kind.__name__}\n", f"{text(_about(kind))}\n", _fields(kind)]
    return "\n".join(parts)


def _about(kind: type[Any]) -> str:
    """What its docstring says; a data class without one gets its own signature from Python, which says nothing."""
    found = kind.__doc__ or ""
    return "" if found.startswith(f"{kind.__name__}(") else found


def _fields(kind: type[Any]) -> str:
    hints = typing.get_type_hints(kind)
    rows = [(code(one.name), in_words(hints[one.name]), _usual(one)) for one in dataclasses.fields(kind)]
    return table(("field", "type", "default"), rows) if rows else "No field.\n"


def _usual(field: dataclasses.Field[Any]) -> str:
    if field.default is dataclasses.MISSING:
        return ""
    usual = {True: "true", False: "false", None: "null"}.get(field.default, field.default) if isinstance(
        field.default, bool | None) else field.default
    return code("''" if usual == "" else "[]" if usual == () else str(usual))


def in_words(hint: Any) -> str:
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return " or ".join([*(in_words(one) for one in args if one is not type(None)), "null"])
    if origin is tuple and len(args) == 2 and args[1] is Ellipsis:
        return f"list of {in_words(args[0])}"
    if origin is tuple:
        return f"\\[{', '.join(in_words(one) for one in args)}\\]"
    return _NAMES[hint]
