"""The verb `send`, as a plain function; the command line registers it."""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handsfree.errors import Trouble

if TYPE_CHECKING:
    from handsfree.sending.forward import News
    from handsfree.sending.line import Destination
    from handsfree.sending.queue import Queue


@dataclass(frozen=True)
class SendOptions:
    """What the command line asked for. `place`: a visit, a folder of visits, or None to go on with what waits. `minutes`:
    stop after so many and leave the rest in the queue; None to stay until all is sent. `again`: ask the desk even about
    visits that it has had. `show`: only say what is in the queue."""

    place: Path | None = None
    to: str | None = None
    key: Path | None = None
    outbox: Path | None = None
    minutes: float | None = None
    again: bool = False
    show: bool = False


def send(asked: SendOptions, *, as_json: bool) -> int:
    """`handsfree send`. Exit status 0 where all that was asked for is stored, 1 where any of it waits, was refused or is
    unfit. Trouble where sending is not set up, or the desk does not know the key."""
    from handsfree.sending.queue import Queue
    from handsfree.settings import load_settings

    if asked.minutes is not None and not 0 < asked.minutes < float("inf"):
        raise Trouble("--minutes is how long to keep sending: a number above 0. Without it, everything is sent.")
    settings = load_settings(send_to=asked.to, send_key=asked.key, outbox=asked.outbox)
    queue = Queue(settings.outbox)
    if asked.show:
        return _show(queue, as_json)
    address = _address(queue, settings.send_to)
    return _send(asked, settings.send_key, queue, address, as_json)


def _send(asked: SendOptions, key: Path | None, queue: Queue, address: str, as_json: bool) -> int:
    from filelock import FileLock, Timeout

    from handsfree.sending import forward
    from handsfree.sending.line import Destination
    from handsfree.sending.queue import REFUSED, STORED

    _needed()
    destination = Destination(address, key_of(key))
    done = forward.enqueue(queue, asked.place, address, again=asked.again) if asked.place else forward.Enqueued()
    for row in done.settled:
        print(f"{row.folder.name}: {'is stored already' if row.state == STORED else 'was refused: ' + row.why}")
    for name, why in done.unfit:
        print(f"{name}: not sent: {why}")
    unsafe = _unsafe(asked.place)
    until = float("inf") if asked.minutes is None else time.time() + 60 * asked.minutes
    try:
        with FileLock(queue.place.with_suffix(".lock"), timeout=0):
            forward.work(queue, destination, _told, forward.Pace(until=until))
    except Timeout:
        print("Another 'handsfree send' is working on the queue and sends these too.")
    except KeyboardInterrupt:
        print("\nInterrupted; what is not stored waits in the queue. Continue with 'handsfree send'.", file=sys.stderr)
    put = _questions(queue, destination)
    counts = _counts(queue, address) | {"unfit": len(done.unfit), "unsafe": unsafe, "questions": put}
    if as_json:
        print(json.dumps({"to": address, **counts}))
    bad = counts["waiting"] or done.unfit or any(row.state == REFUSED for row in _asked_for(queue, address, asked.place))
    return 1 if bad else 0


def _questions(queue: Queue, to: Destination) -> int:
    """Fetches the desk's questions to the technicians of this device and keeps them for their next visit. Returns how many.
    If the line or the desk fails, the questions already here stay."""
    from handsfree.desk.protocol import QUESTIONS
    from handsfree.sending.line import KeyUnknown, Later, Uplink
    from handsfree.visit import desk_questions

    try:
        with Uplink(to) as line:
            status, body = line.ask("GET", QUESTIONS)
        if status != 200:
            return 0
        found = desk_questions.parse(body)
    except (Later, KeyUnknown, ValueError):
        return 0
    place = desk_questions.file_beside(queue.place)
    try:
        found = desk_questions.keep(place, found)
    except OSError as error:
        print(f"The desk's questions could not be kept in {place} ({error.strerror}); they are fetched again next time.")
        return 0
    many = len({one.key for one in found})  # a question comes once under each name that records have for the person
    if many:
        print(f"{many} questions from the desk are kept; each is asked at the end of that person's next visit.")
    return many


