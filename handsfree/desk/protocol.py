"""How a visit gets from a device to the desk over a bad network. Both ends use this module; no network here.

The rules:

- A visit is offered as a *manifest*: its name and the path, size and SHA-256 of each file. The manifest's own SHA-256 (over
  its RFC 8785 form) names the upload, so offering the same visit twice is the same upload, whoever asks and however often.
- Every request carries `Authorization: Bearer KEY`, the key that `handsfree desk people-add NAME --role device` printed.

    POST /upload                      body: the manifest        -> 200 State; 413 too large; 422 not a manifest;
                                                                   507 Problem (this device has too much unfinished here, or
                                                                   the disk is full: not now)
    GET  /upload/UPLOAD                                         -> 200 State; 404 not offered (offer it again)
    PUT  /upload/UPLOAD/SHA256        Content-Range: bytes A-B/SIZE, body: those bytes
                                                                -> 200 State; 409 State (A is not where it goes on);
                                                                   422 State (whole, but its hash is wrong: from 0 again)
    POST /upload/UPLOAD/commit        no body                   -> 201 Stored (now); 200 Stored (was already);
                                                                   409 State (parts are missing); 422 Problem (it is no
                                                                   visit this desk takes: do not try again)
    GET  /upload/questions                                      -> 200 what supervisors ask technicians of this device's team
                                                                   (of every team where it has none)

- `State.have` says how many bytes of each part are safe on disk. A part goes on exactly there; a range that begins elsewhere
  changes nothing. An empty part needs no PUT. A device that lost its connection asks for the State and goes on.
- A State of 'stored' has every part whole: nothing is left to send, and a commit is answered with Stored once more.
- A part is at most PIECE bytes a PUT. A half PUT (the line broke) keeps what arrived.
- The commit verifies everything together, as `handsfree verify` does, before the visit is seen by anybody; then the folder
  appears under its name in one step. What does not verify, or has another visit's name, is stored in quarantine, where it is
  shown first and counted nowhere: `Stored.quarantined` says why.
- A resumed visit is a longer journal that begins with the stored one: it replaces it. A shorter one with which the stored
  one begins is stored already. Any other visit of the same name goes into quarantine beside it.
- `X-Waiting` with an offer says how many visits wait on the device: the desk shows a queue that grows old.
- 401: the key is not known. 429: too fast, wait as many seconds as `Retry-After` says. 5xx: try again later.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.journal.canonical import canonical
from handsfree.journal.reader import ATTACHED, JOURNAL, SOUND
from handsfree.journal.shapes import file_allowed

PATH, QUESTIONS = "/upload", "/upload/questions"
FORMAT = 1
#: Bytes of a body at most: a piece that is lost is sent again whole.
PIECE = 1 << 20
#: Of one visit at most.
LARGEST_FILE, LARGEST_VISIT, MOST_FILES = 2 << 30, 4 << 30, 20_000
#: Of a journal: its events are read together. One of an hour has about a tenth of a megabyte.
LARGEST_JOURNAL = 64 << 20
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,199}")
_HASH = re.compile(r"[0-9a-f]{64}")
_RANGE = re.compile(r"bytes (\d{1,15})-(\d{1,15})/(\d{1,15})")


@dataclass(frozen=True)
class VisitFile:
    """A file of the visit. `path`: journal.jsonl, sound/… or attached/…, as the record names them."""

    path: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    visit: str
    parts: tuple[VisitFile, ...]
    format: int = FORMAT

    def to_json(self) -> bytes:
        """RFC 8785, and so the same bytes for the same visit."""
        return canonical({"format": self.format, "visit": self.visit, "parts": [asdict(part) for part in self.parts]})

    @property
    def upload(self) -> str:
        return hashlib.sha256(self.to_json()).hexdigest()

    @property
    def sizes(self) -> dict[str, int]:
        """Hash -> size; the same content under two paths is sent once."""
        return {part.sha256: part.size for part in self.parts}


@dataclass(frozen=True)
class UploadState:
    """`state`: 'open', or 'stored' if nothing more is to be done. `have`: hash of a part -> bytes that are safe."""

    upload: str
    state: str
    have: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class VisitStored:
    """`quarantined`: why it is kept apart from the visits that count, as a sentence; '' if it counts."""

    visit: str
    events: int
    head: str
    quarantined: str = ""


@dataclass(frozen=True)
class UploadProblem:
    """A sentence for a person."""

    problem: str


def names_a_visit(text: str) -> bool:
    return _NAME.fullmatch(text) is not None


def to_json(answer: UploadState | VisitStored | UploadProblem) -> bytes:
    return json.dumps(asdict(answer), sort_keys=True).encode()


def manifest_of(folder: Path) -> Manifest:
    """Of a visit's folder as it is now. Trouble if there is no visit in it, or it is too large."""
    if not (folder / JOURNAL).is_file():
        raise Trouble(f"{folder} holds no visit: there is no {JOURNAL} in it. Give the folder of a visit.")
    names = [JOURNAL]
    for kind in (SOUND, ATTACHED):
        names += [f"{kind}/{path.name}" for path in sorted((folder / kind).glob("*")) if path.is_file()]
    parts = []
    for name in names:
        if name == JOURNAL or file_allowed(name):
            with (folder / name).open("rb") as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()
                parts.append(VisitFile(name, stream.tell(), digest))
    found = Manifest(folder.name, tuple(parts))
    try:
        return parse_manifest(found.to_json())
    except ValueError as error:
        raise Trouble(f"{folder} cannot be sent: {error}.") from None


