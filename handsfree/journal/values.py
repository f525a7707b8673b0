"""Flat data classes to JSON values and back: strings, numbers, truths, None, and tuples of them. Nothing of the program."""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Callable
from functools import cache
from typing import Any, Union, get_args, get_origin

Reader = Callable[[Any, str], Any]  # (JSON value, where it stands) -> the value, or ValueError


def with_lists(value: Any) -> Any:
    """Tuples become lists."""
    return [with_lists(item) for item in value] if isinstance(value, tuple) else value


def made(kind: Any, data: dict[str, Any]) -> Any:
    """The data class from its fields. ValueError names a field that is unknown, missing or of the wrong type."""
    readers, needed = _fields(kind)
    values = {}
    for name, value in data.items():
        reader = readers.get(name)
        if reader is None:
            raise ValueError(f"{kind.__name__} has no field '{name}'")
        values[name] = reader(value, f"{kind.__name__}.{name}")
    for name in needed:
        if name not in values:
            raise ValueError(f"{kind.__name__} lacks its field '{name}'")
    return kind(**values)


@cache
def _fields(kind: Any) -> tuple[dict[str, Reader], tuple[str, ...]]:
    hints = typing.get_type_hints(kind)
    fields = dataclasses.fields(kind)
    needed = tuple(
        f.name for f in fields if f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING
    )
    return {f.name: _reader(hints[f.name]) for f in fields}, needed


def _reader(hint: Any) -> Reader:
    """Only for the shapes that events have."""
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        inner = _reader(next(arg for arg in args if arg is not type(None)))
        return lambda value, where: None if value is None else inner(value, where)
    if origin is tuple and len(args) == 2 and args[1] is Ellipsis:
        return _many(_reader(args[0]))
    if origin is tuple:
        return _each(tuple(_reader(arg) for arg in args))
    return _SIMPLE[hint]


def _many(item: Reader) -> Reader:
    def read(value: Any, where: str) -> Any:
        if not isinstance(value, list | tuple):
            raise ValueError(f"{where} is not a list")
        return tuple([item(each, where) for each in value])

    return read


def _each(items: tuple[Reader, ...]) -> Reader:
    def read(value: Any, where: str) -> Any:
        if not isinstance(value, list | tuple):
            raise ValueError(f"{where} is not a list")
        if len(value) != len(items):
            raise ValueError(f"{where} has {len(value)} items, not {len(items)}")
        return tuple([item(each, where) for item, each in zip(items, value, strict=True)])

    return read


def _float(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{where} is not a number")
    return float(value)


def _int(value: Any, where: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{where} is not a whole number")
    return value


def _str(value: Any, where: str) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{where} is not text")
    return value


def _bool(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{where} is not true or false")
    return value


_SIMPLE: dict[Any, Reader] = {float: _float, int: _int, str: _str, bool: _bool}
