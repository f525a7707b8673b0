"""Thermistors and platinum sensors, and which is wrong: the sensor, the controller or the cabinet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from handsfree.errors import Trouble
from handsfree.trade import possible
from handsfree.trade.possible import KELVIN_OFFSET
from handsfree.trade.uncertain import COVERAGE, best, carry, spread

if TYPE_CHECKING:
    from handsfree.trade.uncertain import Value


class Characteristic(Protocol):
    """A sensor's characteristic."""

    def celsius(self, ohms: float) -> float:
        """Temperature at a resistance."""
        ...

    def ohms(self, celsius: float) -> float:
        """Resistance at a temperature."""
        ...


def _on_curve(celsius: float) -> float:
    """A temperature at which a thermistor has a resistance that a meter can read. Trouble for another."""
    possible.celsius(celsius)
    return possible.between(celsius, THERMISTOR_LOW, THERMISTOR_HIGH, "temperature of a thermistor", "degrees Celsius")


@dataclass(frozen=True)
class Beta:
    """R = R0 exp(beta (1/T - 1/T0)): the curve through two points of a thermistor's table. T0 in degrees Celsius."""

    reference_ohms: float
    reference_celsius: float
    beta: float

    def __post_init__(self) -> None:
        possible.positive(self.reference_ohms, "thermistor's own resistance", "ohms")
        _on_curve(self.reference_celsius)
        possible.between(self.beta, BETA_LOW, BETA_HIGH, "beta of a thermistor", "kelvin")

    def celsius(self, ohms: float) -> float:
        """Degrees Celsius at a resistance in ohms."""
        ratio = possible.positive(possible.ohms(ohms), "sensor resistance", "ohms") / self.reference_ohms
        inverse = 1 / (self.reference_celsius + KELVIN_OFFSET) + math.log(ratio) / self.beta
        hottest, coldest = (1 / (t + KELVIN_OFFSET) for t in (THERMISTOR_HIGH, THERMISTOR_LOW))
        # A hair of slack: the ends of the range come back from their own resistances.
        if not hottest * (1 - 1e-9) <= inverse <= coldest * (1 + 1e-9):
            raise Trouble(f"A resistance of {ohms:g} ohms lies outside this thermistor's curve: check the sensor type.")
        return 1 / inverse - KELVIN_OFFSET

    def ohms(self, celsius: float) -> float:
        """Ohms at a temperature in degrees Celsius."""
        kelvin = _on_curve(celsius) + KELVIN_OFFSET
        return self.reference_ohms * math.exp(self.beta * (1 / kelvin - 1 / (self.reference_celsius + KELVIN_OFFSET)))


# Between these a thermistor of a cabinet has a curve (degrees Celsius): common practice, no source.
THERMISTOR_LOW, THERMISTOR_HIGH = -80.0, 200.0
BETA_LOW, BETA_HIGH = 500.0, 10_000.0  # kelvin, wider than any thermistor is made: common practice, no source

# Callendar-Van Dusen coefficients: IEC 60751.
_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12
PLATINUM_LOW, PLATINUM_HIGH = -200.0, 850.0


@dataclass(frozen=True)
class Platinum:
    """Pt100 or Pt1000 after IEC 60751, by its resistance at 0 degrees Celsius."""

    zero_ohms: float = 100.0

    def __post_init__(self) -> None:
        possible.positive(self.zero_ohms, "platinum sensor's resistance at zero degrees", "ohms")

    def ohms(self, celsius: float) -> float:
        """Ohms from -200 to 850 degrees Celsius, by Callendar and Van Dusen."""
        possible.celsius(celsius)
        t = possible.between(celsius, PLATINUM_LOW, PLATINUM_HIGH, "platinum sensor temperature", "degrees Celsius")
        return self.zero_ohms * (1 + _A * t + _B * t * t + (_C * (t - 100) * t**3 if t < 0 else 0.0))

    def celsius(self, ohms: float) -> float:
        """Degrees Celsius at a resistance: the quadratic above zero, Newton's steps below it."""
        possible.ohms(ohms)
        low, high = self.ohms(PLATINUM_LOW), self.ohms(PLATINUM_HIGH)
        step = 0.005 * self.zero_ohms / 100  # tables are printed to 0.01 ohm for a Pt100, so their own ends are taken
        possible.between(ohms, low - step, high + step, "platinum sensor resistance", "ohms")
        ratio = ohms / self.zero_ohms
        t = (-_A + math.sqrt(_A * _A - 4 * _B * (1 - ratio))) / (2 * _B)
        for _ in range(0 if ratio >= 1 else 8):
            value = 1 + _A * t + _B * t * t + _C * (t - 100) * t**3 - ratio
            t -= value / (_A + 2 * _B * t + _C * (4 * t**3 - 300 * t * t))
        return t + 0.0  # nobody is told minus zero


