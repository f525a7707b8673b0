"""The files of hazards: read, checked, and put together. What they may say is `isolation.energy`."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from handsfree.errors import Trouble
from handsfree.isolation.energy import Catalogue, EnergyKind, Hazard, Method

FOLDER = "hazards"
#: The parts of a file, and what each entry of a part is.
_PARTS: dict[str, type[Any]] = {"kinds": EnergyKind, "hazards": Hazard, "proofs": Method}
_UNITS = {"min": 1.0, "h": 60.0, "d": 1440.0}


def catalogue_of(texts: Iterable[tuple[str, str]]) -> Catalogue:
    """From (name of the file, its text). A later one may add, and make stricter what an earlier one names, never weaken it.
    Trouble for what is wrong in one: the file, the entry, and what is wrong with it."""
    import yaml

    from handsfree import plain_yaml

    found: dict[str, dict[str, Any]] = {part: {} for part in _PARTS}
    for name, text in texts:
        try:
            data = plain_yaml.load(text) or {}
        except yaml.YAMLError as error:
            raise Trouble(f"{name} cannot be read as YAML: {' '.join(str(error).split())[:200]}") from None
        if not isinstance(data, dict) or set(data) - set(_PARTS):
            raise Trouble(f"{name} may hold kinds, hazards and proofs, and nothing else.")
        for part, entries in data.items():
            for entry, fields in _entries(name, part, entries):
                made_so = _made(name, part, entry, fields)
                if entry in found[part] and (why := _weaker(found[part][entry], made_so)):
                    raise Trouble(f"{name}: {part}, '{entry}' {why}. A file may add to the rules, not weaken them.")
                found[part][entry] = made_so
    made = Catalogue(found["kinds"], found["hazards"], found["proofs"])
    for sentence in _loose_ends(made):
        raise Trouble(f"The hazard files contradict each other: {sentence}")
    return made


def _weaker(before: Any, after: Any) -> str:
    """In what an entry asks less than the one it would replace; '' where it does not."""
    return next((why for why, holds in _kept(before, after) if not holds), "")


def _kept(before: Any, after: Any) -> Iterator[tuple[str, bool]]:
    """(what would be weakened, whether it is not)."""
    match before:
        case Hazard():
            yield "is fed by less", set(before.fed_by) <= set(after.fed_by)
            yield "drops its caution", after.caution or not before.caution
        case EnergyKind():
            yield "drops its lock", after.lock or not before.lock
            yield "is filled again by less", set(before.behind) <= set(after.behind)
            yield "is proved dead by more", set(after.proofs) <= set(before.proofs)
            yield "may stay longer", before.returns is None or (after.returns or float("inf")) <= before.returns
        case Method():
            same = (before.form, before.quantity, before.unit, before.instead)
            yield "proves otherwise", same == (after.form, after.quantity, after.unit, after.instead)
            yield "allows a higher limit", after.most <= before.most
            yield "measures fewer points", set(before.points) <= set(after.points)


def _entries(name: str, part: str, entries: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    if not isinstance(entries, dict) or not all(isinstance(one, str) for one in entries):
        raise Trouble(f"{name}: '{part}' must be names, each with its fields.")
    for entry, fields in entries.items():
        if fields is not None and not isinstance(fields, dict):
            raise Trouble(f"{name}: {part}, '{entry}' must have fields, such as 'proofs: [switch]'.")
        yield entry, dict(fields or {})


def _made(name: str, part: str, entry: str, fields: dict[str, Any]) -> Any:
    unknown = set(fields) - {field.name for field in dataclasses.fields(_PARTS[part]) if field.name != "name"}
    if unknown:
        raise Trouble(f"{name}: {part}, '{entry}' has an unknown field '{min(unknown)}'.")
    if isinstance(fields.get("returns"), str):
        fields["returns"] = _minutes(name, entry, fields["returns"])
    try:
        return TypeAdapter(_PARTS[part]).validate_python({"name": entry, **fields})
    except ValidationError as error:
        first = error.errors()[0]
        raise Trouble(f"{name}: {part}, '{entry}', {'.'.join(map(str, first['loc']))}: {first['msg']}.") from None


def _minutes(name: str, entry: str, text: str) -> float:
    number, _, unit = text.partition(" ")
    if unit not in _UNITS or not number.replace(".", "", 1).isdigit():
        raise Trouble(f"{name}: kinds, '{entry}', returns: '{text}' is not a time; write '30 min', '2 h' or '1 d'.")
    return float(number) * _UNITS[unit]


def _loose_ends(made: Catalogue) -> Iterator[str]:
    for kind in made.kinds.values():
        for other in kind.behind:
            if other not in made.kinds:
                yield f"'{kind.name}' is behind '{other}', which is no kind."
        for method in kind.proofs:
            if method not in made.methods:
                yield f"'{kind.name}' is proved by '{method}', which is no proof."
        if not kind.proofs:
            yield f"nothing proves '{kind.name}' dead."
    for hazard in made.hazards.values():
        for fed in hazard.fed_by:
            if fed not in made.kinds:
                yield f"'{hazard.name}' is fed by '{fed}', which is no kind."
    for proof in made.methods.values():
        instead = made.methods.get(proof.instead)
        if proof.form == "try" and (instead is None or instead.form != "measure"):
            yield f"'{proof.name}' is a try and needs a measurement to be made 'instead' where nothing ran before."
        if proof.form == "measure" and not (proof.unit and proof.most > 0 and proof.points):
            yield f"'{proof.name}' measures and needs a unit, a limit 'most' above nothing, and points."


def files() -> list[Path]:
    """The one that ships first, then those of its folder and of `procedures/hazards` here, by name."""
    from handsfree.resources import shipped_folder

    folders = dict.fromkeys(((shipped_folder("procedures") / FOLDER).resolve(), folder_here()))
    found = [path for place in folders if place.is_dir() for path in sorted(place.glob("*.yaml"))]
    return sorted(found, key=lambda path: path.name != "hazards.yaml")


def folder_here() -> Path:
    """Where files of one's own are looked for, wherever the procedure lies."""
    return (Path("procedures") / FOLDER).resolve()


@cache
def usual() -> Catalogue:
    """What this installation knows. Trouble for a file with a fault."""
    return catalogue_of(hazard_files())


@cache
def hazard_files() -> tuple[tuple[str, str], ...]:
    try:
        return tuple((path.name, path.read_text("utf-8")) for path in files())
    except (OSError, UnicodeDecodeError) as error:
        raise Trouble(f"A hazard file cannot be read: {error}.") from None


def digest() -> str:
    """SHA-256 (FIPS 180-4) over the files: a visit's record says under which it was made."""
    return hashlib.sha256("\0".join(part for pair in hazard_files() for part in pair).encode()).hexdigest()
