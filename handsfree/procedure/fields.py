"""The kinds of value that fields of a procedure hold: names, sentences, facts, times, hazards. Among `procedure.model`."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from handsfree.procedure.hazards import folder_here, usual

NAME = r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$"
Name = Annotated[str, Field(pattern=NAME, max_length=60)]
Sentence = Annotated[str, Field(min_length=1, max_length=2000)]
SourceName = Annotated[str, Field(min_length=1, max_length=60)]
Range = tuple[float, float]
#: Readings of one thing over a whole visit, for functions that judge them together: `rows("proof")`.
Series = Name
#: What an answer tells the fault model of `trade/faults.yaml`: 'display=dark'. 'What next' and 'why' rest on these.
Tells = Annotated[str, Field(pattern=r"^[a-z_]+=[a-z_]+$", max_length=80)]
#: What is known in a visit, by name: an answer's words, or what a step makes so ('grille': 'off').
Facts = Annotated[
    tuple[tuple[Name, Annotated[str, Field(min_length=1, max_length=60)]], ...],
    BeforeValidator(lambda given: tuple(given.items()) if isinstance(given, dict) else given),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "string", "maxLength": 60}}),
]
Duration = Annotated[str, Field(pattern=r"^\d+(\.\d+)? ?(s|min|h|d)$")]


def seconds_of(duration: str) -> float:
    """'90 s', '5 min', '24 h', '2 d'."""
    number, unit = duration.replace(" ", ""), ""
    while number and number[-1].isalpha():
        number, unit = number[:-1], number[-1] + unit
    return float(number) * {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}[unit]


def _known_hazard(name: str) -> str:
    known = usual().hazards
    if name not in known:
        expected = ", ".join(f"'{one}'" for one in known)
        context = {"expected": expected, "declared": str(folder_here())}
        raise PydanticCustomError("enum", "Input should be {expected}", context)
    return name


#: By its name in the files of hazards (`procedures/hazards`). One that a source feeds is met only while that is ISOLATED;
#: the others stay when every supply is off and need their caution, not a lock (29 CFR 1910.147 covers the energy that can be
#: isolated). A step may still ask for isolation with `needs_isolation: true`.
HazardName = Annotated[
    str, AfterValidator(_known_hazard), WithJsonSchema({"type": "string", "enum": sorted(usual().hazards)})
]


def is_fed(hazard: str) -> bool:
    """Some kind of energy feeds it."""
    known = usual().hazards.get(hazard)
    return known is None or bool(known.fed_by)


class Level(StrEnum):
    """Signal words in the sense of ISO 3864-2 (from memory): death or serious injury will / could, minor injury could."""

    DANGER = "danger"
    WARNING = "warning"
    CAUTION = "caution"
