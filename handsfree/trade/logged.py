"""What a log says, in sentences and as a picture: `handsfree log`."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from html import escape
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.trade import food, logs, possible
from handsfree.trade.logs import Column, Log

WIDTH, HEIGHT, LEFT, TOP, BOTTOM = 760, 220, 64, 26, 34
MOST_POINTS = 1500


@dataclass(frozen=True)
class Said:
    """The figures of a log. Temperatures in degrees Celsius; None for what the log did not record."""

    file: str
    start: str | None
    hours: float
    lowest: float | None = None
    highest: float | None = None
    minutes_above_limit: float | None = None
    duty: float | None = None
    starts: int | None = None
    longest_run_minutes: float | None = None
    kilowatt_hours_a_day: float | None = None
    cost_a_day: float | None = None


def said(log: Log, volts: float = 0.0, price: float = 0.0) -> Said:
    """Everything that this log can tell. Raises Trouble for a price or a voltage that is not a number, or is below zero."""
    possible.not_negative(volts, "voltage", "volts")
    possible.not_negative(price, "price of a kilowatt-hour")
    temperature = log.of("temperature")
    found: dict[str, float | int | None] = {}
    if temperature is not None:
        rows = [(m, v) for m, v in zip(log.minutes, temperature.values, strict=True) if not math.isnan(v)]
        found |= {"lowest": round(min(v for _, v in rows), 2), "highest": round(max(v for _, v in rows), 2)}
        above = food.time_above(_apart(rows), accuracy=0.5).most
        found["minutes_above_limit"] = round(above, 1)
    if log.of("current") is not None or log.of("power") is not None:
        duty = logs.duty(log)
        found |= {"duty": round(duty.share, 3), "starts": duty.starts, "longest_run_minutes": round(duty.longest, 1)}
        if volts or log.of("power") is not None:
            energy = logs.kilowatt_hours_a_day(log, volts)
            found["kilowatt_hours_a_day"] = round(energy, 2)
            found["cost_a_day"] = round(energy * price, 2) if price else None
    start = None if log.start is None else log.start.isoformat()
    return Said(log.name, start, round(log.hours, 2), **found)  # type: ignore[arg-type]  # each by the name of its field


def _apart(rows: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """One sample for each time, the warmest: two samples with the same time would contradict each other."""
    kept: dict[float, float] = {}
    for minute, value in rows:
        kept[minute] = max(value, kept.get(minute, value))
    return sorted(kept.items())


def sentences(found: Said) -> tuple[str, ...]:
    """The figures as lines of text."""
    lines = [f"{found.file}: {found.hours:g} hours" + (f" from {found.start}." if found.start else ".")]
    if found.lowest is not None and found.highest is not None:
        low, high = (f"{v:.1f} °C ({v * 1.8 + 32:.0f} °F)" for v in (found.lowest, found.highest))
        lines.append(f"Temperature: {low} to {high}.")
        lines.append(f"Above 41 °F: at most {found.minutes_above_limit:.0f} minutes. {food.DEFER}")
    if found.duty is not None:
        lines.append(
            f"The compressor ran {100 * found.duty:.0f} percent of the time: {found.starts} starts, "
            f"the longest run {found.longest_run_minutes:.0f} minutes."
        )
    if found.kilowatt_hours_a_day is not None:
        cost = "" if found.cost_a_day is None else f", {found.cost_a_day:g} by the price given"
        lines.append(f"Energy a day: {found.kilowatt_hours_a_day:g} kilowatt-hours at most{cost}.")
    return tuple(lines)


def show(file: Path, volts: float, price: float, out: Path | None, as_json: bool) -> None:
    """Print the figures, and write the drawing to `out` if it names a file."""
    log = logs.read(file)
    found = said(log, volts, price)
    print(json.dumps(asdict(found), ensure_ascii=False) if as_json else "\n".join(sentences(found)))
    if out is not None:
        try:
            out.write_text(drawn(log), encoding="utf-8")
        except OSError as error:
            raise Trouble(f"{out} cannot be written: choose another place.") from error


def drawn(log: Log) -> str:
    """The log as one SVG file: a strip for each column with its lowest and highest value, and the hours below."""
    high = len(log.columns) * HEIGHT
    bands = "".join(_band(log, column, at * HEIGHT) for at, column in enumerate(log.columns))
    title = f"<title>{escape(log.name)}: {escape(', '.join(column.name for column in log.columns))}</title>"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {high}" role="img" '
        f'font-family="sans-serif" font-size="12">{title}<rect width="{WIDTH}" height="{high}" fill="#fff"/>{bands}</svg>\n'
    )


def _band(log: Log, column: Column, top: int) -> str:
    rows = [(m, v) for m, v in zip(log.minutes, column.values, strict=True) if not math.isnan(v)]
    rows = rows[:: max(1, len(rows) // MOST_POINTS)]
    low, high = min(v for _, v in rows), max(v for _, v in rows)
    span = high - low or 1.0
    wide, tall = WIDTH - LEFT - 20, HEIGHT - TOP - BOTTOM

    def point(minute: float, value: float) -> str:
        return f"{LEFT + wide * minute / log.minutes[-1]:.1f} {top + TOP + tall * (high - value) / span:.1f}"

    path = " L".join(point(minute, value) for minute, value in rows)
    foot = top + HEIGHT - BOTTOM
    return (
        f'<text x="{LEFT}" y="{top + 16}">{escape(column.name)} ({escape(column.unit)})</text>'
        f'<text x="{LEFT - 6}" y="{top + TOP + 8}" text-anchor="end">{high:.4g}</text>'
        f'<text x="{LEFT - 6}" y="{foot}" text-anchor="end">{low:.4g}</text>'
        f'<path d="M{LEFT} {top + TOP}V{foot}H{WIDTH - 20}" fill="none" stroke="#666"/>'
        f'<path d="M{path}" fill="none" stroke="#124" stroke-width="1.5"/>'
        f'<text x="{LEFT}" y="{foot + 18}">0 h</text>'
        f'<text x="{WIDTH - 20}" y="{foot + 18}" text-anchor="end">{log.hours:.3g} h</text>'
    )
