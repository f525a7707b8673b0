"""What each witness testified on each sound, kept on disk: a bench that was cut off goes on where it stood, and another fit,
bar or rule of the judge is judged in minutes on what was heard before.

A testimony is kept by the sound itself, by what was in force (every phrase and every denial of it, as the language lists
them), and by the witness: its sources and its weights. Whichever of these changes, it hears anew; what only the judge reads
is not among them. The folder is HANDSFREE_BENCH_EVIDENCE, else one in the user's cache.
"""

from __future__ import annotations

import ast
import dataclasses
import functools
import hashlib
import importlib.util
import os
import pickle
import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

from handsfree.language import own_words, understanding
from handsfree.language.meaning import Listening, Meaning
from handsfree.speech.engine import Declared, Testimony

if TYPE_CHECKING:
    from handsfree.speech.engine import Samples

_OWN = (own_words.__file__, understanding.__file__)
_WEIGHTS = (".npz", ".onnx", ".bin", ".hama", ".npy")
_PACKAGE = "handsfree.speech"


def folder() -> Path:
    """Where testimonies are kept; made where it is missing."""
    named = os.environ.get("HANDSFREE_BENCH_EVIDENCE")
    place = Path(named) if named else Path(platformdirs.user_cache_dir("handsfree-bench")) / "evidence"
    place.mkdir(parents=True, exist_ok=True)
    return place


def sources(module: str) -> Iterator[Path]:
    """The files of `speech` that a module is made of, its own first: what it imports, and what that imports."""
    seen, todo = {module}, [module]
    while todo:
        spec = importlib.util.find_spec(todo.pop())
        if spec is None or spec.origin is None:
            continue
        path = Path(spec.origin)
        yield path
        wanted = {name for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) for name in _imported(node)}
        todo += sorted(wanted - seen)
        seen |= wanted


def _imported(node: ast.AST) -> Iterator[str]:
    """The modules of `speech` that this statement takes from."""
    if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith(_PACKAGE):
        return
    yield from (f"{_PACKAGE}.{one.name}" for one in node.names) if node.module == _PACKAGE else (str(node.module),)


def made_of(engine: Any) -> str:
    """SHA-256 of a witness: its sources, the weights that lie beside them and that they name, and what it says it loaded."""
    digest = hashlib.sha256(str(getattr(engine, "_taught", "")).encode())
    for path in sorted(sources(type(engine).__module__)):
        text = path.read_bytes()
        digest.update(text)
        for beside in sorted(path.parent.iterdir()):
            if beside.suffix in _WEIGHTS and _names(text, beside):
                digest.update(beside.read_bytes())
    digest.update(str(engine.load()).encode())
    return digest.hexdigest()


def _names(text: bytes, weights: Path) -> bool:
    """The module names these weights. A name that no module has in full is put together somewhere: then its first part is
    enough."""
    if any(weights.name.encode() in module.read_bytes() for module in weights.parent.glob("*.py")):
        return weights.name.encode() in text
    return weights.stem.split("_")[0].encode() in text


class Store:
    """One file, which several benches may use at once. `found`, `made`: how many were there, and were not."""

    def __init__(self, place: Path) -> None:
        self._file = sqlite3.connect(place / "testimony.sqlite", timeout=120, check_same_thread=False, isolation_level=None)
        with suppress(sqlite3.OperationalError):  # another bench is changing it just now, and SQLite does not wait for that
            self._file.execute("PRAGMA journal_mode=WAL")
        self._file.execute("PRAGMA synchronous=OFF")  # a testimony lost is heard again
        self._file.execute("CREATE TABLE IF NOT EXISTS testimony (key BLOB PRIMARY KEY, value BLOB) WITHOUT ROWID")
        self.found = self.made = 0

    def get(self, key: bytes) -> Testimony | None:
        row = self._file.execute("SELECT value FROM testimony WHERE key = ?", (key,)).fetchone()
        if row is None:
            return None
        self.found += 1
        kept: Testimony = pickle.loads(zlib.decompress(row[0]))
        return kept

    def put(self, key: bytes, value: Testimony) -> None:
        self.made += 1
        packed = zlib.compress(pickle.dumps(value, pickle.HIGHEST_PROTOCOL), 1)
        self._file.execute("INSERT OR REPLACE INTO testimony VALUES (?, ?)", (key, packed))


@dataclass
class Kept:
    """An engine that hears nothing twice. What another witness offers is scored anew each time, from the trace kept."""

    engine: Any
    language: str
    speaks: Any
    store: Store

    def __post_init__(self) -> None:
        self.name: str = self.engine.name
        self._in_force = functools.lru_cache(512)(self._listed)

    @property
    def declares(self) -> Declared:
        declared: Declared = self.engine.declares
        return declared

    @functools.cached_property
    def _made_of(self) -> str:
        return made_of(self.engine)

    def _listed(self, listening: Listening) -> bytes:
        parts = [part(listening).items() for part in (self.speaks.forms, self.speaks.decoys)]
        usual = Listening()  # what is not asked for does not count: a later kind of question asks nothing of the others
        asked = [(one.name, getattr(listening, one.name)) for one in dataclasses.fields(listening)]
        told = [pair for pair in asked if pair[1] != getattr(usual, pair[0])]
        listed = [repr(told), *(sorted(map(repr, items)) for items in parts)]
        if listening.own_words:  # what means something in force though it is not listed
            listed += [*map(repr, sorted(self.speaks.own_words.every())), *(Path(path).read_text("utf-8") for path in _OWN)]
        return hashlib.sha256(repr(listed).encode()).digest()

    def testify(self, samples: Samples, listening: Listening) -> Testimony:
        key = hashlib.sha256(self._made_of.encode() + self._in_force(listening) + samples.tobytes()).digest()
        kept = self.store.get(key)
        if kept is None:
            kept = self.engine.testify(samples, listening)
            self.store.put(key, kept)
        return kept

    def also(self, testimony: Testimony, offered: Mapping[str, Meaning]) -> Testimony:
        scored: Testimony = self.engine.also(testimony, offered)
        return scored

    def load(self) -> str:
        weights: str = self.engine.load()
        return weights

    def dictate(self, samples: Samples) -> str:
        text: str = self.engine.dictate(samples)
        return text


def keeping(recogniser: Any) -> Any:
    """A recogniser of the same witnesses, each of which hears nothing twice."""
    from handsfree.speech.recogniser import Recogniser

    store = Store(folder())
    engines = [Kept(engine, recogniser.language.code, recogniser.language, store) for engine in recogniser.engines]
    return Recogniser(engines, recogniser.language, recogniser.enrolment, recogniser.missing)
