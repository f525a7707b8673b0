"""The recordings of people that Debian packages: who speaks, what they say, where it lies. They judge; nothing is taught,
fitted or set on them.

A word is used where its file's name (or, for the stamps of tuxpaint, its text) says plainly what is spoken and the
pronouncing dictionary has it; what somebody says under two names ("ear" and "earring") stays, as a writer may choose so too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from audio_fixtures import voices as made
from handsfree.errors import Trouble

SHARE = Path("/usr/share")
ASTERISK = SHARE / "asterisk/sounds/en_US_f_Allison"
TUXPAINT = SHARE / "tuxpaint/stamps"
RATE = 16_000
_UNITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
          "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")  # fmt: skip


@dataclass(frozen=True)
class Speaker:
    """`words`: what is said -> its file; `numbers`: value -> its file; `talk`: files of sentences and shouts."""

    name: str
    package: str
    words: Mapping[str, Path] = field(default_factory=dict)
    numbers: Mapping[int, Path] = field(default_factory=dict)
    talk: tuple[Path, ...] = ()


def _klettres(language: str) -> dict[str, Path]:
    folder = SHARE / "klettres" / language / "syllab"
    return {path.stem: path for path in sorted(folder.glob("*.ogg")) if path.stem not in ("ch", "th", "aw")}


def _qabcs() -> dict[str, Path]:
    found = sorted((SHARE / "qabcs/abcs/en/sounds/words").glob("*.ogg"))
    return {path.stem.replace("_", " "): path for path in found if "-" not in path.stem}


#: ktuberling's files that name two words as one.
_APART = {"palmtree": "palm tree", "fallingstar": "falling star", "moonwalker": "moon walker", "broccolli": "broccoli",
          "sphynx": "sphinx", "ufo": "u f o"}  # fmt: skip


def _ktuberling() -> dict[str, Path]:
    out = {}
    for path in sorted((SHARE / "ktuberling/sounds/en").glob("*.ogg")):
        word = re.sub(r"^(egypt|moon|pizzeria|tv)_", "", path.stem)
        out.setdefault(_APART.get(word, word), path)
    return out


def _stamps() -> dict[str, Path]:
    """Animals, said without the article of the text; those whose text is their file's name."""
    out = {}
    for path in sorted(TUXPAINT.rglob("*_desc.ogg")):
        text = path.with_name(path.name.replace("_desc.ogg", ".txt"))
        first = text.read_text(encoding="utf-8", errors="replace").splitlines()[0] if text.is_file() else ""
        word = re.sub(r"^(an?|the) ", "", first.strip().rstrip(".").lower())
        if word == path.name.removesuffix("_desc.ogg"):
            out[word] = path
    return out


_PHONETIC = ("alpha", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliet", "kilo", "lima",
             "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor", "whiskey",
             "yankee", "zulu")  # fmt: skip
_PLAIN = ("activated", "added", "calling", "cancelled", "disabled", "enabled", "extension", "goodbye", "hello", "hours",
          "location", "lowercase", "minutes", "number", "removed", "seconds", "speed-dial", "telephone-number", "transfer",
          "uppercase", "call-waiting", "call-forwarding", "do-not-disturb")  # fmt: skip
_DAYS = ("sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday")


def _prompts() -> dict[str, Path]:
    out = {word: ASTERISK / f"phonetic/{word[0]}_p.g722" for word in _PHONETIC}
    out |= {name.replace("-", " "): ASTERISK / f"{name}.g722" for name in _PLAIN}
    return out | {day: ASTERISK / f"digits/day-{at}.g722" for at, day in enumerate(_DAYS)}


def _sentences() -> tuple[Path, ...]:
    """Recorded sentences of 1.5 to 12 s (shorter ones may be a command or a number). G.722: 64 kbit/s."""
    return tuple(p for p in sorted(ASTERISK.glob("*.g722")) if 1.5 * 8000 < p.stat().st_size < 12 * 8000)


def _values(pattern: str, values: tuple[int, ...]) -> dict[int, Path]:
    return {value: Path(pattern.format(value)) for value in values}


def _shouts(who: str) -> tuple[Path, ...]:
    return tuple(sorted((SHARE / "games/hedgewars/Data/Sounds/voices" / who).glob("*.ogg")))


