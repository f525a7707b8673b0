"""Writing a journal.

Rules of this file:

- `append` returns only when all its events are on disk; nobody acts on an event before that.
- It returns what the record says, read back from its own bytes: act on that.
- A file (sound, attachment) is on disk before the event that names it.
- One append is one write and one stamp. After any failure the journal is closed for good: what was acknowledged is on disk,
  the rest is cut off if the disk lets us, else at the resume.
- One process writes a visit at a time.
"""

from __future__ import annotations

import dataclasses
import errno
import hashlib
import re
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from filelock import FileLock, Timeout

from handsfree.errors import Trouble, Unkept
from handsfree.journal.canonical import AROUND, entry_in, line_of, unsigned_bytes
from handsfree.journal.clock import JournalClock, SystemClock, VisitClock
from handsfree.journal.disk import AppendFile, Disk, RealDisk
from handsfree.journal.events import HAPPENINGS, ClockMoved, EndOpen, Event, Opened, Sealed, SignedBy, Stamped, TailDropped
from handsfree.journal.keys import DeviceKey
from handsfree.journal.reader import ATTACHED, JOURNAL, SOUND, Broken, stamped, torn_tail, walk

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

LOCK = "journal.lock"


class Journal:
    """The journal of one visit, open for writing. Made by `create` or `resume`; a context manager that closes it."""

    def __init__(self, folder: Path, disk: Disk, clock: VisitClock, key: DeviceKey | None, lock: FileLock) -> None:
        self.folder = folder
        self.size = 0
        self.count = 0
        self.head = ""
        self._disk, self._clock, self._key, self._lock = disk, clock, key, lock
        self._file: AppendFile | None = None
        self._signing = ""
        self._open_end = False
        self._clips = 0
        self._attached = 0

    # ---- opening and closing ---------------------------------------------------------------------------------------

    @classmethod
    def create(
        cls, folder: Path, *, clock: JournalClock | None = None, disk: Disk | None = None, key: DeviceKey | None = None
    ) -> Journal:
        """A new visit's folder and its empty journal; append an `Opened` first. With `key` every event is signed. Trouble
        if the folder exists or cannot be created."""
        disk = disk or RealDisk()
        try:
            disk.make_folder(folder)
            disk.make_folder(folder / SOUND)
            disk.make_folder(folder / ATTACHED)
            journal = cls(folder, disk, VisitClock(clock or SystemClock()), key, _locked(folder))
            journal._file = disk.append_to(folder / JOURNAL, new=True)
        except FileExistsError:
            raise Trouble(f"{folder} exists already. Give the visit its own folder, or resume that one.") from None
        except OSError as error:
            raise _trouble(folder, error, begun=False) from None
        return journal

    @classmethod
    def resume(
        cls, folder: Path, *, clock: JournalClock | None = None, disk: Disk | None = None, key: DeviceKey | None = None
    ) -> Journal:
        """The journal of an existing visit, to go on writing; read the events so far with `reader.read(folder)`. A torn
        tail is cut off, kept beside it, and noted; so is an end without a seal. Trouble (status 3) if the record is broken
        in any other way."""
        if not (folder / JOURNAL).is_file():
            raise Trouble(f"{folder} holds no visit to resume: there is no {JOURNAL} in it.")
        disk = disk or RealDisk()
        lock = _locked(folder)
        journal = cls(folder, disk, VisitClock(clock or SystemClock()), key, lock)
        try:
            journal._carry_on()
        except OSError as error:
            lock.release()
            raise _trouble(folder, error) from None
        except Trouble:
            lock.release()
            raise
        return journal

    def _carry_on(self) -> None:
        path = self.folder / JOURNAL
        named: set[str] = set()
        tail, last = None, None
        with path.open("rb") as stream:
            try:
                for at, entry, found, digest in walk(stream):
                    self.count, self.head, last = found.n + 1, digest, found
                    self.size = at + len(entry) + AROUND
                    self._signing = stamped(entry).event.public_key if found.kind == "SignedBy" else self._signing
                    if found.file:
                        named.add(found.file)
            except Broken as broken:
                tail = torn_tail(path, broken)
                if tail is None:
                    raise Trouble(f"{self.folder} cannot be resumed: its record was changed at {broken}.", 3) from None
        if last is None:
            raise Trouble(f"{self.folder} has no event on disk: there is nothing to resume. Begin a new visit.")
        self._clock.carry_on(last.mono, last.wall)
        self._file = self._disk.append_to(path, new=False)
        self._sweep(named)
        self._open_end = last.kind != "Sealed" and tail is None
        if tail is not None:
            with path.open("rb") as stream:
                stream.seek(tail.at)
                torn = stream.read(tail.size)
            file, digest = self._keep_beside("torn.bin", torn)
            self._file.cut(self.size)
            self.append(TailDropped(tail.size, digest, file))

    def _sweep(self, named: set[str]) -> None:
        """Sound that no event names was never accepted: a crash left it. It is removed, and its numbers are not used
        again."""
        for kind in (SOUND, ATTACHED):
            (self.folder / kind).mkdir(exist_ok=True)
        for path in (self.folder / SOUND).iterdir():
            if f"{SOUND}/{path.name}" not in named and re.fullmatch(r"\d{5,9}\.flac", path.name):
                path.unlink()
        self._clips = max((int(re.sub(r"\D", "", name)) for name in named if name.startswith(SOUND)), default=0)
        numbers = (re.match(r"\d+", path.name) for path in (self.folder / ATTACHED).iterdir())
        self._attached = max((int(number[0]) for number in numbers if number), default=0)

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
        self._lock.release()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    # ---- writing ---------------------------------------------------------------------------------------------------

    def now(self) -> float:
        """Seconds on the visit's clock."""
        return self._clock.now()

    def append(self, *events: Event) -> tuple[Stamped, ...]:
        """Write events; on disk when it returns. Returns everything written, in order: before a happening a `ClockMoved` if
        the wall clock has jumped, after `Opened` a `SignedBy` if there is a key, at a resume an `EndOpen` if there was no
        seal. Pass every happening among them to `advance`. Trouble if the disk is full, read-only or failing; then the
        journal is closed."""
        file = self._file
        if file is None:
            raise Trouble(f"The record of {self.folder} is closed: nothing more can be written to it. Resume the visit.")
        happens = bool(events) and isinstance(events[0], (*HAPPENINGS, TailDropped))
        wall, mono, jumped = self._clock.stamp(may_jump=happens)  # never between a happening and its effects
        written: list[Stamped] = []
        block: list[bytes] = []
        count, head, signing = self.count, self.head, self._signing
        for event in self._with_marks(events, jumped):
            if isinstance(event, SignedBy):
                signing = event.public_key
            line, head, entry = self._line(Stamped(count, wall, mono, event, head), signing)
            written.append(entry)
            block.append(line)
            count += 1
        data = b"".join(block)
        try:
            file.write(data)
            file.sync()
        except OSError as error:
            self._give_up(file)
            raise _trouble(self.folder, error) from None
        self._open_end = False
        self.count, self.head, self._signing, self.size = count, head, signing, self.size + len(data)
        return tuple(written)

    def _with_marks(self, events: tuple[Event, ...], jumped: float) -> list[Event]:
        found: list[Event] = list(events)
        if jumped:
            found.insert(0, ClockMoved(jumped))
        if self._open_end:
            found.insert(0, EndOpen(self.count))
        if self._key is not None and self._signing != self._key.public_key:
            opened = next((at for at, event in enumerate(found) if isinstance(event, Opened)), -1)
            found.insert(opened + 1, SignedBy(self._key.device, self._key.public_key))
        return found

    def _line(self, entry: Stamped, signing: str) -> tuple[bytes, str, Stamped]:
        try:
            line, head = line_of(self._signed(entry, signing))
        except ValueError:
            entry = dataclasses.replace(entry, event=_cleaned(entry.event))
            line, head = line_of(self._signed(entry, signing))
        whole = entry_in(line)
        assert whole is not None
        return line, head, stamped(whole)

    def _signed(self, entry: Stamped, signing: str) -> Stamped:
        if self._key is None or not signing:
            return entry
        return dataclasses.replace(entry, signature=self._key.sign(unsigned_bytes(entry)))

    def _give_up(self, file: AppendFile) -> None:
        """Cut off what was written of the failed append, if the disk still allows it; close in any case."""
        try:
            file.cut(self.size)
        except OSError:
            pass
        finally:
            self.close()

    def seal(self) -> Stamped:
        """The end, for now: the visit may be resumed and sealed again."""
        if self._open_end or (self._key is not None and self._signing != self._key.public_key):
            self.append()  # the marks of a resume come first, for a seal counts what is before it
        return self.append(Sealed(self.count, self.head))[-1]

    # ---- files beside ----------------------------------------------------------------------------------------------

    def keep_sound(self, flac: bytes) -> tuple[str, str]:
        """A clip (FLAC) on disk: (name for `clip`, SHA-256 for `clip_sha256`)."""
        self._clips += 1
        return self._keep(f"{SOUND}/{self._clips:05d}.flac", flac)

    def attach(self, path: Path) -> tuple[str, str]:
        """A copy of a file (a photo) on disk: (name for `file`, SHA-256 for `sha256`)."""
        try:
            data = path.read_bytes()
        except OSError as error:
            raise Trouble(f"{path} cannot be attached: {error.strerror}.") from None
        return self._keep_beside(path.name, data)

    def _keep_beside(self, name: str, data: bytes) -> tuple[str, str]:
        self._attached += 1
        plain = re.sub(r"\.{2,}", ".", re.sub(r"[^A-Za-z0-9._-]+", "-", name))[-80:]  # '..': no reader would accept it
        return self._keep(f"{ATTACHED}/{self._attached:03d}-{plain}", data)

    def _keep(self, name: str, data: bytes) -> tuple[str, str]:
        if self._file is None:
            raise Trouble(f"The record of {self.folder} is closed: nothing more can be written to it. Resume the visit.")
        try:
            self._disk.keep(self.folder / name, data)
        except OSError as error:
            self._give_up(self._file)
            raise _trouble(self.folder, error) from None
        return name, hashlib.sha256(data).hexdigest()


