"""A cabinet's readings over the years, as inline SVG. Nothing is shown by colour alone; a table beside it has the same."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 760, 220, 64, 24, 14, 34
Scale = Callable[[float], float]
BAD = ("out of its expected range", "not plausible")


@dataclass(frozen=True)
class TrendPoint:
    """`taken`: seconds of the epoch. `low`, `high`: the range that was expected that day, None for none."""

    taken: float
    value: float
    low: float | None
    high: float | None
    where: str
    visit: str


#: What a drawing can show: larger values are not readings.
LARGEST = 1e12


def _drawable(value: float | None) -> bool:
    return value is None or (math.isfinite(value) and abs(value) < LARGEST)


def over_time(quantity: str, unit: str, points: Sequence[TrendPoint]) -> str:
    """'' if there is nothing to draw. Points that cannot be drawn are left out."""
    points = [p for p in points if all(_drawable(v) for v in (p.taken, p.value, p.low, p.high))]
    if not points:
        return ""
    times = [point.taken for point in points]
    first, last = min(times), max(times)
    if last - first < 86_400:
        first, last = first - 43_200, last + 43_200
    levels = [v for p in points for v in (p.value, p.low, p.high) if v is not None]
    low, high = min(levels), max(levels)
    margin = (high - low) * 0.08 or max(1.0, abs(high) * 0.08)
    low, high = low - margin, high + margin

    def x(taken: float) -> float:
        return round(LEFT + (taken - first) / (last - first) * (WIDTH - LEFT - RIGHT), 1)

    def y(value: float) -> float:
        return round(TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM), 1)

    parts = [*_grid(low, high, y), *_days(first, last, x), *_expected(points, x, y)]
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
    """Lines at round values: 1, 2 or 5 of a power of ten apart, four to nine of them."""
    rough = (high - low) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    apart = next(n * power for n in (5, 2, 1) if n * power <= rough)
    for number in range(math.ceil(low / apart), math.floor(high / apart) + 1):
        up = y(number * apart)
        yield (f'<path d="M{LEFT} {up}H{WIDTH - RIGHT}" class="grid"/>'
               f'<text x="{LEFT - 8}" y="{up + 4}" text-anchor="end">{number * apart:g}</text>')


def _days(first: float, last: float, x: Scale) -> Iterator[str]:
    """Where it begins and ends, and the turns of months or years between where there is room."""
    begin, end = datetime.fromtimestamp(first, UTC), datetime.fromtimestamp(last, UTC)
    marks = [(begin, f"{begin:%Y-%m-%d}", "start"), (end, f"{end:%Y-%m-%d}", "end")]
    months = (end.year - begin.year) * 12 + end.month - begin.month
    every = next((n for n in (1, 3, 12) if months / n <= 6), 12 * max(1, months // 72))
    for number in range(begin.year * 12 + begin.month, end.year * 12 + end.month):
        turn = datetime(number // 12, number % 12 + 1, 1, tzinfo=UTC)
        if number % every == 0 and LEFT + 110 < x(turn.timestamp()) < WIDTH - RIGHT - 110:
            marks.append((turn, f"{turn:%Y-%m}", "middle"))
    for moment, words, anchor in marks:
        at = x(moment.timestamp())
        yield (f'<path d="M{at} {TOP}V{HEIGHT - BOTTOM}" class="grid"/>'
               f'<text x="{at}" y="{HEIGHT - 12}" text-anchor="{anchor}">{words}</text>')


def _expected(points: Sequence[TrendPoint], x: Scale, y: Scale) -> Iterator[str]:
    """The range expected, as a band between each reading and the next."""
    for at, point in enumerate(points):
        if point.low is None or point.high is None:
            continue
        left = x(point.taken)
        right = x(points[at + 1].taken) if at + 1 < len(points) else min(left + 10, WIDTH - RIGHT)
        top, bottom = y(point.high), y(point.low)
        yield (f'<rect x="{left}" y="{top}" width="{max(right - left, 6):.1f}" height="{max(bottom - top, 1):.1f}" '
               'class="expected"/>')


@dataclass(frozen=True)
class VisitCurve:
    """One visit's curve. `label`: its day; `points`: (minutes since its first reading, value)."""

    label: str
    visit: str
    points: tuple[tuple[float, float], ...]


def overlaid(quantity: str, unit: str, runs: Sequence[VisitCurve]) -> str:
    """Curves of several visits over one another, the newest drawn strongest, each told apart by its dashes and its day."""
    runs = [run for run in runs if all(_drawable(t) and _drawable(v) for t, v in run.points)]
    if not runs:
        return ""
    end = max(max(t for t, _ in run.points) for run in runs) or 1.0
    levels = [v for run in runs for _, v in run.points]
    low, high = min(levels), max(levels)
    margin = (high - low) * 0.08 or max(1.0, abs(high) * 0.08)
    low, high = low - margin, high + margin

    def x(minutes: float) -> float:
        return round(LEFT + max(minutes, 0.0) / end * (WIDTH - LEFT - RIGHT - 90), 1)

    def y(value: float) -> float:
        return round(TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM), 1)

    parts = [*_grid(low, high, y)]
    parts += [f'<text x="{x(end * part)}" y="{HEIGHT - 12}" text-anchor="middle">{end * part:.0f} min</text>'
              for part in (0.0, 0.5, 1.0)]
    beside = _apart([y(run.points[-1][1]) for run in runs])
    told: list[str] = []
    for at, run in enumerate(runs):
        path = " ".join(f"{'L' if i else 'M'}{x(t)} {y(v)}" for i, (t, v) in enumerate(run.points))
        newest = at == len(runs) - 1
        kind = "run newest" if newest else f"run dash{at % 4}"
        first, last = run.points[0][1], run.points[-1][1]
        words = f"{run.label}: from {first:g} to {last:g} {unit} in {run.points[-1][0]:.0f} min"
        parts.append(f'<path d="{path}" class="{kind}"><title>{escape(words)}</title></path>')
        strong = ' class="strong"' if newest else ""
        parts.append(f'<text x="{WIDTH - RIGHT - 80}" y="{beside[at]:.1f}"{strong}>{escape(run.label)}</text>')
        told.append(words)
    label = f"{quantity} over the minutes of {len(runs)} visits: {'; '.join(told)}"
    return (f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(label)}" class="drawing">'
            f'{"".join(parts)}</svg>')


def _apart(heights: Sequence[float], gap: float = 14.0) -> list[float]:
    """Positions for labels that want these heights: in the same order, far enough apart, all within the drawing."""
    order = sorted(range(len(heights)), key=lambda at: heights[at])
    found = list(heights)
    least = TOP + 4.0
    for at in order:
        found[at] = least = max(found[at] + 4, least)
        least += gap
    most = HEIGHT - BOTTOM + 4.0
    for at in reversed(order):
        found[at] = most = min(found[at], most)
        most -= gap
    return found