SHOUTING = ("British", "Classic", "HillBilly", "Mobster", "Pirate", "Surfer")
_BELOW_20, _TENS = tuple(range(21)), (30, 40, 50, 60, 70, 80, 90)


def speakers() -> tuple[Speaker, ...]:
    """Everybody, each by a name of ours. Trouble naming every package that is not installed."""
    missing = [name for name, place in PACKAGES.items() if not place.exists()]
    if missing:
        raise Trouble(f"Some recordings are not installed; get them with: apt-get install {' '.join(missing)}")
    digits, books = TUXPAINT / "symbols/math", SHARE / "pocketsphinx/test/data/librivox"
    stamps = "tuxpaint-stamps-default"
    return (
        Speaker("prompts woman", "asterisk-core-sounds-en-g722", _known(_prompts()),
                _values(f"{ASTERISK}/digits/{{}}.g722", _BELOW_20 + _TENS), _sentences()),
        Speaker("saytime man", "saytime", {}, _values(f"{SHARE}/saytime/{{}}.au", (*_BELOW_20, 30, 40, 50))),
        Speaker("tuxpaint first", stamps, {}, _values(f"{digits}/{{}}.ogg", tuple(range(10)))),
        Speaker("tuxpaint british", stamps, {}, _values(f"{digits}/{{}}_en_GB.ogg", tuple(range(10)))),
        Speaker("tuxpaint animals", stamps, _known(_stamps())),
        Speaker("klettres american", "klettres-data", _known(_klettres("en"))),
        Speaker("klettres british", "klettres-data", _known(_klettres("en_GB"))),
        Speaker("qabcs", "qabcs-data", _known(_qabcs())),
        Speaker("ktuberling", "ktuberling-data", _known(_ktuberling())),
        Speaker("readers", "pocketsphinx-testdata", {}, {}, tuple(sorted(books.glob("*.wav")))),
        *(Speaker(f"shouts {who.lower()}", "hedgewars-data", {}, {}, _shouts(who)) for who in SHOUTING),
    )  # fmt: skip


#: Package -> a place that is there where it is installed.
PACKAGES: Mapping[str, Path] = {
    "asterisk-core-sounds-en-g722": ASTERISK, "saytime": SHARE / "saytime", "tuxpaint-stamps-default": TUXPAINT,
    "klettres-data": SHARE / "klettres", "qabcs-data": SHARE / "qabcs", "ktuberling-data": SHARE / "ktuberling",
    "hedgewars-data": SHARE / "games/hedgewars/Data/Sounds", "pocketsphinx-testdata": SHARE / "pocketsphinx/test/data",
}  # fmt: skip


def _known(words: Mapping[str, Path]) -> dict[str, Path]:
    """Those of which the pronouncing dictionary has every word."""
    from handsfree.language.phonetics import dictionary

    return {text: path for text, path in words.items() if all(word in dictionary() for word in text.split())}


@cache
def sound(path: Path) -> made.Samples:
    """A recording, mono at 16 kHz, its silence at both ends cut to 50 ms (40 dB under its peak), peak 0.5."""
    samples = np.asarray(_READ.get(path.suffix, _file)(path), np.float32)
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
    first, last = max(0, int(loud[0]) - RATE // 20), int(loud[-1]) + RATE // 20
    return np.asarray(samples[first:last] * (0.5 / np.abs(samples).max()), np.float32)


def _file(path: Path) -> made.Samples:
    from handsfree.sound.files import read_sound

    return read_sound(path)


def _telephone(path: Path) -> made.Samples:
    """G.722 by libav."""
    import av

    with av.open(str(path)) as container:
        frames = [frame.to_ndarray().ravel() for frame in container.decode(audio=0)]
    return np.asarray(np.concatenate(frames), np.float32) / 32768


def _mu_law(path: Path) -> made.Samples:
    """saytime's files have no header: mu-law at 8 kHz."""
    import soundfile

    samples, _ = soundfile.read(path, samplerate=8000, channels=1, format="RAW", subtype="ULAW", dtype="float32")
    return made.resample(samples, 8000, RATE)


_READ: Mapping[str, Callable[[Path], made.Samples]] = {".g722": _telephone, ".au": _mu_law}


def spoken(value: int) -> str:
    """The words of a number below a hundred."""
    tens = ("", "", "", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
    return _UNITS[value] if value <= 20 else tens[value // 10]
