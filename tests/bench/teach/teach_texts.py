"""What the phonetic witness is taught to tell apart: many texts, the trade's own a small part, each with texts that sound
like it.

    python -m tests.bench.teach.teach_texts FILE --clips 16000 --seed 1

A line of the file is one text: what is said, the voice, its sounds in every way (numbers of `sounds.SYMBOL`), and the sounds
of its rivals: one word beside it, another figure. A quarter of the dictionary (`kept_back`) is never said, so that what
teaching costs or brings can be read on words that nobody taught. The voices that teach fit nothing and judge nothing.
"""

from __future__ import annotations

import argparse
import functools
import json
import random
import zlib
from pathlib import Path

from handsfree.language.base import load
from handsfree.language.phonetics import nearest
from handsfree.speech import sounds
from tests.bench import corpus_texts, neural_voices
from tests.bench.corpus import _words
from tests.bench.teach import fresh

ACCENTS = ("en-us", "en-us", "en-029", "en-us-nyc", "en-gb-x-gbclan")
VARIANTS = ("m1", "m2", "m3", "m4", "m5", "m6", "m7", "m8", "f1", "f2", "f3", "f4", "f5")
RIVALS = 7
#: Figures that are taken for one another in noise, beside those whose words sound alike.
_FIGURES = {
    "five": ("nine", "four"), "nine": ("five", "one"), "four": ("forty", "five"), "six": ("sixty", "eight"),
    "seven": ("eleven", "seventy"), "eight": ("eighty", "six"), "two": ("three", "ten"), "three": ("two", "thirty"),
    "one": ("nine", "two"), "zero": ("four", "three"), "oh": ("four", "two"),
} | {f"{a}teen": (f"{a}ty",) for a in ("thir", "fif", "six", "seven", "eigh", "nine")} | {
    f"{a}ty": (f"{a}teen",) for a in ("thir", "fif", "six", "seven", "eigh", "nine")
} | {"forty": ("fourteen", "four"), "fourteen": ("forty",), "point": ("oh",), "hundred": ("hundred and",)}  # fmt: skip


def kept_back(word: str) -> bool:
    """Never taught."""
    return zlib.crc32(word.encode()) % 4 == 0


@functools.cache
def taught_words() -> tuple[str, ...]:
    return tuple(word for word in _words() if not kept_back(word))


@functools.cache
def _trade() -> tuple[str, ...]:
    commands = [way for ways in load("en").commands.values() for way in ways]
    return tuple([phrase for some in corpus_texts.CHOICES for phrase in some] + commands)


def text(luck: random.Random) -> str:
    kind = luck.random()
    if kind < 0.28:
        return luck.choice(taught_words())
    if kind < 0.6:
        return " ".join(luck.sample(taught_words(), luck.randint(2, 5)))
    if kind < 0.86:
        return fresh._number(luck)[1]
    if kind < 0.9:
        return fresh._digits(luck)[0]
    if kind < 0.96:
        return luck.choice(_trade())
    return fresh._gate(luck)[0] if luck.random() < 0.5 else fresh._near(luck)[0]


def rivals(said: str, luck: random.Random) -> list[str]:
    """Texts that sound like it, none of them the same."""
    words = said.replace(",", "").split()
    out: list[str] = []
    for _ in range(40):
        at = luck.randrange(len(words))
        near = _FIGURES.get(words[at], ()) if luck.random() < 0.6 else ()
        near = near or nearest(words[at], 10)
        kind = luck.random()
        if kind < 0.12 and len(words) > 1:
            changed = words[:at] + words[at + 1 :]
        elif kind < 0.2:
            changed = [luck.choice(("not", "is it", "if", "no")), *words]
        elif near:
            changed = [*words[:at], luck.choice(near), *words[at + 1 :]]
        else:
            continue
        other = " ".join(changed)
        if other not in out and other != said:
            out.append(other)
        if len(out) == RIVALS:
            break
    return out


def voice(luck: random.Random, neural: bool) -> str:
    if neural:
        return neural_voices.teaching(luck)
    if luck.random() < 0.55:
        return f"espeak:{luck.choice(ACCENTS)}+{luck.choice(VARIANTS)}"
    return luck.choice(("kal16", "kal16-low", "kal16-high", "pico-us", "pico-us-low", "pico-gb", "pico-gb-low"))


def line(luck: random.Random, neural: bool) -> dict[str, object]:
    said = text(luck)
    ways = sounds.ways(said)
    own = set(ways)
    others = [ways[0] for ways in map(sounds.ways, rivals(said, luck)) if ways and not own & set(ways)]
    return {
        "text": said, "voice": voice(luck, neural), "rate": luck.choice((0.85, 1.0, 1.0, 1.15, 1.3)), "ways": ways,
        "rivals": others,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("file", type=Path)
    parser.add_argument("--clips", type=int, default=16_000)
    parser.add_argument("--neural", type=float, default=0.3, help="share said by neural voices")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    luck = random.Random(f"teach phonetic {asked.seed}")
    with asked.file.open("w", encoding="utf-8") as file:
        for _ in range(asked.clips):
            made = line(luck, luck.random() < asked.neural)
            if made["ways"]:
                file.write(json.dumps(made) + "\n")


if __name__ == "__main__":
    main()
