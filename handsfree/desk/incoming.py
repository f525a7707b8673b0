"""Uploads, as `protocol` says, on the desk's disk. No HTTP here.

Rules of this file:

- A part grows only at its end, and is counted after it is on disk.
- Nothing under `.desk/incoming` is a visit. A visit appears by one rename or, if it grew, by one replacement of its journal
  after all files that the new one names are there.
- What was put into quarantine for who sent it is not stored for another sender: they begin it anew.
- A sender's count, an upload and a visit's name are each locked, in that order, across processes.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from filelock import FileLock, Timeout

from handsfree.desk import quarantine
from handsfree.desk.files import Files
from handsfree.desk.heads import Heads, not_as_noted
from handsfree.desk.protocol import Manifest, UploadProblem, UploadState, VisitStored, parse_manifest, parse_stored, to_json
from handsfree.desk.quota import Quota, UploadsBegun
from handsfree.errors import Trouble
from handsfree.journal.disk import RealDisk
from handsfree.journal.events import Opened
from handsfree.journal.findings import BROKEN, COPIED, NOT_THEIRS
from handsfree.journal.reader import ATTACHED, JOURNAL, SOUND, read
from handsfree.journal.rights import NO_RIGHTS, Rights
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.verify import verify
from handsfree.outputs import replace_file

MANIFEST, DONE, BEGUN = "manifest.json", "stored.json", ".begun"
#: Days after which an abandoned upload is deleted.
STALE_DAYS = 30


#: How a visit was opened -> the objection to it, as a sentence, '' for none.
Judge = Callable[[Opened], str]


@dataclass(frozen=True)
class UploadOutcome:
    """`status`: the HTTP status that `protocol` gives this answer."""

    status: int
    answer: UploadState | VisitStored | UploadProblem


class Busy(Exception):
    """Somebody else is working on the same upload: try again."""


@dataclass(frozen=True)
class Intake:
    """`known`: public keys whose signatures count, `rights`: what they may do; `signed_only`: unsigned
    visits are not stored; `quota`: how much one sender may have unfinished; `heads`: the notes on visits."""

    visits: Path
    files: Files
    known: dict[str, str]
    signed_only: bool = False
    quota: Quota = field(default_factory=Quota)
    rights: Rights = NO_RIGHTS
    heads: Heads | None = None

    @property
    def place(self) -> Path:
        return self.visits / ".desk" / "incoming"

    # ---- the four requests -----------------------------------------------------------------------------------------

    def offer(self, body: bytes, sender: str) -> UploadOutcome:
        """`sender`: the account whose unfinished uploads include this one, by a name that can name a folder."""
        try:
            manifest = parse_manifest(body)
        except ValueError as error:
            return UploadOutcome(422, UploadProblem(f"The manifest is not valid: {error}."))
        folder = self.place / manifest.upload
        begun = UploadsBegun(self.place / BEGUN / sender, self.visits, self._unfinished)
        with _hand(self.place, "sender", sender), _hand(self.place, "upload", manifest.upload):
            if self._stored(manifest) is not None:
                return UploadOutcome(200, _all_there(manifest))
            if not self._unfinished(manifest.upload):
                size = sum(manifest.sizes.values())
                if why := self.quota.over(begun, size):
                    return UploadOutcome(507, UploadProblem(why))
                begun.add(manifest.upload, size)
            (folder / DONE).unlink(missing_ok=True)  # it was stored once, and the visit's folder has gone since
            folder.mkdir(parents=True, exist_ok=True)
            if not (folder / MANIFEST).exists():
                replace_file(folder / MANIFEST, manifest.to_json(), 0o600)
            return UploadOutcome(200, self._state(manifest))

    def state(self, upload: str, sender: str = "") -> UploadOutcome:
        manifest = self._manifest(upload)
        if manifest is None:
            return UploadOutcome(404, UploadProblem("This upload was not offered here, or is finished; offer it again."))
        return UploadOutcome(200, self._state(manifest, sender))

    def put(
        self, upload: str, sha256: str, begin: int, size: int, chunks: list[bytes], sender: str = ""
    ) -> UploadOutcome:
        """Bytes of a part from `begin` on. They are kept even if fewer arrived than were announced."""
        manifest = self._manifest(upload)
        if manifest is None:
            return UploadOutcome(404, UploadProblem("This upload was not offered here, or is finished; offer it again."))
        if manifest.sizes.get(sha256) != size:
            return UploadOutcome(422, UploadProblem("The manifest names no such part of this size."))
        path = self.place / upload / sha256
        with _hand(self.place, "upload", upload):
            if self._done(upload, sender) is not None:
                return UploadOutcome(200, _all_there(manifest))
            have = _size(path)
            if begin != have:
                return UploadOutcome(409, self._state(manifest))
            data = b"".join(chunks)[: size - have]
            with path.open("ab") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            if have + len(data) == size and _digest(path) != sha256:
                path.unlink()
                return UploadOutcome(422, self._state(manifest))
            return UploadOutcome(200, self._state(manifest))

    def commit(self, upload: str, sender: str = "", judge: Judge | None = None) -> UploadOutcome:
        """`sender`: who sends it, by a name for people. `judge`: other objections to a visit, by how it was opened."""
        manifest = self._manifest(upload)
        if manifest is None:
            return UploadOutcome(404, UploadProblem("This upload was not offered here, or is finished; offer it again."))
        with _hand(self.place, "upload", upload), _hand(self.place, "visit", manifest.visit):
            if (before := self._done(upload, sender)) is not None:
                return UploadOutcome(200, before)
            state = self._state(manifest, sender)
            if any(state.have.get(sha256, 0) != size for sha256, size in manifest.sizes.items()):
                return UploadOutcome(409, state)
            done = self._stored(manifest)
            if done is None:
                done = self._store(manifest, sender, judge)
            if isinstance(done.answer, VisitStored):
                replace_file(self.place / upload / DONE, to_json(done.answer), 0o600)
                self._empty(upload)
            elif done.status == 422:
                shutil.rmtree(self.place / upload, ignore_errors=True)
            return done

    # ---- what they are made of -------------------------------------------------------------------------------------

    def _manifest(self, upload: str) -> Manifest | None:
        if len(upload) != 64 or not upload.isalnum():
            return None
        try:
            return parse_manifest((self.place / upload / MANIFEST).read_bytes())
        except (OSError, ValueError):
            return None

    def _done(self, upload: str, sender: str = "") -> VisitStored | None:
        """The answer from when it was stored: it may have been lost on the way. What was put aside because somebody else
        sent it is not the answer to this sender."""
        try:
            found = parse_stored((self.place / upload / DONE).read_bytes())
        except (OSError, ValueError):
            return None
        why = quarantine.why_of(quarantine.place(self.visits) / found.visit) if found.quarantined and sender else None
        return None if why is not None and why.rule == NOT_THEIRS and why.sender != sender else found

    def _unfinished(self, upload: str) -> bool:
        return (self.place / upload / MANIFEST).exists() and not (self.place / upload / DONE).exists()

    def _empty(self, upload: str) -> None:
        """Its parts are in the visit's folder now; its manifest and DONE stay until it is swept."""
        for path in (self.place / upload).iterdir():
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            elif path.name not in (MANIFEST, DONE):
                path.unlink()

    def _state(self, manifest: Manifest, sender: str = "") -> UploadState:
        folder = self.place / manifest.upload
        if self._done(manifest.upload, sender) is not None:
            return _all_there(manifest)
        return UploadState(manifest.upload, "open", {sha256: _size(folder / sha256) for sha256 in manifest.sizes})

    def _stored(self, manifest: Manifest) -> UploadOutcome | None:
        """200 if the visit's folder already holds everything offered."""
        journal = self.visits / manifest.visit / JOURNAL
        offered = next(part for part in manifest.parts if part.path == JOURNAL)
        if not journal.is_file() or _size(journal) < offered.size or _digest(journal, offered.size) != offered.sha256:
            return None
        report = self._verified(journal.parent, sound=not self.files.elsewhere)
        return UploadOutcome(200, VisitStored(manifest.visit, report.events, report.head)) if report.holds else None

    def _verified(self, folder: Path, *, signed: bool = False, sound: bool = True) -> VerifyReport:
        """By the keys known here, and by what was noted of the visit before."""
        kept = self.heads.kept_of(folder.name) if self.heads is not None else ()
        return verify(folder, known=self.known, rights=self.rights, kept=kept, signed=signed, sound=sound)

    def _store(self, manifest: Manifest, sender: str, judge: Judge | None) -> UploadOutcome:
        staged = self._staged(manifest)
        report = self._verified(staged, signed=self.signed_only)
        if self.signed_only and not report.claimed:
            return UploadOutcome(422, UploadProblem("This desk accepts only signed visits, and this one is not signed."))
        why = self._judged(staged, manifest, report, judge)
        if why is not None:
            return self._aside(staged, manifest, report, replace(why, sender=sender))
        removed = _removed_with_right(staged, report)
        if self.heads is not None:  # before it is seen: a visit that is shown has its head noted
            self.heads.note((manifest.visit, report.events, report.head), by=sender)
        if self.files.elsewhere:
            self._send_on(staged, manifest)
        self._appear(staged, self.visits / manifest.visit)
        self._drop_removed(manifest, removed)
        return UploadOutcome(201, VisitStored(manifest.visit, report.events, report.head))

    def _aside(self, staged: Path, manifest: Manifest, report: VerifyReport, why: quarantine.Why) -> UploadOutcome:
        if quarantine.full(self.visits, why.sender):
            most = f"{quarantine.MOST} visits of this device are in quarantine already"
            return UploadOutcome(507, UploadProblem(f"{most}; somebody at the desk must look at those first."))
        name = quarantine.keep(self.visits, staged, manifest.upload, why)
        return UploadOutcome(201, VisitStored(name, report.events, report.head, why.sentence))

    def _staged(self, manifest: Manifest) -> Path:
        """The visit's folder as it will be, made of links to the parts."""
        staged = self.place / manifest.upload / "staged" / manifest.visit
        shutil.rmtree(staged.parent, ignore_errors=True)
        for kind in (SOUND, ATTACHED):
            (staged / kind).mkdir(parents=True)
        for part in manifest.parts:
            source = self.place / manifest.upload / part.sha256
            if part.size == 0:
                (staged / part.path).touch()
            else:
                shutil.copyfile(source, staged / part.path)
                _sync(staged / part.path)
        return staged

    def _judged(
        self, staged: Path, manifest: Manifest, report: VerifyReport, judge: Judge | None
    ) -> quarantine.Why | None:
        """Why it goes into quarantine; None if there is no objection."""
        if not report.holds:
            return quarantine.Why(f"It does not verify: {report.problem}", n=report.at)
        opened = next((entry.event for entry in read(staged) if isinstance(entry.event, Opened)), None)
        if opened is None or opened.visit != manifest.visit:
            return quarantine.Why(f"It was sent as {manifest.visit}, and its record is of another visit.", COPIED)
        if judge is not None and (problem := judge(opened)):
            return quarantine.Why(problem, NOT_THEIRS)
        return self._against_stored(staged, manifest) or self._against_noted(staged, manifest)

    def _against_stored(self, staged: Path, manifest: Manifest) -> quarantine.Why | None:
        """Why it may not replace what is there."""
        there, new = self.visits / manifest.visit / JOURNAL, staged / JOURNAL
        if not there.is_file():
            return None
        size = _size(there)
        if _size(new) >= size and _digest(new, size) == _digest(there):
            return None
        n = quarantine.parting(there.parent, staged)
        said = f"A visit of this name is stored already, and this one is another from event {n} on."
        return quarantine.Why(f"{said} Both are kept: compare them.", BROKEN, n=n)

    def _against_noted(self, staged: Path, manifest: Manifest) -> quarantine.Why | None:
        noted = self.heads.last_of(manifest.visit) if self.heads is not None else None
        if noted is None or verify(staged, sound=False, events=noted.events, head=noted.head).holds:
            return None
        return quarantine.Why(not_as_noted(noted), BROKEN, n=noted.events - 1)

    def _send_on(self, staged: Path, manifest: Manifest) -> None:
        for part in manifest.parts:
            if part.path != JOURNAL:
                try:
                    self.files.keep(manifest.visit, part.path, staged / part.path)
                except OSError as error:
                    raise Trouble(f"The sound store does not accept it: {error}. Try again later.") from None
                (staged / part.path).unlink()

    def _appear(self, staged: Path, place: Path) -> None:
        disk = RealDisk()
        if not place.exists():
            for folder in (staged / SOUND, staged / ATTACHED, staged):
                disk.sync_folder(folder)
            os.rename(staged, place)
            disk.sync_folder(place.parent)
            return
        for kind in (SOUND, ATTACHED):
            (place / kind).mkdir(exist_ok=True)
            for path in sorted((staged / kind).iterdir()):
                os.replace(path, place / kind / path.name)
            disk.sync_folder(place / kind)
        os.replace(staged / JOURNAL, place / JOURNAL)
        disk.sync_folder(place)

    def _drop_removed(self, manifest: Manifest, removed: set[str]) -> None:
        """Sound that the sender has pruned is removed here too, if its mark is signed by somebody with the right: the new
        record verifies without it. A mark without the right removes nothing here."""
        named = {part.path for part in manifest.parts}
        place = self.visits / manifest.visit
        for kind in (SOUND, ATTACHED):
            for path in (place / kind).iterdir():
                if (name := f"{kind}/{path.name}") in removed and name not in named:
                    path.unlink()
        self.files.drop(manifest.visit, removed - named)

    def sweep(self, now: float | None = None) -> int:
        """Delete uploads that were abandoned for STALE_DAYS. Returns how many."""
        now = time.time() if now is None else now
        gone = 0
        for folder in self.place.glob("[0-9a-f]*/") if self.place.is_dir() else ():
            newest = max((path.stat().st_mtime for path in folder.iterdir()), default=0.0)
            if newest < now - STALE_DAYS * 86_400:
                shutil.rmtree(folder, ignore_errors=True)
                gone += 1
        return gone


def _removed_with_right(staged: Path, report: VerifyReport) -> set[str]:
    """The files named by marks that are signed by somebody who may remove them."""
    marks = {removal.n for removal in report.removals if removal.right}
    if not marks:
        return set()
    return {name for entry in read(staged) if entry.n in marks for name, _ in entry.event.clips}


@contextmanager
def _hand(place: Path, kind: str, name: str) -> Iterator[None]:
    """A lock on this name, among at most 4096 lock files per kind: one for each visit of a fleet would fill the folder."""
    place.mkdir(parents=True, exist_ok=True)
    try:
        with FileLock(place / f".{kind}-{hashlib.sha256(name.encode()).hexdigest()[:3]}.lock", timeout=20):
            yield
    except Timeout:
        raise Busy from None


def _all_there(manifest: Manifest) -> UploadState:
    return UploadState(manifest.upload, "stored", manifest.sizes)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _digest(path: Path, size: int | None = None) -> str:
    found = hashlib.sha256()
    left = path.stat().st_size if size is None else size
    with path.open("rb") as stream:
        while left > 0 and (block := stream.read(min(left, 1 << 20))):
            found.update(block)
            left -= len(block)
    return found.hexdigest()


def _sync(path: Path) -> None:
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())
