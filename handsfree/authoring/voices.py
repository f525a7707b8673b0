"""Voices for a rehearsal's technician: the synthesiser's, and flite's if that program is installed.

eSpeak NG's voices are the hard case: recognisers trained on people accept fewer of their words than of flite's, which are
made from recordings. A rehearsal says which voice it was."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import Trouble

if TYPE_CHECKING:
    from handsfree.authoring.rehearsal import Speaker
    from handsfree.sound.samples import Samples
    from handsfree.sound.synth import Synthesiser

FLITE = ("slt", "rms", "awb", "kal16")
ESPEAK = ("en-us", "en-gb")
USUAL = 3
SLOWER = 1.12  # as long, a try


def flite(name: str, words: str, again: int) -> Samples:
    """Trouble where the program is missing or fails."""
    from handsfree.sound.files import read_sound

    with tempfile.TemporaryDirectory(prefix="handsfree-") as folder:
        path = Path(folder) / "said.wav"
        stretch = f"duration_stretch={SLOWER**again:.3f}"
        command = ["flite", "-voice", name, "--setf", stretch, "-t", words, "-o", str(path)]
        try:
            subprocess.run(command, check=True, capture_output=True, timeout=30)
        except (OSError, subprocess.SubprocessError) as error:
            sentence = f"flite's voice '{name}' does not speak ({type(error).__name__}); name another with --voice."
            raise Trouble(sentence) from None
        return read_sound(path)


def speakers(wanted: tuple[str, ...], language: str, make: Callable[[str], Synthesiser]) -> dict[str, Speaker]:
    """By name, '' for the usual ones: a few of those available. `make`: a synthesiser with a voice."""
    here = shutil.which("flite") is not None and language == "en"
    names = wanted or (FLITE[: USUAL - 1] + ESPEAK[:1] if here else ESPEAK if language == "en" else (language,))
    found: dict[str, Speaker] = {}
    for name in names:
        if name in FLITE:
            found[name] = partial(flite, name)
        else:
            synthesiser = make(name)
            found[name] = partial(_synthesised, synthesiser)
    return found


def _synthesised(synthesiser: Synthesiser, words: str, again: int) -> Samples:
    return synthesiser.speak(words, -again)
