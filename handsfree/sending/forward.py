"""Store and forward: works off the queue over a line that is often bad.

Rules of this file:

- After a failure it waits: twice as long each time, up to CAP, and out of step with other devices (half the wait is chance).
- A try that brought bytes to the desk is not a failure, so that a line which breaks every minute still gets the visit there.
- Only one sender at a time works on a queue. It also sends what others put in meanwhile.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.desk.marks import mark_of
from handsfree.errors import Trouble
from handsfree.journal.reader import visits_in
from handsfree.sending.line import DeskRefused, Destination, KeyUnknown, Later, Uplink, ready, transfer
from handsfree.sending.queue import REFUSED, STORED, WAITING, Queue, QueueEntry

#: Seconds: the first wait, and the longest.
BASE, CAP = 2.0, 900.0


def delay(tries: int, chance: random.Random) -> float:
    """Seconds after the `tries`-th failure in a row, from 1 on: between a half and the whole of BASE * 2^(tries-1)."""
    return min(CAP, BASE * 2.0 ** min(tries - 1, 30)) * (0.5 + 0.5 * chance.random())


@dataclass
class Pace:
    """Time and chance, to be replaced in a test. `until`: when to stop for now, in seconds of the epoch. `look`: seconds
    between looks at the queue while everything in it waits, since somebody may have put something in."""

    now: Callable[[], float] = time.time
    sleep: Callable[[float], None] = time.sleep
    chance: random.Random = field(default_factory=random.Random)
    until: float = float("inf")
    look: float = 5.0


@dataclass(frozen=True)
class News:
    """What a person is told. `what`: stored, waiting, refused. `wait`: seconds until the next try."""

    visit: str
    what: str
    why: str = ""
    wait: float = 0.0


TellNews = Callable[[News], None]


# ---- into the queue -------------------------------------------------------------------------------------------------


@dataclass
class Enqueued:
    """`settled`: visits stored or refused before and unchanged since. `unfit`: (visit, why) of those that cannot be sent."""

    settled: list[QueueEntry] = field(default_factory=list)
    unfit: list[tuple[str, str]] = field(default_factory=list)


def enqueue(queue: Queue, place: Path, address: str, *, again: bool = False) -> Enqueued:
    """Queues every visit of `place` that is whole and ended. `again`: also those the desk has had, or refused, before."""
    done = Enqueued()
    for folder in visits_in(place):
        settled = None if again else queue.settled(folder, address)
        if settled is not None:
            done.settled.append(settled)
            continue
        try:
            ready(folder)
        except (Later, DeskRefused) as error:
            done.unfit.append((folder.name, str(error)))
            continue
        queue.add(folder, address)
    return done


# ---- out of it ------------------------------------------------------------------------------------------------------


def work(queue: Queue, to: Destination, tell: TellNews, pace: Pace | None = None, line: Uplink | None = None) -> None:
    """Send what waits for this desk until nothing does, or until `pace.until`. Trouble where the desk does not know the key
    (everything still waits then)."""
    pace = pace or Pace()
    own = line or Uplink(to)
    try:
        while (row := queue.first(to.address, pace.now())) is not None:
            now = pace.now()
            if now >= pace.until:
                return
            if row.due > now:
                if row.due > pace.until:
                    return
                pace.sleep(min(row.due - now, pace.look))
                continue
            _try(queue, row, own, tell, pace)
    except KeyUnknown:
        raise Trouble(
            f"The desk at {to.address} does not know this device's key; have one made at the desk with 'handsfree desk "
            "people-add NAME --role device'. Everything still waits in the queue."
        ) from None
    finally:
        if line is None:
            own.__exit__()


def _try(queue: Queue, row: QueueEntry, line: Uplink, tell: TellNews, pace: Pace) -> None:
    name, safe, mark = row.folder.name, line.safe, mark_of(row.folder)
    line.waiting = sum(other.state == WAITING for other in queue.rows(row.destination))
    try:
        apart = transfer(line, row.folder)
    except DeskRefused as error:
        queue.refused(row, mark, str(error))
        tell(News(name, REFUSED, str(error)))
        return
    except Later as later:
        tries = 1 if line.safe > safe else row.tries + 1
        wait = max(later.wait, delay(tries, pace.chance))
        queue.later(row, tries, pace.now() + wait, later.why, later.everyone)
        tell(News(name, WAITING, later.why, wait))
        return
    queue.stored(row, mark, apart)
    tell(News(name, STORED, apart))