def _unsafe(place: Path | None) -> int:
    """How many of these visits ran a procedure that may not be run now. Each is told, and sent all the same."""
    from handsfree.desk.fitness import Fitness, faults_of
    from handsfree.journal.reader import visits_in

    judged: Fitness = {}
    told = 0
    for folder in visits_in(place) if place else ():
        faults = faults_of(folder, judged)
        if faults:
            told += 1
            more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
            print(f"{folder.name}: the procedure it ran is now known to be unsafe: {faults[0]}{more}")
    return told


def _address(queue: Queue, given: str) -> str:
    """The desk's address: the one named, else the one set, else the only one for which something waits."""
    from handsfree.sending.line import desk_address
    from handsfree.sending.queue import WAITING

    if given:
        return desk_address(given)
    waits = {row.destination for row in queue.rows() if row.state == WAITING}
    if len(waits) != 1:
        raise Trouble("Nothing can be sent yet: name the desk with --to, or in the setting 'send_to'.")
    return desk_address(waits.pop())


def key_of(path: Path | None) -> str:
    """The key: from a file that only its owner can read, or asked for at the terminal. Trouble where there is none."""
    if path is None:
        if not sys.stdin.isatty():
            raise Trouble("The desk asks for this device's key; name its file with --key, or in the setting 'send_key'.")
        import getpass

        return _plain(getpass.getpass("This device's key: "), "What was typed")
    import os

    try:
        if os.name == "posix" and path.stat().st_mode & 0o077:
            raise Trouble(f"Others on this machine could read the key in {path}; restrict it to you: chmod 600 {path}")
        text = path.read_bytes()[:4096].decode("ascii", "replace")
    except OSError as error:
        raise Trouble(f"The key file {path} cannot be read: {error.strerror}; name it with --key.") from None
    return _plain(text, str(path))


def _plain(text: str, where: str) -> str:
    key = text.strip()
    if not key or not key.isascii() or any(c.isspace() or not c.isprintable() for c in key):
        raise Trouble(f"{where} contains no key; 'handsfree desk people-add NAME --role device' at the desk prints one.")
    return key


def _needed() -> None:
    try:
        import httpx  # noqa: F401
    except ImportError:
        raise Trouble("Sending needs the package httpx; install it with: pip install 'handsfree[send]'") from None


def _told(news: News) -> None:
    words = {
        "stored": f"stored, but kept apart at the desk: {news.why}" if news.why else "stored",
        "waiting": f"waits: {news.why}; tried again in {news.wait:.0f} s",
        "refused": f"refused: {news.why}",
    }[news.what]
    print(f"{news.visit}: {words}", flush=True)


def _asked_for(queue: Queue, address: str, place: Path | None) -> list[Any]:
    """The rows of this call: those under `place`, or all."""
    rows = queue.rows(address)
    whole = place.resolve() if place is not None else None
    return [row for row in rows if whole is None or whole in (row.folder, *row.folder.parents)]


def _counts(queue: Queue, address: str) -> dict[str, int]:
    from handsfree.sending.queue import REFUSED, STORED, WAITING

    states = [row.state for row in queue.rows(address)]
    return {state: states.count(state) for state in (STORED, WAITING, REFUSED)}


def _show(queue: Queue, as_json: bool) -> int:
    rows = queue.rows()
    for row in rows:
        why = f": {row.why}" if row.why else ""
        print(f"{row.folder.name} to {row.destination}: {row.state}{why}")
    if not rows:
        print("Nothing was ever put into the queue.")
    if as_json:
        print(json.dumps([{"visit": r.folder.name, "to": r.destination, "state": r.state, "why": r.why} for r in rows]))
    return 0
