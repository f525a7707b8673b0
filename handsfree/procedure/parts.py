"""What a procedure declares above its steps: its sources, its instruments."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from handsfree.procedure.fields import Range, SourceName


class Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SourceOf(Frozen):
    """A source of energy as a procedure names it."""

    name: SourceName = Field(description="as it is spoken")
    kind: str = Field(max_length=60, description="a kind from the hazard files: mains, charge, water…")
    behind: tuple[SourceName, ...] | None = Field(
        None, description="sources that can refill it; if left out, all sources of the kinds it is behind"
    )
    proofs: tuple[str, ...] = Field((), description="methods that must all prove it; any one of its kind's if left out")


class Instrument(Frozen):
    """What its readings share: a `read` that names it in `instrument` need not repeat these."""

    name: str = Field(max_length=60, description="as `instrument` of a reading names it")
    unit: str | None = Field(None, description="what it shows")
    plausible: Range | None = Field(None, description="lowest and highest reading with it")
    expected: Range | None = Field(None, description="lowest and highest in a cabinet, machine or place in good order")
    accuracy: str | None = Field(None, description="its accuracy, as '0.5 degC' or '1 %'")

    @property
    def shared(self) -> dict[str, Any]:
        """The fields that a reading takes from it."""
        return self.model_dump(exclude_none=True, exclude={"name"})


def by_name(given: object) -> object:
    """The short form: names, each with its fields."""
    if not isinstance(given, dict):
        return given
    return tuple({"name": name, **_fields(fields)} for name, fields in given.items())


def _fields(given: object) -> dict[str, object]:
    fields = given if isinstance(given, dict) else {"kind": given}
    return {name: tuple(value) if isinstance(value, list) else value for name, value in fields.items()}
