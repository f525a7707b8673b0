"""The state pages: the interlock drawn from its table, and what the machine's tables handle and wait for."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape
from typing import Any

from handsfree.handbook.markdown import code, table, text
from handsfree.isolation.rules import Power
from handsfree.visit.diagram import Arrow, arrows
from handsfree.visit.machine import HANDLERS
from handsfree.visit.questions import QUESTIONS

#: Centres of the boxes, in pixels: an isolation goes round clockwise from the top left.
PLACES = {Power.LIVE: (170, 90), Power.ISOLATING: (590, 90), Power.ISOLATED: (590, 370), Power.RESTORING: (170, 370)}
WIDE, HIGH = 150.0, 54.0
Corner = tuple[float, float]


def picture() -> str:
    """Inline SVG in the colours of the page. Each arrow has the letter of its row in the table."""
    ways = list(arrows())
    parts = [
        '<svg class="states" role="img" viewBox="0 0 760 460" fill="none" stroke="currentColor" stroke-width="1.6" '
        'style="max-width: 100%; height: auto" font-family="inherit" font-size="15">',
        "<title>The states of the interlock and the ways between them; the table below says the same in words.</title>",
        '<defs><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="8" markerHeight="8" orient="auto">'
        '<path d="M0 0 L10 5 L0 10 z" fill="currentColor" stroke="none"/></marker></defs>',
        *(_box(power) for power in Power),
        f'<circle cx="30" cy="90" r="6" fill="currentColor"/>{_line((38, 90), (95, 90), False)}',
    ]
    for at, way in enumerate(ways):
        parts += _way(way, _letter(at))
    return "\n".join([*parts, "</svg>"]) + "\n"


def ways() -> str:
    """The arrows of the picture in words."""
    rows = [(_letter(at), way.begin, way.end, text(way.why)) for at, way in enumerate(arrows())]
    return table(("arrow", "from", "to", "what happens"), rows)


def happenings() -> str:
    rows = [
        (code(kind.__name__), "only recorded" if "recorded_only" in handler.__name__ else "handled", text(_first(kind)))
        for kind, handler in HANDLERS.items()
    ]
    return table(("happening", "then", "what it is"), rows)


def awaited() -> str:
    """One line per question: where its answer is handled, and what depends on it."""
    rows = [(str(name), _handled(row.takes), str(row.stake)) for name, row in QUESTIONS.items()]
    return table(("the visit waits for", "handled in", "what depends on it"), rows)


def _handled(handler: Any) -> str:
    module = handler.__module__.removeprefix("handsfree.")
    return "" if handler.__name__ == "<lambda>" else code(f"{module}.{handler.__name__}")


def _first(kind: type[Any]) -> str:
    found = kind.__doc__ or ""
    return "" if found.startswith(f"{kind.__name__}(") else found.split(". ")[0]


def _letter(at: int) -> str:
    return chr(ord("a") + at)


# ---- drawing --------------------------------------------------------------------------------------------------------


def _box(power: Power) -> str:
    x, y = PLACES[power]
    return (
        f'<rect x="{x - WIDE / 2}" y="{y - HIGH / 2}" width="{WIDE}" height="{HIGH}" rx="6"/>'
        f'<text x="{x}" y="{y + 5}" text-anchor="middle" fill="currentColor" stroke="none">{escape(power)}</text>'
    )


def _way(way: Arrow, letter: str) -> Iterator[str]:
    if way.begin == way.end:
        x, y = PLACES[way.begin]
        side = -1 if y < 200 else 1
        edge = y + side * HIGH / 2
        yield f'<path d="M{x - 22} {edge} q-14 {side * 46} 22 {side * 46} q36 0 22 {side * -46}" marker-end="url(#tip)"/>'
        yield _badge((x, edge + side * 46), letter)
        return
    one, other = PLACES[way.begin], PLACES[way.end]
    along = math.hypot(other[0] - one[0], other[1] - one[1])
    # Ways there and back stand beside each other.
    aside = (-(other[1] - one[1]) / along * 11, (other[0] - one[0]) / along * 11)
    begin, end = ((x + aside[0], y + aside[1]) for x, y in (one, other))
    begin, end = _clip(begin, end, one), _clip(end, begin, other)
    yield _line(begin, end, way.clears)
    yield _badge((begin[0] + (end[0] - begin[0]) * 0.3, begin[1] + (end[1] - begin[1]) * 0.3), letter)


def _clip(point: Corner, toward: Corner, middle: Corner) -> Corner:
    """Where the line from `point` leaves the box around `middle`."""
    dx, dy = toward[0] - point[0], toward[1] - point[1]
    sides = [
        (middle[axis] + math.copysign(size / 2, way) - point[axis]) / way
        for axis, size, way in ((0, WIDE, dx), (1, HIGH, dy)) if abs(way) > 1e-9
    ]  # fmt: skip
    far = min(sides)
    return point[0] + dx * far, point[1] + dy * far


def _line(begin: Corner, end: Corner, clears: bool) -> str:
    dashes = ' stroke-dasharray="7 5"' if clears else ""
    (x, y), (u, v) = begin, end
    return f'<path d="M{x:.1f} {y:.1f} L{u:.1f} {v:.1f}"{dashes} marker-end="url(#tip)"/>'


def _badge(at: Corner, letter: str) -> str:
    x, y = at
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="10" style="fill: var(--color-background-primary, white)"/>'
        f'<text x="{x:.1f}" y="{y + 5:.1f}" text-anchor="middle" font-size="14" fill="currentColor" stroke="none">'
        f"{letter}</text>"
    )
