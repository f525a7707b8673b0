"""The speaker witness: how often the right voice is doubted (and refused), and how often another is not noticed, by length
of speech, by how many clips the voice is known by, and by noise; on people and on synthetic voices that set no bar.

    python -m tests.bench.voices_apart [--trials 6] [--seed 1] [--other-languages] [--json] [--out FILE]

Known by a visit: by the clip that stated the number and by what `speaker.gathered` takes of six clips that the same voice
said before and two that another said. A person's speech is words of theirs, one after another until there is enough. The
curve: for each share of the right voice doubted, the share of others not noticed where the bar is put there. At the bars of
`bars`: as the program decides. `--other-languages`: on other people instead.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.errors import Trouble
from handsfree.speech.speaker import OTHER, SAME, Encoder, Voiceprint, gathered, installed_encoder, verdict
from tests.bench import other_languages, unlike_voices
from tests.bench.corpus import RATE
from tests.bench.corpus_texts import DIGITS
from tests.bench.people_words import sound, speakers
from tests.bench.reported import arguments, reported
from tests.bench.unlike_voices import NOISES, in_noise, level

if TYPE_CHECKING:
    from handsfree.speech.speaker import Direction

SECONDS = (1.2, 2.0, 3.5)
KNOWN_BY = (1, 2, 4)
VISIT, BEFORE, OTHERS = "a visit", 6, 2  # clips before the number was stated: of the voice, and of another
LEVELS = (10.0, 20.0, None)
SHARES = (0.01, 0.03, 0.05, 0.10)
Speaks = Callable[[float, random.Random], made.Samples]  # seconds, luck -> about so much speech


def people() -> dict[str, Speaks]:
    """Those who say enough in their everyday voice; three of them also act or have another microphone in the packages."""

    files = {one.name: [*one.words.values(), *one.numbers.values()] for one in speakers()}
    return {name: _said(found) for name, found in files.items() if len(found) >= 8}


def _said(files: list[Path]) -> Speaks:
    def some(seconds: float, luck: random.Random) -> made.Samples:
        out: list[made.Samples] = []
        while sum(map(len, out)) < seconds * RATE:
            out += [sound(luck.choice(files)), made.silence(0.1)]
        return np.concatenate(out)[: round(1.2 * seconds * RATE)]

    return some


def synthetic() -> dict[str, Speaks]:
    def speaks(name: str) -> Speaks:
        def some(seconds: float, luck: random.Random) -> made.Samples:
            figures = " ".join(luck.choices(DIGITS, k=2))
            text = {1.2: f"lock {figures}", 2.0: f"isolated, lock {figures}"}.get(
                seconds, f"isolated, lock {figures}, isolated, lock {figures}"
            )
            return unlike_voices.speak(text, name)

        return some

    return {name: speaks(name) for name in unlike_voices.names()}


@dataclass(frozen=True)
class Trial:
    """`right`: the voice that is known spoke. `likeness` and `clips` as the witness has them."""

    right: bool
    likeness: float
    clips: int

    @property
    def verdict(self) -> str:
        return verdict(self.likeness, self.clips)


def trials(
    encoder: Encoder, who: Mapping[str, Speaks], seconds: float, snr: float | None, each: int, luck: random.Random
) -> dict[int | str, list[Trial]]:
    """By how many clips a voice is known by, or by a visit. The known voice spoke 1 s a clip, in another noise than the one
    compared."""
    names = list(who)

    def direction(name: str, length: float) -> Any:
        clip = in_noise(who[name](length, luck), snr, luck.choice(NOISES), luck.randrange(1 << 30))
        return encoder.direction(clip)

    known = {name: [d for d in (direction(name, 1.0) for _ in range(8)) if d is not None] for name in names}
    tested = {name: [d for d in (direction(name, seconds) for _ in range(each)) if d is not None] for name in names}
    out: dict[int | str, list[Trial]] = {}
    for by in (*KNOWN_BY, VISIT):
        for name in names:
            if len(known[name]) < (1 + BEFORE if isinstance(by, str) else by):
                continue
            for _ in range(each):
                voice = _known_by(by, name, known, luck)
                for other in names:
                    if tested[other] and (other == name or luck.random() < 0.5):
                        likeness = voice.likeness(luck.choice(tested[other]))
                        out.setdefault(by, []).append(Trial(other == name, likeness, voice.clips))
    return out


def _known_by(by: int | str, name: str, known: Mapping[str, list[Direction]], luck: random.Random) -> Voiceprint:
    if not isinstance(by, str):
        return Voiceprint(np.asarray(sum(luck.sample(known[name], by)), np.float32), by)
    stated, *before = luck.sample(known[name], 1 + BEFORE)
    another = luck.choice([other for other in known if other != name and len(known[other]) >= OTHERS])
    return gathered(stated, [*before, *luck.sample(known[another], OTHERS)])


def row(found: list[Trial]) -> dict[str, Any]:
    right = np.array([t.likeness for t in found if t.right])
    others = np.array([t.likeness for t in found if not t.right])
    doubted = np.mean([t.verdict != SAME for t in found if t.right])
    refused = np.mean([t.verdict == OTHER for t in found if t.right])
    unnoticed = np.mean([t.verdict == SAME for t in found if not t.right])
    curve = {f"{share:.0%}": round(float(np.mean(others >= np.quantile(right, share))), 3) for share in SHARES}
    named = {"doubted": doubted, "refused": refused, "unnoticed": unnoticed}
    shares = {name: round(float(share), 3) for name, share in named.items()}
    return {"right": len(right), "others": len(others), **shares, "curve": curve}


def measured(each: int, seed: int, abroad: bool) -> Iterator[dict[str, Any]]:
    encoder, missing = installed_encoder()
    if encoder is None:
        raise Trouble(missing)
    judging = {} if abroad else {"people": people(), "synthetic": synthetic()}
    others = {name: _said(files) for name, files in other_languages.speakers().items()} if abroad else {}
    for group, who in (judging or {"people, other languages": others}).items():
        for snr in LEVELS:
            for seconds in SECONDS:
                luck = random.Random(f"{seed} {group} {snr} {seconds}")
                for clips, found in trials(encoder, who, seconds, snr, each, luck).items():
                    yield {"who": group, "snr": level(snr), "seconds": seconds, "known_by": clips, **row(found)}


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--trials", type=int, default=6, help="of each voice at each length and level")
    parser.add_argument("--other-languages", action="store_true", help="on people who speak other languages")
    asked = parser.parse_args()
    return reported("tests.bench.voices_apart", asked, lambda: measured(asked.trials, asked.seed, asked.other_languages))


if __name__ == "__main__":
    sys.exit(main())
