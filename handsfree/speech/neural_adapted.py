"""The trade's speech in noise, taught to known weights: small corrections, put into the model's bytes as it is loaded.

tests/bench/teach/adapt.py makes them: low-rank corrections to the matrices (Hu et al., "LoRA", 2021, from memory) and
corrections to biases and norms of whisper tiny.en, learnt from synthetic voices and noises that no measurement uses. The
weights themselves are neither copied nor changed on disk. The corrections (1.9 MB) lie in the repository because making them
anew would take hours of training, and voices that no package has.
"""

from __future__ import annotations

import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import Trouble
from handsfree.speech.neural_weights import SIZES, stored_variables

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: The corrections, by the SHA-256 of the model.bin that they are for.
CORRECTIONS = {
    SIZES[size]: Path(__file__).with_name(f"adapted_{size.replace('.', '_')}.npz") for size in SIZES
}


def parts_of(path: Path) -> dict[str, NDArray[np.float32]]:
    """As they are kept: 'variable:up' and 'variable:down', or 'variable:add'. Trouble where missing or damaged."""
    import numpy as np

    try:
        with np.load(path, allow_pickle=False) as file:
            return {name: np.asarray(file[name], np.float32) for name in file.files}
    except (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile, zlib.error):
        raise Trouble(f"{path.name} is missing or damaged; install handsfree again.") from None


def _corrections(path: Path) -> dict[str, NDArray[np.float32]]:
    """By variable, in full size."""
    parts = parts_of(path)
    names = {name.rsplit(":", 1)[0] for name in parts}
    low_rank = {name for name in names if f"{name}:up" in parts}
    whole = {name: parts[f"{name}:up"] @ parts[f"{name}:down"] for name in low_rank}
    return {**whole, **{name: parts[f"{name}:add"] for name in names - low_rank}}


def corrected_model(model: bytes, sha256: str, share: float = 1.0) -> bytes:
    """The bytes of a model.bin, corrected where corrections for this hash are known. `share`: how much of them; half-way
    keeps more of what was not taught (Wortsman et al., CVPR 2022, from memory)."""
    if sha256 not in CORRECTIONS:
        return model
    out, corrections = bytearray(model), _corrections(CORRECTIONS[sha256])
    for one in stored_variables(model):
        if one.name in corrections:
            value = (one.read(model).astype("<f4") + share * corrections[one.name]).astype(one.dtype)
            out[one.start : one.start + value.nbytes] = value.tobytes()
    return bytes(out)
