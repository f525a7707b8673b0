"""The two clocks of a visit.

Rules of this file:

- The wall clock tells people when; it may jump. The monotonic count gives the order and the durations; it never falls.
- The count goes on over a resume: from the last one recorded, plus what the wall clock says has passed, never less than 0.
- A jump of the wall clock against the count of more than `JUMP` seconds is an event of its own.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

#: Seconds. NTP slews a clock by at most 500 ppm (from memory), 1.8 s in an hour; drift is counted afresh at every event.
JUMP = 2.0


class JournalClock(Protocol):
    def wall(self) -> datetime:
        """Now, with offset."""

    def mono(self) -> float:
        """Seconds from any beginning; never falls."""


class SystemClock:
    """The machine's clocks. If the system has a count that goes on while the machine sleeps (Linux: CLOCK_BOOTTIME), that
    one: a lid closed for an hour is an hour of the visit, not a jump of the clock."""

    def wall(self) -> datetime:
        return datetime.now().astimezone()

    def mono(self) -> float:
        boot = getattr(time, "CLOCK_BOOTTIME", None)
        return time.monotonic() if boot is None else time.clock_gettime(boot)


@dataclass
class VisitClock:
    """The clock of one visit: 0 at its beginning."""

    clock: JournalClock = field(default_factory=SystemClock)
    _last: float = 0.0
    _offset: float = 0.0
    _drift: float | None = None

    def __post_init__(self) -> None:
        self._offset = -self.clock.mono()

    def carry_on(self, mono: float, wall: str) -> None:
        """After the event at `mono` and `wall`: what has passed by the wall clock has passed for the visit."""
        passed = (self.clock.wall() - datetime.fromisoformat(wall)).total_seconds()
        self._last = mono
        self._offset = mono + max(0.0, passed) - self.clock.mono()
        self._drift = datetime.fromisoformat(wall).timestamp() - mono

    def now(self) -> float:
        """Seconds on the visit's clock, to the microsecond; never falls."""
        self._last = max(self._last, round(self.clock.mono() + self._offset, 6))
        return self._last

    def stamp(self, *, may_jump: bool = True) -> tuple[str, float, float]:
        """(RFC 3339 wall time, seconds on the visit's clock, seconds the wall clock has jumped since the last stamp, or 0).
        While a jump may not be noted yet, the wall time is worked out from the count."""
        wall, mono = self.clock.wall(), self.now()
        drift = wall.timestamp() - mono
        jumped = 0.0 if self._drift is None else drift - self._drift
        if self._drift is not None and abs(jumped) > JUMP and not may_jump:
            return datetime.fromtimestamp(mono + self._drift, wall.tzinfo).isoformat(timespec="milliseconds"), mono, 0.0
        self._drift = drift
        return wall.isoformat(timespec="milliseconds"), mono, round(jumped, 3) if abs(jumped) > JUMP else 0.0
