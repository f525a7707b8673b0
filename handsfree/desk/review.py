"""Visits picked for review: one in so many of those in which nothing needs a look, so that somebody also listens to good
ones.

Rules of this file:

- Picked by the hash of the record's end, which nobody knows during the visit: nobody can avoid it, and every desk with the
  same setting picks the same record.
- It is a finding like others: in the queue, after all that need a look, and it is signed off like them.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace

from handsfree.desk.readout import ReadOut, finding_row
from handsfree.desk.tables import GOOD
from handsfree.journal.findings import DRAWN, NOTE


def drawn(out: ReadOut, one_in: int) -> ReadOut:
    """With the finding where it is drawn. `one_in`: 0 for none."""
    visit, found = out.visit, out.rows.get("findings", [])
    if not one_in or visit["standing"] != GOOD or any(row["level"] != NOTE for row in found):
        return out
    number = int.from_bytes(hashlib.sha256(f"review {visit['head']}".encode()).digest()[:8])
    if number % one_in:
        return out
    sentence = f"Nothing in it needs a look; it is one in {one_in} that somebody listens to all the same."
    row = finding_row(visit["name"], visit["began"], DRAWN, 0, 0.0, sentence)
    rank = min(visit["rank"], row["rank"])
    return replace(out, visit={**visit, "rank": rank}, rows={**out.rows, "findings": [*found, row]})
