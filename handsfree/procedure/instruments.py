"""What readings share by their instrument, and whose fault a wrong field is: the reading's or the instrument's."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from handsfree.procedure.parts import Instrument
from handsfree.procedure.yamlfile import Document, Problem


def shared_of(header: Mapping[str, Any]) -> tuple[dict[str, dict[str, Any]], frozenset[str]]:
    """Instrument -> the fields that its readings take from it; those that are not well formed. Whatever else is wrong above
    the steps."""
    given = header.get("instruments")
    fields = given if isinstance(given, dict) else {one.get("name"): one for one in given or () if isinstance(one, dict)}
    shared: dict[str, dict[str, Any]] = {}
    for name, own in fields.items():
        try:
            made = Instrument.model_validate_json(json.dumps({**own, "name": name}), strict=True)
            shared[made.name] = made.shared
        except (ValidationError, TypeError):
            continue
    return shared, frozenset(str(name) for name in fields) - set(shared)


def filled(one: Any, shared: Mapping[str, dict[str, Any]]) -> Any:
    """A reading with what the procedure says of its instrument, where the step itself does not say it."""
    if not isinstance(one, dict) or one.get("kind") != "read" or not isinstance(one.get("instrument"), str):
        return one
    return {**shared.get(one["instrument"], {}), **one}


def blamed(problems: Iterable[Problem], document: Document, shown: str) -> Iterator[Problem]:
    """A fault of a field that a reading takes from its instrument is told once, where the instrument stands."""
    raw = {one["id"]: one for one in document.data["steps"] if isinstance(one, dict) and isinstance(one.get("id"), str)}
    told: set[str] = set()
    for one in problems:
        step, listed = raw.get(one.step, {}), document.data.get("instruments")
        name = str(step.get("instrument"))
        known = listed.get(name) if isinstance(listed, dict) else None
        if known is None or one.field not in known or one.field in step:
            yield one
            continue
        sentence = one.sentence.replace(f"step `{one.step}`", f"the instrument `{name}`", 1)
        if sentence not in told:
            told.add(sentence)
            yield Problem(shown, document.line(("instruments", name, one.field)), sentence, "", "instruments")
