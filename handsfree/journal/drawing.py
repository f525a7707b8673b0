"""Drawings for the page, as inline SVG: isolation spans and readings against their ranges.

Nothing is told by colour alone: spans carry a pattern and their name, a reading out of range another shape. Each drawing has
a label for a screen reader; the same is in words beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from html import escape

from handsfree.journal.account import Account, Span
from handsfree.journal.events import ReadingTaken
from handsfree.journal.rows import amount, clock, range_of

WIDTH, LEFT = 960, 130
#: state -> (pattern's name, words). The patterns are in PATTERNS.
STATES = {
    "LIVE": ("plain", "live"),
    "ISOLATING": ("dots", "being isolated"),
    "ISOLATED": ("bars", "isolated"),
    "RESTORING": ("slant", "being restored"),
}
PATTERNS = """<svg class="defs" aria-hidden="true" focusable="false"><defs>
<pattern id="plain" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#fff"/></pattern>
<pattern id="dots" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#fff3d6"/>
<circle cx="4" cy="4" r="1.6" fill="#6b4a00"/></pattern>
<pattern id="bars" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#d9ecdf"/>
<rect width="3" height="8" fill="#1d5a35"/></pattern>
<pattern id="slant" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#e3e8f5"/>
<path d="M0 8L8 0" stroke="#26407f" stroke-width="2"/></pattern>
</defs></svg>"""


def _ticks(begin: float, end: float) -> list[float]:
    """Round times, at most ten."""
    for step in (1, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21600, 86400, 604800):
        if (end - begin) / step <= 10:
            first = int(begin // step) + 1
            return [step * n for n in range(first, int(end // step) + 1)]
    return []


def overview(account: Account) -> str:
    """The visit on one line of time: isolation, what was heard, readings, trouble."""
    end = max(account.lasted, 1.0)
    scale = (WIDTH - LEFT - 10) / end

    def x(at: float) -> float:
        return round(LEFT + at * scale, 1)

    parts = [_axis(end, x)]
    for span in account.spans:
        parts.append(_bar(span, x))
    lanes = (
        ("heard", 62, [r for r in account.rows if r.who == "technician"], '<path d="M{x} {a}v14" class="mark"/>'),
        ("readings", 88, [r for r in account.rows if r.what == "reading"], '<circle cx="{x}" cy="{m}" r="5" class="dot"/>'),
        ("trouble", 114, [r for r in account.rows if r.trouble], '<path d="M{x} {a}l7 14h-14z" class="alarm"/>'),
    )
    for name, y, rows, mark in lanes:
        parts.append(f'<text x="4" y="{y + 11}">{name}</text>')
        parts += [mark.format(x=x(row.at), a=y, m=y + 7) for row in rows]
    named = "; ".join(f"{STATES[s.state][1]} from {clock(s.begin)} to {clock(s.end)}" for s in account.spans)
    described = f"Isolation: {named}. The tables below say the same in words."
    return _svg(WIDTH, 165, "The visit on one line of time", described, parts)


def _axis(end: float, x: Callable[[float], float]) -> str:
    marks = []
    for at in _ticks(0.0, end):
        place = x(at)
        label = f'<text x="{place}" y="156" text-anchor="middle">{clock(at)[:-2]}</text>'
        marks.append(f'<path d="M{place} 20V140" class="grid"/>{label}')
    return '<text x="4" y="41">isolation</text>' + "".join(marks)


def _bar(span: Span, x: Callable[[float], float]) -> str:
    left, right = x(span.begin), x(span.end)
    pattern, words = STATES[span.state]
    label = f'<text x="{left + 4}" y="16">{words}</text>' if right - left > 8 * len(words) else ""
    return (
        f'<rect x="{left}" y="24" width="{max(right - left, 1):.1f}" height="24" fill="url(#{pattern})" class="edge">'
        f"<title>{words}, {clock(span.begin)} to {clock(span.end)}</title></rect>{label}"
    )


def reading(taken: ReadingTaken) -> str:
    """One reading against its ranges: the line is what is plausible, the box what is expected."""
    if taken.value is None or taken.plausible is None:
        return ""
    ranges = [taken.plausible, *([taken.expected] if taken.expected else []), (taken.value, taken.value)]
    low, high = min(r[0] for r in ranges), max(r[1] for r in ranges)
    scale = 260 / ((high - low) or 1.0)

    def x(value: float) -> float:
        return round(20 + (value - low) * scale, 1)

    where = range_of(taken)
    parts = [f'<path d="M{x(taken.plausible[0])} 24H{x(taken.plausible[1])}" class="line"/>']
    labels = [taken.plausible[0], taken.plausible[1]]
    if taken.expected is not None:
        a, b = x(taken.expected[0]), x(taken.expected[1])
        parts.append(f'<rect x="{a}" y="14" width="{max(b - a, 2):.1f}" height="20" fill="url(#bars)" class="edge"/>')
    parts += [f'<text x="{x(v)}" y="52" text-anchor="middle">{v:g}</text>' for v in labels]
    at = x(taken.value)
    bad = where in ("not plausible", "out of its expected range")
    mark = f"M{at - 7} 17l14 14m0-14l-14 14" if bad else f"M{at} 14l7 10-7 10-7-10z"
    parts.append(f'<path d="{mark}" class="{"cross" if bad else "diamond"}"/>')
    described = f"{amount(taken.value, taken.unit)}; plausible {taken.plausible[0]:g} to {taken.plausible[1]:g}"
    if taken.expected is not None:
        described += f"; expected {taken.expected[0]:g} to {taken.expected[1]:g}"
    return _svg(300, 58, taken.quantity, f"{described}. {where}", parts)


def _svg(width: int, height: int, title: str, description: str, parts: Iterable[str]) -> str:
    label = f"{escape(title)}. {escape(description)}"
    box = f'viewBox="0 0 {width} {height}"'
    return f'<svg {box} role="img" aria-label="{label}" focusable="false">{"".join(parts)}</svg>'
