"""Files of loggers and clamp meters: which column is the time, which is what, in which unit; nothing is guessed silently.

Rules of this file:

- A file is text with one line per sample, its fields separated by commas, semicolons or tabs. Lines before the first sample
  are its heading; the last of these names the columns. A unit is in a column's name: '°C', 'degF', 'Amps', 'mA', 'W'.
- Times are dates with hours, or a count of seconds, minutes or hours from the start. A day and a month that could be
  exchanged are told apart by the order of the samples; where that cannot tell, the file is refused.
- A temperature without a unit is refused: 40 is cold in one and hot in the other.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

from handsfree.errors import Trouble

LARGEST = 50_000_000  # bytes
MOST_ROWS = 2_000_000
FEWEST_ROWS = 3
SILENT = 0.02  # of the greatest value: what is less is nothing but noise, common practice, no source
GAP = 5  # a step of more than so many usual ones is a gap: common practice, no source
#: Pattern of a unit in a column's name -> what is measured, the unit it is kept in, factor and offset to it (NIST SP 811).
UNITS: tuple[tuple[str, str, str, float, float], ...] = (
    (r"°\s?c\b|\bdeg\.?\s?c\b|\bcelsius\b|[(\[]\s*c\s*[)\]]|_c$|\bc$", "temperature", "degC", 1.0, 0.0),
    (r"°\s?f\b|\bdeg\.?\s?f\b|\bfahrenheit\b|[(\[]\s*f\s*[)\]]|_f$|\bf$", "temperature", "degC", 1 / 1.8, -32 / 1.8),
    (r"\bma\b|\bmilliamp", "current", "ampere", 1e-3, 0.0),
    (r"\bamp(ere)?s?\b|[(\[]\s*a(\s*rms)?\s*[)\]]|\ba$|_a$|\ba ?rms\b", "current", "ampere", 1.0, 0.0),
    (r"\bkw\b", "power", "watt", 1e3, 0.0),
    (r"\bwatts?\b|[(\[]\s*w\s*[)\]]|\bw$|_w$", "power", "watt", 1.0, 0.0),
    (r"\bvolts?\b|[(\[]\s*v(\s*rms)?\s*[)\]]|\bv$|_v$", "voltage", "volt", 1.0, 0.0),
    (r"%\s?rh|\bhumidity\b", "humidity", "percent", 1.0, 0.0),
)
_DAY_FIRST = ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y")
_MONTH_FIRST = ("%m/%d/%Y", "%m-%d-%Y", "%m/%d/%y")
_YEAR_FIRST = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d")
_HOURS = ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%I:%M:%S %p", "%I:%M %p")
_SECONDS = {"s": 1.0, "sec": 1.0, "second": 1.0, "min": 60.0, "minute": 60.0, "h": 3600.0, "hr": 3600.0, "hour": 3600.0}


@dataclass(frozen=True)
class Column:
    """`kind`: temperature, current, power, voltage or humidity. Values in `unit`; NaN where a sample has none."""

    name: str
    kind: str
    unit: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Log:
    """`minutes` from the first sample, rising. `start`: its date, None for a log that counts from zero."""

    name: str
    start: datetime | None
    minutes: tuple[float, ...]
    columns: tuple[Column, ...]

    def of(self, kind: str) -> Column | None:
        """The first column of a kind."""
        return next((one for one in self.columns if one.kind == kind), None)

    @property
    def hours(self) -> float:
        return self.minutes[-1] / 60


def read(path: Path) -> Log:
    """Trouble, in a sentence, for a file that cannot be read or is no log."""
    try:
        if path.stat().st_size > LARGEST:
            raise Trouble(f"{path.name} is larger than 50 megabytes: export a shorter time from the logger.")
        data = path.read_bytes()
    except OSError as error:
        raise Trouble(f"{path.name} cannot be read: check its name, and that the stick is still in.") from error
    return parse(_text(data, path.name), path.name)


def _text(data: bytes, name: str) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        codes: tuple[str, ...] = ("utf-16",)
    else:
        codes = ("utf-8-sig", "cp1252")
    for code in codes:
        try:
            text = data.decode(code)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise Trouble(f"{name} is not a text file: export it from the logger as CSV.")


def parse(text: str, name: str = "The log") -> Log:
    """Trouble, in a sentence, for text that is no log."""
    if not text.strip():
        raise Trouble(f"{name} is empty: export it from the logger once more.")
    rows = _rows(text)
    first = next((at for at, row in enumerate(rows) if _is_sample(row)), None)
    if first is None:
        raise Trouble(f"{name} has no line with a time and a number: export it as CSV with a column for the time.")
    heading = next((row for row in reversed(rows[:first]) if len(row) >= 2), [])
    body = [row for row in rows[first:] if _is_sample(row)][:MOST_ROWS]
    if len(body) < FEWEST_ROWS:
        raise Trouble(f"{name} has {len(body)} samples: at least {FEWEST_ROWS} are needed.")
    comma = _decimal_comma(rows)
    start, seconds, used = _times(heading, body, name, comma)
    columns = tuple(_columns(heading, body, used, comma, name))
    if not columns:
        raise Trouble(f"{name} has no known unit: write it in the heading, as 'Probe (°C)' or 'Current (A)'.")
    order = sorted(range(len(body)), key=seconds.__getitem__)
    base = seconds[order[0]]
    minutes = tuple((seconds[at] - base) / 60 for at in order)
    if minutes[-1] <= 0:
        raise Trouble(f"{name} has the same time on every line: set the logger's clock, and log again.")
    sorted_ = tuple(Column(c.name, c.kind, c.unit, tuple(c.values[at] for at in order)) for c in columns)
    return Log(name, None if start is None else start + timedelta(seconds=base), minutes, sorted_)


def _rows(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if line.strip()]
    sample = lines[len(lines) // 2 :][:20]
    best = max(";\t,", key=lambda sign: (min((line.count(sign) for line in sample), default=0), ";\t,".index(sign) == 0))
    return [[field.strip() for field in row] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=best)]


def _decimal_comma(rows: Sequence[Sequence[str]]) -> bool:
    """Whether a comma is a decimal sign here: it never is where it separates the fields."""
    return any(re.fullmatch(r"-?\d+,\d+", field) for row in rows for field in row)


def _number(field: str, comma: bool = True) -> float:
    bare = field.replace(",", ".") if comma else field
    match = re.fullmatch(r"([-+]?\d*\.?\d+(?:[eE][-+]?\d+)?)\s*[^\d\s.,:/-]*", bare)
    return float(match.group(1)) if match else math.nan


def _is_sample(row: Sequence[str]) -> bool:
    dated = [field for field in row if re.search(r"\d[:/.-]\d+[:/.-]?\d*", field) and math.isnan(_number(field))]
    numbers = [field for field in row if not math.isnan(_number(field))]
    return bool(numbers) and (bool(dated) or len(numbers) >= 2) and len(row) >= 2


# ---- time -----------------------------------------------------------------------------------------------------------


def _times(
    heading: Sequence[str], body: Sequence[Sequence[str]], name: str, comma: bool
) -> tuple[datetime | None, list[float], frozenset[int]]:
    """(date of the first second, seconds of each sample, the columns that hold the time)."""
    width = min(len(row) for row in body)
    for at in range(width):
        joined = [row[at] for row in body]
        for places, fields in ((frozenset({at}), joined), (frozenset({at, at + 1}), _pairs(body, at, width))):
            dates = _dates(fields, name) if fields else None
            if dates is not None:
                return dates[0], [(one - dates[0]).total_seconds() for one in dates], places
    for at, title in enumerate(heading[:width]):
        unit = re.search(r"\b(s|sec|second|min|minute|h|hr|hour)s?\b", title.lower())
        counts = re.search(r"time|elapsed|second|minute|hour", title.lower())
        if unit and counts:
            values = [_number(row[at], comma) * _SECONDS[unit.group(1)] for row in body]
            if all(a <= b for a, b in pairwise(values)):
                return None, values, frozenset({at})
    raise Trouble(f"{name} has no time column that can be read: export it with date and hour, or elapsed minutes.")


def _pairs(body: Sequence[Sequence[str]], at: int, width: int) -> list[str]:
    return [f"{row[at]} {row[at + 1]}" for row in body] if at + 1 < width else []


def _dates(fields: Sequence[str], name: str) -> list[datetime] | None:
    iso = _as_iso(fields)
    if iso is not None:
        return iso
    if _parsed(fields[:1], _YEAR_FIRST) is not None:
        return _parsed(fields, _YEAR_FIRST)
    found = [dates for dates in (_parsed(fields, _DAY_FIRST), _parsed(fields, _MONTH_FIRST)) if dates is not None]
    if len(found) == 2 and found[0] != found[1]:
        found = [dates for dates in found if all(a <= b for a, b in pairwise(dates))] if _rises_in_one(found) else found
        if len(found) != 1:
            raise Trouble(f"{name}: day and month of its dates cannot be told apart. Export it with dates as 2026-03-31.")
    return found[0] if found else None


def _rises_in_one(found: Sequence[Sequence[datetime]]) -> bool:
    """Whether one order of day and month gives a log of ordinary steps and the other does not."""
    return sum(all(a <= b for a, b in pairwise(dates)) for dates in found) == 1


def _as_iso(fields: Sequence[str]) -> list[datetime] | None:
    if not all(re.match(r"\d{4}-", field) for field in fields):
        return None
    try:
        return [datetime.fromisoformat(field).replace(tzinfo=None) for field in fields]
    except ValueError:
        return None


def _parsed(fields: Sequence[str], days: Sequence[str]) -> list[datetime] | None:
    for day in days:
        for hour in _HOURS:
            try:
                return [datetime.strptime(field.upper(), f"{day} {hour}") for field in fields]
            except ValueError:
                continue
    return None


# ---- columns --------------------------------------------------------------------------------------------------------


def _columns(
    heading: Sequence[str], body: Sequence[Sequence[str]], used: frozenset[int], comma: bool, name: str
) -> Iterator[Column]:
    width = min(len(row) for row in body)
    for at in range(width):
        if at in used:
            continue
        values = [_number(row[at], comma) for row in body]
        if sum(math.isnan(value) for value in values) > len(values) / 2:
            continue
        title = heading[at] if at < len(heading) else ""
        tail = re.sub(r"^[-+\d.,\s]+", "", body[0][at])
        for pattern, kind, unit, factor, offset in UNITS:
            if re.search(pattern, title.lower()) or (tail and re.fullmatch(pattern, tail.lower())):
                yield Column(title or kind, kind, unit, tuple(value * factor + offset for value in values))
                break
        else:
            if re.search(r"temp", title.lower()):
                raise Trouble(f"{name}: the column '{title}' has no unit. Write °C or °F in its name.")


# ---- what they say --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Duty:
    """Share of the time that a compressor ran, how often it started, and its mean current or power while it ran."""

    share: float
    starts: int
    level: float
    longest: float  # minutes of the longest run


def duty(log: Log) -> Duty:
    """From the current, or the power, of a clamp's log: the two levels are parted where both are most uniform (Otsu, IEEE
    Trans. Syst. Man Cybern. 9 (1979), here of the logarithms). Trouble where there is no such column, or one level only."""
    column = log.of("current") or log.of("power")
    if column is None:
        raise Trouble(f"{log.name} has no current and no power: a duty needs a clamp meter's log.")
    held = _held(log, column)
    values = [value for value in column.values if not math.isnan(value)]
    level = _parting(values)
    low = [value for value in values if value <= level]
    high = [value for value in values if value > level]
    if not low or not high or sum(high) / len(high) < 1.8 * max(sum(low) / len(low), 1e-9):
        raise Trouble(f"{log.name} shows only one level of current: it never switched, or the clamp was on another lead.")
    longest, run = 0.0, 0.0
    for span, value, gap in held:
        run = run + span if value > level else 0.0
        longest = max(longest, run)
        run = 0.0 if gap else run
    starts = sum(a <= level < b for a, b in pairwise(values))
    ran = sum(span for span, value, _ in held if value > level)
    return Duty(ran / sum(span for span, _, _ in held), starts, sum(high) / len(high), longest)


def _held(log: Log, column: Column) -> list[tuple[float, float, bool]]:
    """(minutes, value, whether a gap follows) of each sample that has a value: it holds until the next one that has.

    A gap is no time that anything was seen to run: it counts as `GAP` usual steps.
    """
    known = [(m, v) for m, v in zip(log.minutes, column.values, strict=True) if not math.isnan(v)]
    # A usual step is one that nine in ten do not exceed, since some loggers write when a value changes. Logs to the minute
    # have several samples of one minute: a step of zero is not the usual one.
    steps = sorted(b - a for (a, _), (b, _) in pairwise(known) if b > a)
    if not steps:
        raise Trouble(f"{log.name}: its column '{column.name}' has too few values at different times.")
    most = GAP * steps[9 * (len(steps) - 1) // 10]
    return [(min(b - a, most), value, b - a > most) for (a, value), (b, _) in pairwise(known)]


def _parting(values: Sequence[float]) -> float:
    """By logarithms: the inrush of a start, many times a running current, would otherwise form one level and everything else
    the other."""
    least = max(SILENT * max(values), 1e-9)
    ranked = sorted(math.log(max(value, least)) for value in values)
    total, best, at = sum(ranked), -1.0, ranked[0]
    below = 0.0
    for count, value in enumerate(ranked[:-1], 1):
        below += value
        first, second = below / count, (total - below) / (len(ranked) - count)
        between = count * (len(ranked) - count) * (first - second) ** 2
        if between > best:
            best, at = between, (value + ranked[count]) / 2
    return math.exp(at)


def kilowatt_hours_a_day(log: Log, volts: float) -> float:
    """Energy a day. From power where the log has it; from the current at `volts` it is the apparent energy, which the
    true one does not exceed."""
    power, current = log.of("power"), log.of("current")
    if power is not None:
        column, factor = power, 1.0
    elif current is None:
        raise Trouble(f"{log.name} has no current and no power: the energy needs a clamp meter's log.")
    elif not 0 < volts < math.inf:
        raise Trouble("The energy from a current needs the voltage: give it with --volts.")
    else:
        column, factor = current, volts
    held = _held(log, column)
    mean = factor * sum(span * value for span, value, _ in held) / sum(span for span, _, _ in held)
    if mean < 0:
        raise Trouble(f"{log.name} has a mean {column.kind} below zero: the clamp sat the wrong way round.")
    return 24 * mean / 1000


def thinned(log: Log, most: int = 120) -> tuple[tuple[float, float], ...]:
    """(minute, degrees Celsius) of its temperature: of each stretch the warmest, so that no warm spell is lost."""
    column = log.of("temperature")
    if column is None:
        return ()
    rows = [(m, v) for m, v in zip(log.minutes, column.values, strict=True) if not math.isnan(v)]
    size = max(1, math.ceil(len(rows) / most))
    return tuple(max(rows[at : at + size], key=lambda row: row[1]) for at in range(0, len(rows), size))
