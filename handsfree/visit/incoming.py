"""Photos from a phone or a camera's card: a file put into the visit's folder `incoming/` is attached to the record.

Rules of this file:

- A file counts once it has not changed between two looks, so that half a photo is never taken.
- It is first copied beside the record, then named in the record, and only then removed from `incoming/`.
- It belongs to the step that last asked for evidence; '' where none has.
- A logger's or a clamp meter's file is also read (`logged`): what it measured before the visit counts.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from handsfree.dialogue.parts import Ear
from handsfree.dialogue.runner import Watcher
from handsfree.journal.events import Attached, Happening, KeepNote, ListenFor, Stamped, StepEntered
from handsfree.journal.reader import read
from handsfree.journal.writer import Journal
from handsfree.visit.logged import values_of
from handsfree.visit.state import State

FOLDER = "incoming"
LOOKS_EVERY = 2.0  # seconds
LARGEST = 50_000_000  # bytes; a photo of a phone has a tenth
_UNFINISHED = (".part", ".tmp", ".crdownload")


class Incoming:
    """What has come into the folder of one visit."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self.folder = journal.folder / FOLDER
        self._seen: dict[Path, tuple[int, int]] = {}
        self._attached: dict[str, Path] = {}
        self.step = ""

    def look(self, *, last: bool = False) -> Happening | None:
        """The next complete file, attached. `last`: nobody will look again, so a file is taken as it is. Trouble if the
        record cannot be written."""
        for path in sorted(self.folder.iterdir()) if self.folder.is_dir() else ():
            size = _size(path)
            if size is None or path in self._attached.values():
                continue
            if not last and self._seen.get(path) != size:
                self._seen[path] = size
                continue
            name, digest = self._journal.attach(path)
            self._attached[name] = path
            return values_of(path, Attached(self.step, name, digest), self._opened())
        return None

    def _opened(self) -> datetime | None:
        """When the visit was opened, by the wall clock; None if nothing is on the record."""
        first = next(iter(read(self._journal.folder)), None)
        return None if first is None else datetime.fromisoformat(first.wall).replace(tzinfo=None)

    def recorded(self, entry: Stamped) -> None:
        """It is on the record, so that the file may go."""
        event = entry.event
        if isinstance(event, StepEntered) and event.kind == "evidence":
            self.step = event.step
        elif isinstance(event, Attached) and event.file in self._attached:
            self._attached[event.file].unlink(missing_ok=True)

    def watching(self, watch: Watcher[State]) -> Watcher[State]:
        def both(entry: Stamped, state: State) -> None:
            self.recorded(entry)
            watch(entry, state)

        return both

    def beside(self, ear: Ear) -> Ear:
        """An ear that also brings the files that come in."""
        return _Beside(self, ear)


class _Beside:
    def __init__(self, incoming: Incoming, ear: Ear) -> None:
        self._incoming, self._ear = incoming, ear

    def listen(self, what: ListenFor) -> None:
        self._ear.listen(what)

    def keep_note(self, note: KeepNote) -> None:
        self._ear.keep_note(note)

    def next(self, timeout: float | None) -> Happening | None:
        found = self._incoming.look()
        if found is not None:
            return found
        return self._ear.next(LOOKS_EVERY if timeout is None else min(timeout, LOOKS_EVERY))

    def close(self) -> None:
        self._ear.close()


def _size(path: Path) -> tuple[int, int] | None:
    """Bytes and time of its last change; None for anything that cannot be attached."""
    try:
        facts = path.stat()
    except OSError:
        return None
    if not path.is_file() or path.is_symlink() or path.name.startswith(".") or path.suffix.lower() in _UNFINISHED:
        return None
    return (facts.st_size, facts.st_mtime_ns) if 0 < facts.st_size <= LARGEST else None
