"""Sending one visit over the line, as `protocol` says, and the ways in which that fails.

Rules of this file:

- Nothing an answer says is believed unless it has the desk's form and names this upload: a station's sign-in page answers
  everything with 200.
- No redirect is followed and no environment's proxy is used on loopback: the key goes to the desk that was named and
  nowhere else.
- Only what the desk says is safe counts as sent, never what was written to a socket.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from handsfree.desk.protocol import (
    PATH,
    PIECE,
    Manifest,
    UploadState,
    VisitFile,
    VisitStored,
    content_range,
    manifest_of,
    parse_state,
    parse_stored,
)
from handsfree.errors import Trouble
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.verify import verify

if TYPE_CHECKING:
    import httpx

#: Bytes of the smallest piece: a line that keeps breaking gets smaller ones, down to this.
SMALLEST = 16 << 10
#: The most bytes of an answer; a State of MOST_FILES parts has about a third of that.
LARGEST_ANSWER = 8 << 20
#: Seconds. A commit reads and verifies the whole visit before it answers.
CONNECT, ANSWER = 15.0, 120.0
#: Answers in a row that bring the visit no further before the sender pauses.
STALLS = 4


class Later(Exception):
    """Not now. `wait`: seconds at least. `everyone`: the fault is in the line or the desk, not in this visit."""

    def __init__(self, why: str, wait: float = 0.0, everyone: bool = True) -> None:
        super().__init__(why)
        self.why, self.wait, self.everyone = why, wait, everyone


class DeskRefused(Exception):
    """The desk will never take the visit as it is. The sentence says why."""


class KeyUnknown(Exception):
    """The desk does not know the key."""


@dataclass(frozen=True)
class Destination:
    """A desk's address and the key for it. The key is in no repr, no queue and no message."""

    address: str
    key: str = field(repr=False)


def desk_address(text: str) -> str:
    """The address in the form it is kept. Trouble if it is not an address, or would send unencrypted over a network."""
    try:
        parts = urlsplit(text)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        host, parts = "", urlsplit("")
    if parts.scheme not in ("http", "https") or not host or parts.query or parts.fragment:
        raise Trouble(f"'{_shown(text)}' is not the address of a desk; give one like https://desk.example.org")
    if parts.username is not None or parts.password is not None:
        raise Trouble("Do not put a key into the address; put it into a file and name the file with --key.")
    if parts.scheme == "http" and not loopback(host):
        raise Trouble(f"Visits go to {host} only over TLS, or others could read and change them; give an https:// address.")
    return f"{parts.scheme}://{parts.netloc.lower()}{parts.path.rstrip('/')}"


def _shown(text: str) -> str:
    """The address without what stands before an @, which may be a secret."""
    return text.rsplit("@", 1)[-1][:200]


def loopback(host: str) -> bool:
    import ipaddress

    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


