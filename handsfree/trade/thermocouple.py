"""Thermocouples of types K and T: the ITS-90 reference functions and their inverse.

Coefficients: NIST ITS-90 Thermocouple Database (Standard Reference Database 60, NIST Monograph 175), a work of
the United States government; taken over from the machine-read copy in the package `thermocouple-its90`.
Millivolts with the reference junction at 0 degrees Celsius.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handsfree.errors import Trouble
from handsfree.trade import possible


@dataclass(frozen=True)
class Couple:
    """One type: polynomials below and above 0 degrees Celsius, K's extra Gaussian term, and the range."""

    cold: tuple[float, ...]
    warm: tuple[float, ...]
    gaussian: tuple[float, float, float] | None
    lowest: float
    highest: float

    def millivolts(self, celsius: float) -> float:
        """Voltage at a temperature. The caller has checked the range."""
        total = 0.0
        for coefficient in reversed(self.cold if celsius < 0 else self.warm):
            total = total * celsius + coefficient
        if self.gaussian and celsius >= 0:
            height, width, centre = self.gaussian
            total += height * math.exp(width * (celsius - centre) ** 2)
        return total


COUPLES: dict[str, Couple] = {
    "K": Couple(
        cold=(
            0.0, 0.039450128025, 2.3622373598e-05, -3.2858906784e-07, -4.9904828777e-09, -6.7509059173e-11,
            -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23,
        ),
        warm=(
            -0.017600413686, 0.038921204975, 1.8558770032e-05, -9.9457592874e-08, 3.1840945719e-10,
            -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26,
        ),
        gaussian=(0.1185976, -0.0001183432, 126.9686),
        lowest=-270.0,
        highest=1372.0,
    ),
    "T": Couple(
        cold=(
            0.0, 0.038748106364, 4.4194434347e-05, 1.1844323105e-07, 2.0032973554e-08, 9.0138019559e-10,
            2.2651156593e-11, 3.6071154205e-13, 3.8493939883e-15, 2.8213521925e-17, 1.4251594779e-19,
            4.8768662286e-22, 1.079553927e-24, 1.3945027062e-27, 7.9795153927e-31,
        ),
        warm=(
            0.0, 0.038748106364, 3.329222788e-05, 2.0618243404e-07, -2.1882256846e-09, 1.0996880928e-11,
            -3.0815758772e-14, 4.547913529e-17, -2.7512901673e-20,
        ),
        gaussian=None,
        lowest=-270.0,
        highest=400.0,
    ),
}  # fmt: skip


def _couple(kind: str) -> Couple:
    if kind not in COUPLES:
        raise Trouble(f"The thermocouple type {kind!r} is not known: use K or T.")
    return COUPLES[kind]


def millivolts(kind: str, celsius: float) -> float:
    """Voltage of a type K or T couple at a temperature, reference junction at 0 degrees Celsius."""
    couple = _couple(kind)
    possible.celsius(celsius)
    possible.between(celsius, couple.lowest, couple.highest, f"type {kind} temperature", "degrees Celsius")
    return couple.millivolts(celsius)


_ROUNDING = 0.0005  # mV: tables are printed to 0.001 mV, so their own ends are taken


def celsius(kind: str, measured_millivolts: float, junction_celsius: float = 0.0) -> float:
    """Temperature of the hot end from the voltage and the temperature of the meter's own junction.

    The reference function is inverted by bisection, since it rises throughout its range: no second set of
    polynomials, and no error of fit.
    """
    couple = _couple(kind)
    total = possible.finite(measured_millivolts, "thermocouple voltage") + millivolts(kind, junction_celsius)
    low, high = couple.lowest, couple.highest
    if not couple.millivolts(low) - _ROUNDING <= total <= couple.millivolts(high) + _ROUNDING:
        raise Trouble(f"No type {kind} thermocouple gives {total:.3f} millivolts: check the type and the polarity.")
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if couple.millivolts(middle) < total else (low, middle)
    return (low + high) / 2
