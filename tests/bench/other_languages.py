"""People who speak other languages than English, in recordings that Debian packages, a folder a speaker: a second group to
measure the speaker witness on, for whose voice it is hangs little on the language. They teach nothing;
that a filtered copy is heard in noise was chosen with them.

A folder is taken for one speaker; where several people shared the work, that counts against the witness.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from handsfree.errors import Trouble
from tests.bench.people_words import SHARE

PACKAGES: Mapping[str, Path] = {
    "klettres-data": SHARE / "klettres", "ktuberling-data": SHARE / "ktuberling/sounds",
    "asterisk-core-sounds-fr-g722": SHARE / "asterisk/sounds/fr_CA_f_June",
    "asterisk-core-sounds-ru-g722": SHARE / "asterisk/sounds/ru_RU_f_IvrvoiceRU",
}  # fmt: skip
_KLETTRES = ("ar", "cs", "da", "de", "es", "fr", "he", "hu", "it", "lt", "ml", "nb", "nds", "nl", "pt_BR", "ru", "tn", "uk")
_KTUBERLING = ("ca", "da", "de", "el", "es", "fi", "fr", "ga", "gl", "it", "lt", "nl", "nn", "pt", "ro", "ru", "sl", "sv",
               "uk", "wa")  # fmt: skip
_SOUNDS = (".ogg", ".wav", ".opus", ".g722")
_ENOUGH = 10  # files of a speaker


def speakers() -> dict[str, list[Path]]:
    """By a name of ours. Trouble naming what is not installed."""
    missing = [name for name, place in PACKAGES.items() if not place.exists()]
    if missing:
        raise Trouble(f"Some recordings are not installed; get them with: apt-get install {' '.join(missing)}")
    klettres, ktuberling, french, russian = PACKAGES.values()
    folders = {f"klettres {one}": klettres / one for one in _KLETTRES}
    folders |= {f"ktuberling {one}": ktuberling / one for one in _KTUBERLING}
    folders |= {"prompts french": french / "digits", "prompts russian": russian / "digits"}
    found = {name: [p for p in sorted(folder.rglob("*")) if p.suffix in _SOUNDS] for name, folder in folders.items()}
    return {name: files for name, files in found.items() if len(files) >= _ENOUGH}
