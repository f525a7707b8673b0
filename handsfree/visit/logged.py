"""What a visit takes from a logger's or a clamp meter's file that was put into its folder.

Rules of this file:

- Only measurements from before the visit count: the technician reads the later ones.
- A log whose clock does not reach the day of the visit does not count, and the program says so. The same goes for a file
  that is not a log.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal.outside import Attached

SUFFIXES = (".csv", ".txt", ".tsv")
#: Minutes: how long before a visit a log may end, by its own clock, and how far back it counts.
REACH, BACK, AHEAD = 24 * 60.0, 48 * 60.0, 12 * 60.0


def values_of(path: Path, attached: Attached, opened: datetime | None) -> Attached:
    """The event with what its file says. `opened`: the visit's opening by the wall clock of the device."""
    if path.suffix.lower() not in SUFFIXES:
        return attached
    from handsfree.trade import logs

    try:
        log = logs.read(path)
        if log.of("current") is not None or log.of("power") is not None:
            duty = logs.duty(log)
            return replace(attached, hours=round(log.hours, 1), share=round(duty.share, 3), starts=duty.starts)
        return _temperatures(log, attached, opened)
    except Trouble as trouble:
        return replace(attached, amiss=str(trouble))


def _temperatures(log: object, attached: Attached, opened: datetime | None) -> Attached:
    from handsfree.trade.logs import Log, thinned

    assert isinstance(log, Log)
    rows = thinned(log)
    if not rows:
        return replace(attached, amiss="It has neither a temperature nor a current.")
    if log.start is None or opened is None:
        return replace(attached, amiss="Its samples have no date, so that nobody knows when they were taken.")
    shift = (log.start - opened).total_seconds() / 60
    here = [(round(minute + shift, 1), round(value, 2)) for minute, value in rows]
    if not -REACH <= here[-1][0] <= AHEAD:
        return replace(attached, amiss="Its clock does not reach the day of this visit.")
    before = tuple(row for row in here if -BACK <= row[0] <= 0)
    return replace(attached, rows=before, hours=round(log.hours, 1))
