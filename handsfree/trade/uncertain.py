"""Instrument accuracy, carried through every formula, and comparison with a limit that admits doubt.

The rules of this file:

* An accuracy that a maker states is a limit of error. Without more knowledge any error inside it is equally
  likely, so the standard uncertainty is the limit divided by the square root of three
  (JCGM 100:2008, "GUM", 4.3.7).
* A formula of plain floats is lifted with `carry`; the `uncertainties` package does the first-order
  propagation (GUM, 5.1.2), correlations included.
* A value is compared with a limit at a coverage factor of two (GUM, 6.3.3: about 95 percent). A limit that
  lies inside the interval makes the reading *borderline*: measure again. Chance never decides.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeAlias

from handsfree.errors import Trouble
from handsfree.trade import possible

if TYPE_CHECKING:
    from uncertainties import UFloat

    Value: TypeAlias = UFloat | float  # a plain number, or one that carries its uncertainty

COVERAGE = 2.0
_TERM = re.compile(r"^\s*(?:\+/-|±)?\s*(?P<number>\d+(?:\.\d*)?|\.\d+)\s*(?P<unit>.*?)\s*$")
_UNIT = re.compile(r"^[^\W\d_°]*°?[^\W\d_]*$|^delta_deg[CF]$")
_DIGIT_WORDS = {"digit", "digits", "count", "counts", "dgt", "lsd"}


class LimitVerdict(StrEnum):
    """How a reading stands to its limits."""

    PASS = "pass"
    FAIL = "fail"
    BORDERLINE = "borderline"


@dataclass(frozen=True)
class Accuracy:
    """A maker's accuracy: `relative` of the reading (a fraction), plus `absolute`, plus `digits` of the display."""

    relative: float = 0.0
    absolute: float = 0.0
    unit: str = ""
    digits: float = 0.0

    def __post_init__(self) -> None:
        for part in (self.relative, self.absolute, self.digits):
            possible.not_negative(part, "accuracy of the instrument")

    def limit(self, value: float, resolution: float = 0.0) -> float:
        """Largest error at `value`, in its unit. Raises Trouble when digits are stated but no resolution is."""
        possible.finite(value, "reading")
        possible.not_negative(resolution, "resolution of the display")
        if self.digits and not resolution:
            raise Trouble("This accuracy counts digits of the display: state the resolution of the display too.")
        return abs(value) * self.relative + self.absolute + self.digits * resolution

    def standard(self, value: float, resolution: float = 0.0) -> float:
        """Standard uncertainty at `value`: the limit over root three, with half a step of the display added."""
        step = resolution / 2 if not self.digits else 0.0
        return math.hypot(self.limit(value, resolution), step) / math.sqrt(3)


def parse_accuracy(text: str) -> Accuracy:
    """Read an accuracy as a data sheet writes it: "0.5 degC", "1 % + 2 digits", "± 1.5 % + 0.1 V".

    Raises Trouble for anything else; two different units in one accuracy are refused.
    """
    relative = absolute = digits = 0.0
    unit = ""
    for term in re.split(r"\+(?!/)", text):
        match = _TERM.match(term)
        if not match:
            raise Trouble(f"The accuracy {text!r} cannot be read: write it like '0.5 degC' or '1 % + 2 digits'.")
        number, word = float(match["number"]), match["unit"]
        if word.lower() in {"%", "percent", "% of reading", "% rdg"}:
            relative += number / 100
        elif word.lower() in _DIGIT_WORDS:
            digits += number
        elif "%" in word:
            raise Trouble(f"The accuracy {text!r} cannot be read: only percent of the reading is understood.")
        elif not _UNIT.match(word):  # '1e-3 V' would be read as one, in 'e-3 V'
            raise Trouble(f"The accuracy {text!r} cannot be read: {word!r} is no unit.")
        elif unit and word != unit:
            raise Trouble(f"The accuracy {text!r} mixes the units {unit!r} and {word!r}: state it in one unit.")
        else:
            absolute, unit = absolute + number, word
    return Accuracy(relative, absolute, unit, digits)


def reading(value: float, accuracy: str | Accuracy, resolution: float = 0.0) -> Value:
    """A reading with its standard uncertainty. `accuracy` is text for `parse_accuracy`, or already read.

    A plain number comes back where the uncertainty is zero, as for a reading of zero with an accuracy in percent.
    """
    from uncertainties import ufloat

    stated = parse_accuracy(accuracy) if isinstance(accuracy, str) else accuracy
    doubt = stated.standard(possible.finite(value, "reading"), resolution)
    return ufloat(value, doubt) if doubt else value


def carry(formula: Callable[..., float], *arguments: Any) -> Value:
    """Apply a formula of plain floats to uncertain arguments. Other arguments pass through unchanged."""
    from uncertainties import wrap
    from uncertainties.core import AffineScalarFunc

    result = wrap(formula)(*arguments)
    return result if isinstance(result, AffineScalarFunc) else float(result)


def best(value: Value) -> float:
    """The best estimate of a value that may carry an uncertainty."""
    return float(getattr(value, "nominal_value", value))


def spread(value: Value) -> float:
    """The standard uncertainty of a value, zero for a plain number."""
    return float(getattr(value, "std_dev", 0.0))


@dataclass(frozen=True)
class Comparison:
    """A verdict, the sentence that says it, and how far the value lies from its nearest limit."""

    verdict: LimitVerdict
    sentence: str
    margin: float


def hold_against(
    value: Value,
    low: float | None = None,
    high: float | None = None,
    *,
    what: str = "reading",
    coverage: float = COVERAGE,
) -> Comparison:
    """Hold a value against a lowest and a highest permitted value; either may be left out.

    A value within its expanded uncertainty of a limit is BORDERLINE. Raises Trouble when there is no limit or
    when the limits are crossed.
    """
    centre, doubt = possible.finite(best(value), what), coverage * spread(value)
    floor, ceiling = -math.inf if low is None else low, math.inf if high is None else high
    if not math.isfinite(floor) and not math.isfinite(ceiling):
        raise Trouble(f"The {what} cannot be judged: no limit is stated for it.")
    if floor > ceiling:
        raise Trouble(f"The limits of the {what} are crossed: {floor:g} is above {ceiling:g}.")
    # A hair of slack, so that a doubt equal to the distance is borderline in binary fractions as it is on paper.
    reach = doubt + 1e-9 * max(1.0, abs(centre)) if doubt else 0.0
    margin = min(centre - floor, ceiling - centre)
    if margin < -reach:
        return Comparison(LimitVerdict.FAIL, f"The {what} is outside its limits.", margin)
    if margin > reach or (margin >= 0 and not doubt):
        return Comparison(LimitVerdict.PASS, f"The {what} is inside its limits.", margin)
    if 2 * doubt >= ceiling - floor:
        said = f"This instrument is too coarse to judge the {what}. Use a better one."
        return Comparison(LimitVerdict.BORDERLINE, said, margin)
    said = f"The {what} is too near its limit to call. Measure again."
    return Comparison(LimitVerdict.BORDERLINE, said, margin)
