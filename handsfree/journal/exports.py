"""What others may load: readings as CSV and Parquet, events as JSON Lines, and the JSON Schema of those lines.

The schema is made from the event classes, so it cannot fall behind them. A line of the journal is that same entry in an
envelope `{"entry": …, "sha256": …}`; an exported line is the entry alone.
"""

from __future__ import annotations

import csv
import io
import re
import types
import typing
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Union, get_args, get_origin

from handsfree.errors import Trouble
from handsfree.journal.canonical import canonical, entry_of
from handsfree.journal.events import KINDS, Opened, ReadingTaken, Stamped
from handsfree.journal.found import taken_back
from handsfree.journal.rows import range_of
from handsfree.journal.shapes import HASH, WALL

#: Columns of a reading: name -> is it a number.
COLUMNS: dict[str, bool] = {
    "visit": False, "n": True, "wall": False, "mono": True, "path": False, "step": False, "quantity": False,
    "value": True, "unit": False, "given": True, "given_unit": False, "state": False, "plausible_low": True,
    "plausible_high": True, "expected_low": True, "expected_high": True, "accuracy": False, "affirmed": False,
    "verdict": False, "taken_back": False, "record": False,
}  # fmt: skip


def reading_rows(entries: Iterable[Stamped], broken_at: int | None = None) -> Iterator[dict[str, Any]]:
    """`broken_at`: from this event on, nothing vouches for the record; None where it holds. A reading that a correction took
    back has its row, and says so."""
    visit, entries = "", list(entries)
    gone = taken_back(entries)
    for entry in entries:
        r = entry.event
        if isinstance(r, Opened):
            visit = visit or r.visit
        if isinstance(r, ReadingTaken):
            low, high = r.plausible or (None, None)
            least, most = r.expected or (None, None)
            yield {
                "visit": visit, "n": entry.n, "wall": entry.wall, "mono": entry.mono, "path": "/".join(r.path),
                "step": r.step, "quantity": r.quantity, "value": r.value, "unit": r.unit, "given": r.given,
                "given_unit": r.given_unit, "state": r.state, "plausible_low": low, "plausible_high": high,
                "expected_low": least, "expected_high": most, "accuracy": r.accuracy,
                "affirmed": "yes" if r.affirmed else "no", "verdict": range_of(r),
                "taken_back": "yes" if entry.n in gone else "no",
                "record": "unverified" if broken_at is not None and entry.n >= broken_at else "holds",
            }  # fmt: skip


def readings_csv(entries: Iterable[Stamped], broken_at: int | None = None) -> str:
    """RFC 4180, with a head."""
    return as_csv(list(COLUMNS), (row.values() for row in reading_rows(entries, broken_at)))


#: Where a spreadsheet would begin a formula: at the beginning of a cell, and after what separates cells elsewhere. A wide
#: sign is read as the narrow one.
_FORMULA = re.compile(r"(^|[;\t\r\n])(?=\s*[=+\-@＝＋－＠])")


def as_csv(heads: Sequence[str], table: Iterable[Iterable[Any]]) -> str:
    """RFC 4180, with a head. Words in a record are written by others: what a spreadsheet would take for a formula gets an
    apostrophe in front (OWASP, "CSV injection")."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(heads)
    writer.writerows([_FORMULA.sub(r"\1'", cell) if isinstance(cell, str) else cell for cell in row] for row in table)
    return out.getvalue()


def readings_parquet(entries: Iterable[Stamped], path: Path, broken_at: int | None = None) -> None:
    """Trouble where pyarrow is not installed."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise Trouble("Parquet needs pyarrow: pip install 'handsfree[export]', or export the readings as CSV.") from None
    kinds = {
        name: pa.int64() if name == "n" else pa.float64() if number else pa.string() for name, number in COLUMNS.items()
    }
    pq.write_table(pa.Table.from_pylist(list(reading_rows(entries, broken_at)), schema=pa.schema(list(kinds.items()))), path)


def events_jsonl(entries: Iterable[Stamped], broken_at: int | None = None) -> Iterator[bytes]:
    """One line per event, canonical JSON, as `schema()` describes it."""
    for entry in entries:
        marked = {"unverified": True} if broken_at is not None and entry.n >= broken_at else {}
        yield canonical(entry_of(entry) | marked) + b"\n"


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of one exported line."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "An event of a visit",
        "type": "object",
        "required": ["event", "kind", "mono", "n", "prev", "wall"],
        "additionalProperties": False,
        "properties": {
            "event": {"type": "object"},
            "kind": {"enum": sorted(KINDS)},
            "mono": {"type": "number", "description": "seconds on the visit's clock; never falls"},
            "n": {"type": "integer", "minimum": 0},
            "prev": {"type": "string", "pattern": f"^({HASH})?$", "description": "SHA-256 of the entry before"},
            "signature": {"type": "string", "pattern": "^[0-9a-f]{128}$", "description": "Ed25519, RFC 8032"},
            "unverified": {"const": True, "description": "it comes after a break of the record"},
            "wall": {"type": "string", "format": "date-time", "pattern": f"^{WALL}$"},
        },
        "allOf": [
            {"if": {"properties": {"kind": {"const": name}}}, "then": {"properties": {"event": {"$ref": f"#/$defs/{name}"}}}}
            for name in sorted(KINDS)
        ],
        "$defs": {name: _object(kind) for name, kind in sorted(KINDS.items())},
    }


def _object(kind: type[Any]) -> dict[str, Any]:
    hints = typing.get_type_hints(kind)
    return {
        "type": "object",
        "description": " ".join((kind.__doc__ or "").split()) if not (kind.__doc__ or "").startswith(kind.__name__) else "",
        "properties": {name: _typed(hint) for name, hint in hints.items()},
        "required": sorted(hints),
        "additionalProperties": False,
    }


def _typed(hint: Any) -> dict[str, Any]:
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return {"anyOf": [{"type": "null"}, *(_typed(a) for a in args if a is not type(None))]}
    if origin is tuple and len(args) == 2 and args[1] is Ellipsis:
        return {"type": "array", "items": _typed(args[0])}
    if origin is tuple:
        return {"type": "array", "prefixItems": [_typed(a) for a in args], "minItems": len(args), "maxItems": len(args)}
    return {"type": {str: "string", float: "number", int: "integer", bool: "boolean"}[hint]}
