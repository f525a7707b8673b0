"""The cautions for each hazard, read before the step that they protect. Local codes and licensed practice come first."""

from __future__ import annotations

from handsfree.errors import Trouble
from handsfree.trade import possible

LIFT_ALONE = 25.0  # kilograms: common practice, no source
CAUTIONS: dict[str, tuple[str, ...]] = {
    "mains": (
        "Mains voltage can kill. Unplug or lock off, and prove dead, before you touch.",
        "Work on the fixed supply is for a licensed electrician.",
    ),
    "charge": (
        "A capacitor keeps its charge with the plug out. Discharge it through a resistor and measure.",
        "Never short it with a tool.",
    ),
    "fan": ("A fan can start without warning. Isolate before your hand goes near it.",),
    "hot": ("The compressor and its discharge tube burn skin. Let them cool, or wear gloves.",),
    "sharp": ("Coil fins and sheet edges cut. Wear gloves.",),
    "refrigerant": (
        "Do not open, cut or heat the sealed circuit. That is work for a certified technician.",
        "Ventilate, and keep flames and sparks away until you have read the plate.",
    ),
    "lifting": ("Keep your back straight and the deck close. Clear the way before you lift.",),
    "water": ("Water on the floor and electricity kill together. Dry the floor, and stand clear until dead.",),
    "public": ("Keep the public clear. Put up a barrier, and leave no part lying about.",),
}


def caution(hazard: str) -> tuple[str, ...]:
    """The sentences for a hazard of `CAUTIONS`. Raises Trouble for any other name."""
    if hazard not in CAUTIONS:
        raise Trouble(f"The hazard {hazard!r} is not known: use one of {', '.join(CAUTIONS)}.")
    return CAUTIONS[hazard]


def people_to_lift(kilograms: float) -> int:
    """How many people lift this: two above 25 kg, one more for each further 25 kg (common practice, no source)."""
    possible.positive(kilograms, "mass", "kilograms")
    return max(1, -int(-kilograms // LIFT_ALONE))
