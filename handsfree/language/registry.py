"""pint's registry of units, made once."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pint import UnitRegistry


@cache
def registry() -> UnitRegistry[float]:
    """pint's registry, offset temperatures included. Takes half a second the first time."""
    from pint import UnitRegistry

    return UnitRegistry(autoconvert_offset_to_baseunit=True)