def parse_manifest(data: bytes) -> Manifest:
    """ValueError says what is wrong with it: nothing in it is trusted."""
    try:
        raw = json.loads(data)
        parts = tuple(VisitFile(_text(p["path"]), _size(p["size"]), _text(p["sha256"])) for p in raw["parts"])
        found = Manifest(_text(raw["visit"]), parts, _size(raw["format"]))
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        raise ValueError(f"this is not a manifest ({type(error).__name__})") from None
    if found.format != FORMAT:
        raise ValueError(f"its format is {found.format}, not {FORMAT}")
    if not _NAME.fullmatch(found.visit):
        raise ValueError("that cannot name a visit")
    paths = [part.path for part in parts]
    if len(set(paths)) != len(paths) or paths.count(JOURNAL) != 1 or len(paths) > MOST_FILES:
        raise ValueError(f"it must name {JOURNAL} once, no file twice, and at most {MOST_FILES}")
    for part in parts:
        if part.path != JOURNAL and not file_allowed(part.path):
            raise ValueError(f"a visit has no file called {part.path[:80]!r}")
        if not _HASH.fullmatch(part.sha256) or not 0 <= part.size <= LARGEST_FILE:
            raise ValueError(f"{part.path} has no SHA-256, or a size that is not from 0 to {LARGEST_FILE}")
        if part.path == JOURNAL and part.size > LARGEST_JOURNAL:
            raise ValueError(f"its journal is larger than {LARGEST_JOURNAL} bytes")
    if len({(part.sha256, part.size) for part in parts}) != len(found.sizes):
        raise ValueError("one hash has two sizes")
    if sum(part.size for part in parts) > LARGEST_VISIT:
        raise ValueError(f"it is larger than {LARGEST_VISIT} bytes")
    return found


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _size(value: Any) -> int:
    if type(value) is not int:
        raise TypeError
    return value


def parse_state(data: bytes) -> UploadState:
    """ValueError if it is not one: a captive portal answers anything."""
    try:
        raw = json.loads(data)
        have = {_text(name): _size(size) for name, size in raw["have"].items()}
        return UploadState(_text(raw["upload"]), _text(raw["state"]), have)
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ValueError(f"the answer is not the desk's ({type(error).__name__})") from None


def parse_stored(data: bytes) -> VisitStored:
    """ValueError if it is not one."""
    try:
        raw = json.loads(data)
        return VisitStored(_text(raw["visit"]), _size(raw["events"]), _text(raw["head"]), _text(raw.get("quarantined", "")))
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ValueError(f"the answer is not the desk's ({type(error).__name__})") from None


def content_range(begin: int, length: int, size: int) -> str:
    """The header of a partial PUT (RFC 9110, 14.5)."""
    return f"bytes {begin}-{begin + length - 1}/{size}"


def parse_range(header: str) -> tuple[int, int, int]:
    """(begin, length, size). ValueError if it is not one."""
    found = _RANGE.fullmatch(header.strip())
    if found is None:
        raise ValueError("Content-Range must be 'bytes A-B/SIZE'")
    begin, last, size = (int(group) for group in found.groups())
    if not begin <= last < size:
        raise ValueError("Content-Range must be 'bytes A-B/SIZE' with A <= B < SIZE")
    return begin, last - begin + 1, size
