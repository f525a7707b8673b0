"""Functions of more readings than a table can hold, worked by hand: the lines of a worksheet by function, in each language.

They are stricter than the functions: whatever the worksheet calls sound, cold or fit to keep, the function does too
(`tests/trade/test_worksheets.py` tries it)."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.trade.electrical import INSULATION_LEAST, LEAD_OHMS, SHORT_AMPERES
from handsfree.trade.proof import FEWEST, SHORTEST

_WINDINGS_EN = (
    "Call the three readings A (common to start), B (common to run), C (start to run).",
    f"Any winding below {INSULATION_LEAST:g} megohm to the frame: \"to frame\".",
    "C reads, and A and B are both off the scale: \"common open\". Any other reading off the scale: \"open\".",
    f"Divide the voltage on the plate by {SHORT_AMPERES:g}: ______ ohm, and never less than {LEAD_OHMS:g} ohm. "
    "A, B or C below that: \"shorted\".",
    "A plus B: ______ . C less that sum, without its sign: ______ . Up to 3 % of C: \"sound\". Above 6 % of C plus 0.4 ohm: "
    "\"does not add up\". In between: go by 'Otherwise'.",
)
_COLD_EN = (
    f"Write every reading with its minute, door shut. It takes at least {FEWEST} readings over {SHORTEST:g} minutes.",
    "Draw them on the chart, and the two edges of the band. Lay a ruler through the last three.",
    "\"cold\": the last three lie inside the band, no nearer to an edge than a quarter of its width, and of all that lie "
    "inside it none differs from another by more than 0.5 °C (1 °F).",
    "\"on its way\": the last lies above the band, each of the last three below the one before it.",
    "Anything else: go by 'Otherwise'.",
)
_FOOD_EN = (
    "\"keep\": every reading of the stock was 4.4 °C (40 °F) or less, and it was surely cold within the last 30 minutes.",
    "\"discard\": the last reading is above 5.6 °C (42 °F), and nobody can say that it was cold within four hours.",
    "Anything else: \"ask\". Ask the operator of the stock. Local food law comes first.",
)
_HOURS_EN = (
    "Lay a ruler through the last three on their chart, to the upper edge of the band: ______ hours.",
    "Stock cools ever slower. Triple it after three readings, double it after more: ______ hours.",
)
BY_HAND: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "en": {
        "windings_state": _WINDINGS_EN,
        "cold_proof": _COLD_EN,
        "food_verdict": _FOOD_EN,
        "timed_readings": ("Count the readings that you wrote with their minute: ______ .",),
        "cold_hours": _HOURS_EN,
    },
    "es": {
        "timed_readings": ("Cuente las lecturas que escribió con su minuto: ______ .",),
    },
}
#: Functions that are worked on a chart of time and value.
ON_A_CHART = frozenset({"cold_proof"})
