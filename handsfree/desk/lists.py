"""Lists as files: what a page shows as a table, with who, where and when, for a spreadsheet.

Rules of this file:

- RFC 4180, UTF-8, a head. A cell that a spreadsheet would take for a formula is given an apostrophe before it: names and
  sentences in a record are written by others (OWASP, "CSV injection").
- Bounded: a list longer than MOST_EXPORTED is cut, and its last row says so.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from starlette.responses import Response

MOST_EXPORTED = 10_000
#: (head, attribute of the row).
Columns = tuple[tuple[str, str], ...]
VISIT_COLUMNS: Columns = (
    ("visit", "name"), ("begun", "began_text"), ("site", "site"), ("cabinet", "cabinet"), ("technician", "technician"),
    ("procedure", "procedure"), ("found", "found"), ("ended as", "outcome"), ("minutes on site", "on_site"),
    ("trips", "trips"), ("open findings", "open_findings"), ("gravest", "worst"), ("how grave", "level"),
    ("standing", "standing"), ("problem", "problem"), ("signed by", "signed_by"), ("events", "events"), ("head", "head"),
)  # fmt: skip
FINDING_COLUMNS: Columns = (
    ("visit", "name"), ("begun", "began_text"), ("site", "site"), ("cabinet", "cabinet"), ("technician", "technician"),
    ("procedure", "procedure"), ("how grave", "level"), ("finding", "rule"), ("says", "sentence"), ("event", "n"),
    ("seconds into the visit", "at"), ("signed off by", "by"), ("comment", "comment"), ("when", "wall"),
)  # fmt: skip


def as_csv(name: str, columns: Columns, rows: Sequence[Any]) -> Response:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([head for head, _ in columns])
    for row in rows:
        writer.writerow([_cell(attribute, getattr(row, attribute)) for _, attribute in columns])
    if len(rows) >= MOST_EXPORTED:
        writer.writerow([f"cut after {MOST_EXPORTED} rows: ask for less at once"])
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(out.getvalue().encode(), media_type="text/csv; charset=utf-8", headers=headers)


def _cell(attribute: str, value: Any) -> str:
    if value is None:
        return ""
    if attribute == "on_site":
        return f"{value / 60:.1f}"
    if isinstance(value, float):
        return f"{value:.1f}"
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
