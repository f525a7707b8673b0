"""Sound and attachments: beside the journal in the visit's folder, or in a store that fsspec reaches (a folder, S3, …).

Rules of this file:

- A file is compared with the hash in the record before it is handed out. A store is trusted no more than a disk.
- If a store is set, uploads go there and only the journal stays in the folder; files in the folder are read from the folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble


class Files:
    """`url`: such as s3://bucket/prefix or file:///folder, None for the visit folders alone. `options`: fsspec's own."""

    def __init__(self, visits: Path, url: str | None = None, options: dict[str, Any] | None = None) -> None:
        self.visits = visits
        self.url = url
        self._system: Any = None
        self._root = ""
        if url is not None:
            import fsspec

            try:
                self._system, self._root = fsspec.core.url_to_fs(url, **(options or {}))
            except (ValueError, ImportError, OSError) as error:
                raise Trouble(f"The store {url} cannot be used: {error}. Write s3://BUCKET/PREFIX.") from None
            if not self._root.strip("/"):
                raise Trouble(f"The store {url} names no place to keep sound in. Write s3://BUCKET/PREFIX, or a folder.")

    def try_out(self) -> None:
        """Trouble if the store cannot be written, read and cleared: better to know now than when a visit arrives."""
        if self._system is None:
            return
        at = self._at(".desk", f"trial-{secrets.token_hex(8)}")
        try:
            with self._answering():
                self._make_room(at)
                self._system.pipe_file(at, b"handsfree")
                held = self._system.cat_file(at) == b"handsfree"
                self._system.rm_file(at)
        except OSError as error:
            raise Trouble(f"The store {self.url} cannot be used: {error}. Check its name and who may write there.") from None
        if not held:
            raise Trouble(f"The store {self.url} returned something other than what was stored; do not use it.")

    @contextlib.contextmanager
    def _answering(self) -> Iterator[None]:
        """Every store has its own errors, and not all of them are OSErrors."""
        try:
            yield
        except OSError:
            raise
        except Exception as error:
            raise OSError(f"{type(error).__name__}: {error}") from error

    def _make_room(self, at: str) -> None:
        if getattr(self._system, "protocol", None) in ("file", ("file", "local")):
            self._system.makedirs(at.rpartition("/")[0], exist_ok=True)

    @property
    def elsewhere(self) -> bool:
        return self._system is not None

    def _at(self, visit: str, path: str) -> str:
        return f"{self._root.rstrip('/')}/{visit}/{path}"

    def fetch(self, visit: str, path: str, sha256: str) -> bytes:
        """The bytes, exactly as recorded. Trouble (status 3) if they differ, (2) if there are none."""
        local = self.visits / visit / path
        try:
            if local.is_file() and not local.is_symlink():
                data = local.read_bytes()
            elif self._system is not None:
                with self._answering():
                    data = bytes(self._system.cat_file(self._at(visit, path)))
            else:
                raise FileNotFoundError
        except FileNotFoundError:
            raise Trouble(f"The file {path} of {visit} is not there any more.") from None
        except OSError as error:
            raise Trouble(f"The file {path} of {visit} cannot be read: {error}.") from None
        if hashlib.sha256(data).hexdigest() != sha256:
            raise Trouble(f"The file {path} of {visit} is not the one that was recorded: its hash differs.", 3)
        return data

    def keep(self, visit: str, path: str, source: Path) -> None:
        """Into the store. OSError if it refuses."""
        at = self._at(visit, path)
        with self._answering():
            self._make_room(at)
            self._system.put_file(str(source), at)

    def drop(self, visit: str, removed: set[str]) -> None:
        """What the store has of a visit and `removed` names: sound that was pruned."""
        if self._system is None or not removed:
            return
        root = self._at(visit, "")
        with self._answering():
            try:
                there = self._system.find(root)
            except FileNotFoundError:
                return
            for at in there:
                path = "/".join(str(at).rsplit("/", 2)[-2:])
                if path in removed:
                    self._system.rm_file(at)

    def check(self, named: list[tuple[str, str, str]], tell: Callable[[str], None]) -> int:
        """Every (visit, path, hash), fetched and compared with its hash; `tell` gets each sentence. Returns how many
        failed."""
        bad = 0
        for visit, path, sha256 in named:
            try:
                self.fetch(visit, path, sha256)
            except Trouble as trouble:
                bad += 1
                tell(trouble.sentence)
        return bad
