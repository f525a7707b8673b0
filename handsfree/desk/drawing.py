"""A cabinet's readings over the years, as inline SVG. Nothing is told by colour alone; a table beside it has the same."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 760, 220, 64, 16, 14, 34
Scale = Callable[[float], float]
BAD = ("out of its expected range", "not plausible")


@dataclass(frozen=True)
class Point:
    """`taken`: seconds of the epoch. `low`, `high`: the range that was expected that day, None for none."""

    taken: float
    value: float
    low: float | None
    high: float | None
    where: str
    visit: str


def over_time(quantity: str, unit: str, points: Sequence[Point]) -> str:
    """'' where there is nothing to draw."""
    if not points:
        return ""
    times = [point.taken for point in points]
    first, last = min(times), max(times)
    if last - first < 86_400:
        first, last = first - 43_200, last + 43_200
    levels = [v for p in points for v in (p.value, p.low, p.high) if v is not None]
    low, high = min(levels), max(levels)
    margin = (high - low) * 0.08 or 1.0
    low, high = low - margin, high + margin

    def x(taken: float) -> float:
        return round(LEFT + (taken - first) / (last - first) * (WIDTH - LEFT - RIGHT), 1)

    def y(value: float) -> float:
        return round(TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM), 1)

    parts = [*_grid(low, high, y), *_years(first, last, x), *_expected(points, x, y)]
    if len(points) > 1:
        path = " ".join(f"{'L' if i else 'M'}{x(p.taken)} {y(p.value)}" for i, p in enumerate(points))
        parts.append(f'<path d="{path}" class="thread"/>')
    for point in points:
        at, up = x(point.taken), y(point.value)
        shape = f"M{at - 6} {up - 6}l12 12m0-12l-12 12" if point.where in BAD else f"M{at} {up - 5}l5 5-5 5-5-5z"
        day = datetime.fromtimestamp(point.taken, UTC).date()
        words = f"{day}: {point.value:g} {unit}{f', {point.where}' if point.where else ''}"
        parts.append(f'<path d="{shape}" class="{"cross" if point.where in BAD else "diamond"}"><title>{escape(words)}'
                     "</title></path>")
    bad = sum(point.where in BAD for point in points)
    label = (f"{quantity}: {len(points)} readings from {min(p.value for p in points):g} to {max(p.value for p in points):g} "
             f"{unit}, {bad} out of range. The table below lists them.")
    return (f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(label)}" class="drawing">'
            f'{"".join(parts)}</svg>')


def _grid(low: float, high: float, y: Scale) -> Iterator[str]:
    for i in range(5):
        value = low + (high - low) * i / 4
        up = y(value)
        yield (f'<path d="M{LEFT} {up}H{WIDTH - RIGHT}" class="grid"/>'
               f'<text x="{LEFT - 8}" y="{up + 4}" text-anchor="end">{value:.4g}</text>')


def _years(first: float, last: float, x: Scale) -> Iterator[str]:
    days = (last - first) / 86_400
    begin = datetime.fromtimestamp(first, UTC)
    months = 1 if days < 200 else 3 if days < 800 else 12
    month, year = begin.month, begin.year
    while (moment := datetime(year, month, 1, tzinfo=UTC)).timestamp() <= last:
        if moment.timestamp() >= first and (month - 1) % months == 0:
            at = x(moment.timestamp())
            yield (f'<path d="M{at} {TOP}V{HEIGHT - BOTTOM}" class="grid"/>'
                   f'<text x="{at}" y="{HEIGHT - 12}" text-anchor="middle">{moment:%Y-%m}</text>')
        month, year = (1, year + 1) if month == 12 else (month + 1, year)


def _expected(points: Sequence[Point], x: Scale, y: Scale) -> Iterator[str]:
    """The range expected, as a band between each reading and the next."""
    for at, point in enumerate(points):
        if point.low is None or point.high is None:
            continue
        left = x(point.taken)
        right = x(points[at + 1].taken) if at + 1 < len(points) else left + 10
        top, bottom = y(point.high), y(point.low)
        yield (f'<rect x="{left}" y="{top}" width="{max(right - left, 6):.1f}" height="{max(bottom - top, 1):.1f}" '
               'class="expected"/>')
