"""Lists as files: what a page shows as a table, with who, where and when, for a spreadsheet (CSV) or for whoever works
out more (Parquet).

Rules of this file:

- CSV is as `journal.exports` writes it, UTF-8: no cell is a formula.
- Parquet has the same columns, numbers as numbers. It needs pyarrow, which is in the extra `export`.
- Bounded: a list longer than MOST_EXPORTED is cut, and the last row of the CSV says so.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from starlette.responses import Response

from handsfree.errors import Trouble
from handsfree.journal.exports import as_csv

MOST_EXPORTED = 10_000
KINDS = ("csv", "parquet")
#: (head, attribute of the row).
Columns = tuple[tuple[str, str], ...]
_WHERE: Columns = (
    ("visit", "name"), ("begun", "began_text"), ("site", "site"), ("cabinet", "cabinet"), ("technician", "technician"),
)  # fmt: skip
VISIT_COLUMNS: Columns = (
    *_WHERE, ("complaint", "complaint"), ("procedure", "procedure"), ("version", "version"), ("found", "found"),
    ("ended as", "outcome"), ("minutes on site", "on_site"), ("trips", "trips"), ("parts", "parts"),
    ("open findings", "open_findings"), ("gravest", "worst"), ("how grave", "level"), ("standing", "standing"),
    ("problem", "problem"), ("signed by", "signed_by"), ("events", "events"), ("head", "head"),
)  # fmt: skip
FINDING_COLUMNS: Columns = (
    *_WHERE, ("procedure", "procedure"), ("version", "version"), ("how grave", "level"), ("finding", "rule"),
    ("says", "sentence"), ("event", "n"), ("seconds into the visit", "at"), ("thread", "state"), ("assigned to", "assigned"),
    ("asked", "asked"), ("follow up by", "due"), ("closed by", "by"), ("comment", "comment"), ("when", "wall"),
)  # fmt: skip
SAID_COLUMNS: Columns = (
    *_WHERE, ("seconds into the visit", "at"), ("who", "who"), ("words", "text"), ("verdict", "verdict"), ("step", "step"),
    ("event", "n"),
)  # fmt: skip
DUE_COLUMNS: Columns = (*_WHERE, ("procedure", "procedure"), ("found", "found"), ("not before", "due"))
FOLLOW_UP_COLUMNS: Columns = (
    *_WHERE, ("how grave", "level"), ("finding", "rule"), ("says", "sentence"), ("event", "n"), ("by", "due"),
    ("assigned to", "assigned"), ("fulfilled by", "went"),
)  # fmt: skip
READING_COLUMNS: Columns = (
    *_WHERE, ("taken", "taken"), ("quantity", "quantity"), ("value", "value"), ("unit", "unit"), ("expected from", "low"),
    ("expected to", "high"), ("where it lies", "where"), ("step", "step"), ("procedure", "procedure"), ("event", "n"),
)  # fmt: skip
RETURN_COLUMNS: Columns = (
    ("site", "site"), ("cabinet", "cabinet"), ("visits", "visits"), ("returns", "returns"), ("last begun", "last"),
)  # fmt: skip
VERSION_COLUMNS: Columns = (
    ("procedure", "procedure"), ("version", "version"), ("visits", "visits"), ("mean minutes", "minutes"),
    ("first visits", "firsts"), ("mended at the first", "fixed"), ("share asked again", "again"), ("ended as", "outcomes"),
)  # fmt: skip
STEP_COLUMNS: Columns = (
    ("procedure", "procedure"), ("step", "step"), ("visits", "visits"), ("stays", "stays"), ("said", "heard"),
    ("program asked again", "again"), ("say again", "repeated"), ("went back", "back"), ("stood by", "stood_by"),
    ("mean minutes", "minutes"),
)  # fmt: skip
PEOPLE_COLUMNS: Columns = (
    ("technician", "technician"), ("team", "team"), ("region", "region"), ("technicians", "people"),
    ("visits", "visits"), ("mean minutes on site", "minutes"), ("share asked again", "again"),
    ("first visits", "firsts"), ("mended at the first", "fixed"), ("returns", "returns"), ("open findings", "open_findings"),
    ("last begun", "last"),
)  # fmt: skip
DEVICE_COLUMNS: Columns = (
    ("device", "name"), ("team", "team"), ("last heard of", "seen"), ("last visit stored", "stored"),
    ("waiting on the device", "waiting"), ("unfinished here", "unfinished"), ("standing", "standing"),
)  # fmt: skip
#: Seconds of the epoch, written as a moment.
_MOMENTS = {"taken", "last", "seen", "stored"}


def as_file(kind: str, name: str, columns: Columns, rows: Sequence[Any]) -> Response:
    """Trouble where Parquet cannot be written here."""
    table = [[_value(attribute, getattr(row, attribute)) for _, attribute in columns] for row in rows[:MOST_EXPORTED]]
    heads = [head for head, _ in columns]
    data = _parquet(heads, table) if kind == "parquet" else _csv(heads, table, len(rows) > MOST_EXPORTED)
    media = "application/vnd.apache.parquet" if kind == "parquet" else "text/csv; charset=utf-8"
    return Response(data, media_type=media, headers={"content-disposition": f'attachment; filename="{name}.{kind}"'})


def _csv(heads: list[str], table: list[list[Any]], cut: bool) -> bytes:
    last = [[f"cut after {MOST_EXPORTED} rows: ask for less at once"]] if cut else []
    return as_csv(heads, [*table, *last]).encode()


def _parquet(heads: list[str], table: list[list[Any]]) -> bytes:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise Trouble("Parquet needs pyarrow at the desk: pip install 'handsfree[export]'; or take it as CSV.") from None
    columns = {head: [row[at] for row in table] for at, head in enumerate(heads)}
    kinds = {head: _kind(pa, values) for head, values in columns.items()}
    out = io.BytesIO()
    pq.write_table(pa.table({head: pa.array(values, kinds[head]) for head, values in columns.items()}), out)
    return out.getvalue()


def _kind(pa: Any, values: list[Any]) -> Any:
    there = [value for value in values if value is not None]
    if there and all(isinstance(value, int) for value in there):
        return pa.int64()
    return pa.float64() if there and all(isinstance(value, int | float) for value in there) else pa.string()


def _value(attribute: str, value: Any) -> Any:
    """A number, a text or None."""
    if attribute == "on_site":
        return round(value / 60, 1)
    if isinstance(value, float) and (attribute in _MOMENTS or (attribute == "due" and value > 1e8)):
        try:
            return datetime.fromtimestamp(value).astimezone().isoformat(timespec="seconds")
        except (ValueError, OverflowError, OSError):
            return ""
    if isinstance(value, tuple):  # outcomes with their counts
        return ", ".join(f"{name} {count}" for name, count in value)
    return round(value, 4) if isinstance(value, float) else value
