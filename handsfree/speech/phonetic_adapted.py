"""The additional training of the phonetic witness: small corrections to its weights, applied to the package's own file.

Rules of this file:

- The package's file is never changed; a corrected copy is made in memory.
- Corrections are 8-bit numbers with one scale per row. They are valid for the weights of one hash (`phonetic.SHA256`).
- There are two. CORRECTIONS was taught on synthetic voices. It hears at a gate and a proof, and weighs dictated words: their
  thresholds were set with it. PEOPLE was taught on people's speech as well, and hears everywhere else.
- The form of the package's file: 'HAMAPK', a count, and for each tensor its name, type (0: 32-bit, 1: 16-bit numbers),
  shape, place and size (read off the file itself).
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING
from zipfile import BadZipFile

import numpy as np

from handsfree.errors import Trouble

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

CORRECTIONS = Path(__file__).with_name("adapted_phonetic.npz")
PEOPLE = Path(__file__).with_name("adapted_people.npz")
_TYPES: dict[int, type[np.floating]] = {0: np.float32, 1: np.float16}
_MOST = 127  # of a number of 8 bits


def tensors(data: bytes) -> dict[str, NDArray[np.floating]]:
    """By name, as they lie in the file: changing one of a writable copy changes the copy. ValueError, struct.error where the
    file is of another form."""
    return _tensors(np.frombuffer(data, np.uint8))


def _tensors(data: NDArray[np.uint8]) -> dict[str, NDArray[np.floating]]:
    head = data[: 1 << 16].tobytes()
    if head[:6] != b"HAMAPK":
        raise ValueError("not a file of this form")
    (count,) = struct.unpack_from("<I", head, 8)
    at = 12
    found = []
    for _ in range(count):
        (length,) = struct.unpack_from("<H", head, at)
        name = head[at + 2 : at + 2 + length].decode()
        at += 2 + length
        kind, axes = head[at], head[at + 1]
        shape = struct.unpack_from(f"<{axes}I", head, at + 2)
        place, size = struct.unpack_from("<QQ", head, at + 2 + 4 * axes)
        at += 18 + 4 * axes
        found.append((name, _TYPES[kind], shape, place, size))
    start = len(data) - max(place + size for *_, place, size in found)
    out: dict[str, NDArray[np.floating]] = {}
    for name, kind, shape, place, size in found:
        out[name] = data[start + place : start + place + size].view(kind).reshape(shape)
    return out


def packed(before: Mapping[str, NDArray[np.floating]], after: Mapping[str, NDArray[np.floating]]) -> bytes:
    """Corrections from one set of weights to another, as a file."""
    kept: dict[str, NDArray[np.generic]] = {}
    for name, value in after.items():
        change = np.asarray(value, np.float32) - np.asarray(before[name], np.float32)
        rows = change.reshape(len(change), -1)
        scale = np.maximum(np.abs(rows).max(axis=1), 1e-12) / _MOST
        kept[f"{name}|q"] = np.rint(rows / scale[:, None]).astype(np.int8).reshape(change.shape)
        kept[f"{name}|s"] = scale.astype(np.float32)
    file = io.BytesIO()
    np.savez_compressed(file, allow_pickle=False, **kept)
    return file.getvalue()


def corrected_file(data: bytes, corrections: Path = CORRECTIONS, share: float = 1.0) -> bytes:
    """The package's file with its weights corrected; `share`: how much of the corrections. Trouble if they are damaged."""
    if not share:
        return data
    out = np.frombuffer(data, np.uint8).copy()
    weights = _tensors(out)
    try:
        with np.load(corrections, allow_pickle=False) as stored:
            for name in {key.rpartition("|")[0] for key in stored.files}:
                change, scale = stored[f"{name}|q"], stored[f"{name}|s"]
                rows = change.reshape(len(change), -1).astype(np.float32) * scale[:, None] * share
                weights[name][...] = weights[name].astype(np.float32) + rows.reshape(change.shape)
    except (OSError, ValueError, KeyError, EOFError, BadZipFile, zlib.error) as error:
        raise Trouble(
            f"The training of the phonetic witness cannot be read ({corrections.name}: {error}); install handsfree again."
        ) from None
    return out.tobytes()