def flac(samples: NDArray[np.float32] | NDArray[np.int16], rate: int = 16_000) -> bytes:
    """Mono samples (NumPy, 16-bit or float from -1 to 1) as FLAC bytes."""
    import io

    import soundfile

    buffer = io.BytesIO()
    soundfile.write(buffer, samples, rate, format="FLAC", subtype="PCM_16")
    return buffer.getvalue()


def _locked(folder: Path) -> FileLock:
    lock = FileLock(folder / LOCK, timeout=0)
    try:
        lock.acquire()
    except Timeout:
        raise Trouble(f"{folder} is in use by another handsfree. Stop that one first.") from None
    except OSError as error:
        raise _trouble(folder, error) from None
    return lock


#: What is wrong, and what to do about it.
_WHY = {
    errno.ENOSPC: ("the disk is full", "free some space"),
    errno.EDQUOT: ("the disk quota is used up", "free some space"),
    errno.EROFS: ("the disk is read-only", "make it writable"),
    errno.EACCES: ("its folder may not be written", "allow writing"),
    errno.EPERM: ("its folder may not be written", "allow writing"),
}


def _trouble(folder: Path, error: OSError, *, begun: bool = True) -> Trouble:
    reason, advice = _WHY.get(error.errno or 0, (f"the disk failed ({error.strerror})", "look after the disk"))
    if not begun:
        return Trouble(f"A record cannot be started in {folder}: {reason}; {advice}, then start again.")
    stops = "The visit stops here, safely recorded up to now" if error.errno in _WHY else "The visit stops here"
    return Unkept(f"Nothing can be recorded in {folder}: {reason}. {stops}; {advice}, then resume the visit.")


def _cleaned(event: Event) -> Event:
    """Lone surrogates (a keyboard's undecodable bytes) become U+FFFD. ValueError is raised again for what cannot be
    repaired."""

    def clean(value: object) -> object:
        if isinstance(value, str):
            return value.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
        return tuple(clean(item) for item in value) if isinstance(value, tuple) else value

    fields: dict[str, Any] = {f.name: clean(getattr(event, f.name)) for f in dataclasses.fields(event)}
    return dataclasses.replace(event, **fields)