OFFSET_MOST = 5.0  # kelvin, the most that is corrected and not exchanged: common practice, no source


def offset_to_set(shown: float, measured: float, set_now: float = 0.0) -> float:
    """The offset, in kelvin, with which a controller shows what a thermometer beside its sensor measures.

    `shown`, `measured`: degrees Celsius, read in the same minute. `set_now`: the offset that is set already. Trouble for an
    offset above `OFFSET_MOST`: that is a wrong sensor, and no offset puts it right.
    """
    gap = possible.celsius(measured, "measured temperature") - possible.celsius(shown, "shown temperature")
    offset = possible.finite(set_now, "offset that is set") + gap
    if abs(offset) > OFFSET_MOST + 1e-9:
        raise Trouble(f"An offset of {offset:.1f} kelvin is no correction: the sensor is wrong. Exchange it.")
    return offset


class Suspect(StrEnum):
    """Which part of the measuring chain, or the cabinet itself, the readings accuse."""

    SENSOR_OPEN = "sensor open"
    SENSOR_SHORT = "sensor short"
    SENSOR = "sensor"
    CONTROLLER = "controller or wiring"
    CHAIN = "sensor or controller"
    CABINET = "cabinet"
    BORDERLINE = "borderline"


@dataclass(frozen=True)
class Accused:
    """The suspect, and the sentence that says so."""

    suspect: Suspect
    sentence: str


def _differ(first: Value, second: Value, tolerance: float) -> bool | None:
    """Whether two temperatures differ by more than `tolerance`; None when the doubt covers the answer.

    Only a gap that both at their worst together do not explain is said to be one: an accusation follows from it.
    """
    gap, doubt = abs(best(first - second)), COVERAGE * spread(first - second)
    if gap > tolerance + COVERAGE * (spread(first) + spread(second)):
        return True
    return False if gap + doubt <= tolerance or gap <= doubt else None


def which_is_wrong(
    shown: Value,
    independent: Value,
    resistance: Value | None = None,
    curve: Characteristic | None = None,
    *,
    tolerance: float = 1.0,
) -> Accused:
    """Sensor, controller or cabinet? Temperatures in degrees Celsius, resistance in ohms with its plug undone.

    `independent` is a thermometer held at the sensor for some minutes. `tolerance` is the sensor's own permitted
    error in kelvin. "Cabinet" means that the shown temperature is true, so that whatever is wrong is real.
    """
    for value, name in ((shown, "shown temperature"), (independent, "measured temperature")):
        possible.celsius(best(value), name)
    possible.not_negative(tolerance, "sensor tolerance")
    if resistance is None or curve is None:
        return _without_resistance(_differ(shown, independent, tolerance))
    ohms = possible.ohms(best(resistance))
    expected = curve.ohms(best(independent))
    if ohms > 20 * expected:
        return Accused(Suspect.SENSOR_OPEN, "The sensor or its lead is open.")
    if ohms < expected / 20:
        return Accused(Suspect.SENSOR_SHORT, "The sensor or its lead is short-circuited.")
    felt = carry(curve.celsius, resistance)
    wrong_sensor = _differ(felt, independent, tolerance)
    wrong_controller = _differ(felt, shown, tolerance)
    if wrong_sensor is None or (not wrong_sensor and wrong_controller is None):
        return Accused(Suspect.BORDERLINE, "The readings are too close to call. Measure again.")
    if wrong_sensor:
        return Accused(Suspect.SENSOR, "The sensor's resistance does not fit the measured temperature.")
    if wrong_controller:
        return Accused(Suspect.CONTROLLER, "The sensor is right, but the controller shows something else.")
    return Accused(Suspect.CABINET, "The sensor tells the truth. Look at the cabinet.")


def _without_resistance(differs: bool | None) -> Accused:
    if differs is None:
        return Accused(Suspect.BORDERLINE, "The readings are too close to call. Measure again.")
    if differs:
        return Accused(Suspect.CHAIN, "The shown temperature is wrong. Measure the sensor's resistance next.")
    return Accused(Suspect.CABINET, "The sensor tells the truth. Look at the cabinet.")


def shown_makes_sense(shown: float, room: float, stock_is_warm: bool, set_point: float = 6.0) -> bool:
    """False when the shown temperature points at the sensor and not at the cooling.

    Well above the room's (5 K), or normal or colder (less than 3 K above the setting) while the stock is warm: common
    practice, no source.
    """
    for value, name in ((shown, "shown temperature"), (room, "room temperature"), (set_point, "setting")):
        possible.celsius(value, name)
    return not (shown > room + 5 or (stock_is_warm and shown < set_point + 3))