class Uplink:
    """A line to one desk; a context manager. `piece`: bytes in a PUT; it grows while all goes well and is halved when the
    line breaks. `waiting`: how many visits wait here, told to the desk; -1 for not known. `safe`: bytes that became safe
    at the desk while this line was used, as far as the desk has said."""

    def __init__(self, to: Destination, piece: int = PIECE // 4) -> None:
        import ssl

        import httpx

        parts = urlsplit(to.address)
        self.to, self.piece, self.safe, self.waiting = to, piece, 0, -1
        self._known: dict[str, int] = {}
        self._largest = max(piece, PIECE)
        self._http = httpx.Client(
            headers={"authorization": f"Bearer {to.key}"},
            timeout=httpx.Timeout(ANSWER, connect=CONNECT),
            follow_redirects=False,
            trust_env=not loopback(parts.hostname or ""),
            # The system's own list of authorities, so that a company's counts; http is loopback and needs none.
            verify=ssl.create_default_context() if parts.scheme == "https" else False,
        )

    def __enter__(self) -> Uplink:
        return self

    def __exit__(self, *_: object) -> None:
        self._http.close()

    def ask(self, method: str, path: str, content: bytes = b"", **headers: str) -> tuple[int, bytes]:
        """(status, body). Later where no whole answer came, or none that counts; KeyUnknown for 401."""
        import httpx

        named = {name.replace("_", "-"): value for name, value in headers.items()}
        try:
            with self._http.stream(method, self.to.address + path, content=content, headers=named) as answer:
                body = b""
                for block in answer.iter_bytes():
                    body += block
                    if len(body) > LARGEST_ANSWER:
                        raise Later("what answers there is not the desk: it does not stop")
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
            raise Later(f"the line failed ({_said(error)})") from None
        if answer.status_code == 401:
            raise KeyUnknown
        if answer.status_code == 507 and (why := _problem(body)):  # an upload already begun there may go on
            raise Later(f"the desk says: {why}", _retry_after(answer), everyone=False)
        if answer.status_code == 429 or answer.status_code >= 500 or answer.is_redirect:
            raise Later(f"the desk's address answered with {answer.status_code}", _retry_after(answer))
        return answer.status_code, body

    def learn(self, upload: str, have: int) -> None:
        """The desk says so many bytes of an upload are safe. Bytes that were thrown away and sent again count once."""
        most = self._known.setdefault(upload, have)
        self.safe += max(0, have - most)
        self._known[upload] = max(have, most)

    def slower(self) -> None:
        self.piece = max(min(SMALLEST, self.piece), self.piece // 2)

    def faster(self) -> None:
        self.piece = min(self._largest, PIECE, self.piece * 2)


def _said(error: BaseException) -> str:
    """The fault in a few words, without an address in it."""
    words = str(error).strip().splitlines()
    return words[0][:120] if words else type(error).__name__


def _retry_after(answer: httpx.Response) -> float:
    """The seconds to wait. A date or nonsense counts as none, and no answer makes us wait for more than an hour."""
    text = answer.headers.get("retry-after", "")
    return min(3600.0, float(text)) if text.isascii() and text.isdigit() else 0.0


# ---- one visit ------------------------------------------------------------------------------------------------------


def ready(folder: Path, *, sound: bool = True) -> VerifyReport:
    """Judge a visit before it is sent. DeskRefused where it is no visit; Later where it has not ended. A visit that fails
    verification is sent, too: the desk keeps it apart and shows it first, and nobody would hear of it otherwise."""
    try:
        report = verify(folder, sound=sound)
    except Trouble as trouble:
        raise DeskRefused(trouble.sentence) from None
    if report.open_end:
        raise Later("it has no end yet: it is still running, or crashed and waits to be resumed", 60.0, everyone=False)
    return report


def transfer(line: Uplink, folder: Path, tell: Callable[[int, int], None] | None = None) -> str:
    """Send a visit until the desk has said that it is stored. Returns why the desk keeps it apart, '' where it counts.
    `tell`: called with (bytes that are safe, of how many) along the way. Later, DeskRefused or KeyUnknown where it could
    not be stored. What has arrived by then still counts, and the next call goes on from there."""
    report = ready(folder, sound=False)
    try:
        manifest = manifest_of(folder)
    except Trouble as trouble:
        raise DeskRefused(trouble.sentence) from None
    except OSError as error:
        raise Later(f"it cannot be read ({error.strerror})", everyone=False) from None
    state = _state(manifest, *line.ask("POST", PATH, manifest.to_json(), x_waiting=str(line.waiting)))
    for _ in range(STALLS):
        if state.state == "stored":
            return ""
        _Sending(line, folder, manifest, state, tell).parts()
        status, body = line.ask("POST", f"{PATH}/{manifest.upload}/commit")
        if status in (200, 201):
            stored = _stored(body)
            if not stored.quarantined:
                _check(stored, status, manifest, report)
            return stored.quarantined
        state = _state(manifest, status, body)
    raise Later("the desk keeps saying that parts are missing")


class _Sending:
    """The parts of one visit, each sent from where the desk's copy stops to its end."""

    def __init__(
        self, line: Uplink, folder: Path, manifest: Manifest, state: UploadState, tell: Callable[[int, int], None] | None
    ) -> None:
        self.line, self.folder, self.manifest, self.tell = line, folder, manifest, tell
        self.have = {sha256: min(state.have.get(sha256, 0), size) for sha256, size in manifest.sizes.items()}
        self.whole = sum(manifest.sizes.values())
        line.learn(manifest.upload, sum(self.have.values()))

    def parts(self) -> None:
        for part in {part.sha256: part for part in self.manifest.parts}.values():
            stalls = 0
            while self.have[part.sha256] < part.size:
                before = self.have[part.sha256]
                self._piece(part, before)
                stalls = 0 if self.have[part.sha256] > before else stalls + 1
                if stalls >= STALLS:
                    raise Later(f"{part.path} makes no progress", everyone=False)

    def _piece(self, part: VisitFile, begin: int) -> None:
        try:
            with (self.folder / part.path).open("rb") as stream:
                stream.seek(begin)
                data = stream.read(min(self.line.piece, part.size - begin))
        except OSError as error:
            raise Later(f"{part.path} cannot be read ({error.strerror})", everyone=False) from None
        if not data:
            raise Later("it changed while it was being sent", everyone=False)
        address = f"{PATH}/{self.manifest.upload}/{part.sha256}"
        try:
            status, body = self.line.ask("PUT", address, data, content_range=content_range(begin, len(data), part.size))
        except Later:
            self.line.slower()
            raise
        if status == 413:
            self.line.slower()
            raise Later("something on the way takes only smaller pieces", everyone=False)
        state = _state(self.manifest, status, body)
        self.have = {sha256: min(state.have.get(sha256, 0), size) for sha256, size in self.manifest.sizes.items()}
        self.line.learn(self.manifest.upload, sum(self.have.values()))
        if self.have[part.sha256] > begin:
            self.line.faster()
        if self.tell is not None:
            self.tell(sum(self.have.values()), self.whole)


def _state(manifest: Manifest, status: int, body: bytes) -> UploadState:
    """The State of this very upload; where there is none, an error that says why."""
    try:
        state = parse_state(body)
        if state.upload == manifest.upload and status in (200, 409, 422):
            return state
    except ValueError:
        pass
    if status in (413, 422) and (why := _problem(body)):
        raise DeskRefused(f"the desk says: {why}")
    if status == 404 and _problem(body):
        raise Later("the desk has dropped what was sent so far; sending begins again", everyone=False)
    raise Later(f"what answers there is not the desk, or not in order (status {status})")


def _problem(body: bytes) -> str:
    import json

    try:
        found = json.loads(body)["problem"]
    except (ValueError, TypeError, KeyError, RecursionError):
        return ""
    return "".join(c for c in found[:500] if c.isprintable()) if isinstance(found, str) else ""


def _stored(body: bytes) -> VisitStored:
    try:
        return parse_stored(body)
    except ValueError:
        raise Later("what answers there is not the desk, or not in order") from None


def _check(stored: VisitStored, status: int, manifest: Manifest, report: VerifyReport) -> None:
    """201 means that exactly this record was stored. (With 200 it may be a longer one that begins with it.)"""
    ours = (manifest.visit, report.events, report.head)
    if stored.visit != manifest.visit or (status == 201 and (stored.visit, stored.events, stored.head) != ours):
        raise Later("the desk says it stored another record than was sent", everyone=False)
