"""How rightly sentences of recorded people are written down, as a writer's are:
`python -m tests.bench.dictated_people [--sample 60] [--levels 3] [--spelled] [--show] [--out FILE]`.

The sentences are Debian's: prompts of a telephone exchange by one woman (asterisk-core-sounds-en-g722, their words the list
in asterisk-core-sounds-en), and those of pocketsphinx-testdata (a reader of a novel, a man who names cards). The recorder's
own dictation writes them, told nothing of the texts; clean and in noise (level by ITU-T P.56). Nothing is fitted on them.

`wrong`: words wrong. Figures are compared as words, and 'voicemail' is 'voice mail'. Texts with a number of three figures
or more are left out, for the list does not tell how it is said. `listed`: words wrong of the list itself, not counted as
wrong: where the witness of sounds, in clean sound, finds what was written far likelier than what is listed, or where the
listed word is in no dictionary and is spelled nearly as the one that was written. `asked`, `justly`, `left`: as in
`dictation`. `--spelled`: instead, words that the same woman spells,
put together from her words of the alphabet."""

from __future__ import annotations

import argparse
import gzip
import json
import random
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.errors import Trouble
from handsfree.language.base import load
from handsfree.language.tokens import is_number, tokens
from tests.bench.__main__ import machine
from tests.bench.corpus import NOISES, RATE, _mixed, noise
from tests.bench.people_words import ASTERISK, SHARE, sound

if TYPE_CHECKING:
    from handsfree.authoring.draft import Doubt
    from handsfree.speech.phonetic import Phonetic

LIST = Path("/usr/share/doc/asterisk-core-sounds-en/core-sounds-en.txt.gz")
SPHINX = SHARE / "pocketsphinx/test/data"
FEWEST, LONGEST = 5, 30.0  # words; seconds, of a sentence
LEVELS: tuple[float | None, ...] = (None, 20.0, 10.0)
SURELY = 5.0  # nats by which the sounds must speak against the list
_SPELLED = {"thru": "through", "dialled": "dialed", "ok": "okay", "mr": "mister", "*": "star", "#": "pound", "&": "and"}


#: Of many trades, and every letter.
SPELLED = ("burst", "butt", "nipple", "flange", "tappet", "sleeve", "bezel", "louver", "trunnion", "sheave", "dowel",
           "shroud", "swarf", "gudgeon", "plinth", "quoin", "jubilee", "hydrant", "axle", "kickplate")  # fmt: skip


@dataclass(frozen=True)
class Sentence:
    speaker: str
    path: Path
    text: str


@dataclass
class Row:
    speaker: str
    level: str
    sentences: int = 0
    words: int = 0
    wrong: int = 0
    listed: int = 0
    asked: int = 0
    justly: int = 0
    left: int = 0
    pairs: list[tuple[str, str]] = field(default_factory=list)


def sentences() -> list[Sentence]:
    """Each text once. Trouble where the recordings are not installed."""
    if not LIST.is_file() or not ASTERISK.is_dir() or not SPHINX.is_dir():
        packages = "asterisk-core-sounds-en asterisk-core-sounds-en-g722 pocketsphinx-testdata"
        raise Trouble(f"The recordings are not installed; get them with: apt-get install {packages}")
    found: dict[tuple[str, ...], Sentence] = {}
    for line in gzip.decompress(LIST.read_bytes()).decode("utf-8", "replace").splitlines():
        name, _, text = line.partition(":")
        path, words = ASTERISK / f"{name.strip()}.g722", plain(text)
        if len(words) >= FEWEST and not re.search(r"\d{3}|[\[(]|\.\w", text) and path.is_file():
            found.setdefault(tuple(words), Sentence("prompts woman", path, text.strip()))
    for speaker, folder in (("reader", "librivox"), ("cards man", "cards")):
        listed = next((SPHINX / folder).glob("*transcription")).read_text(encoding="utf-8")
        for text, name in re.findall(r"<s> (.*?)\s*</s> \((.*)\)", listed):
            if len(plain(text)) >= FEWEST:
                found.setdefault(tuple(plain(text)), Sentence(speaker, SPHINX / folder / f"{name}.wav", text))
    return [one for one in found.values() if len(sound(one.path)) < LONGEST * RATE]


def plain(text: str) -> list[str]:
    """Small letters; figures and signs as words."""
    language, found = load("en"), []
    for word in tokens(text):
        said = language.say_number(float(word)) if is_number(word) and "/" not in word else _SPELLED.get(word, word)
        found += said.replace("-", " ").split()
    return found


def as_spaced(right: Sequence[str], own: Sequence[str]) -> list[str]:
    """`right` with words joined or parted as they are in `own`: 'voice mail' or 'voicemail'."""
    out, at = [], 0
    pairs = {one + other: (one, other) for one, other in pairwise(own)}
    while at < len(right):
        both = "".join(right[at : at + 2])
        if at + 1 < len(right) and both in own:
            out.append(both)
        else:
            out += pairs.get(right[at], (right[at],))
            both = right[at]
        at += 1 if both == right[at] else 2
    return out


def differing(own: Sequence[str], right: Sequence[str]) -> list[tuple[int, int, int, int]]:
    """Places (begin and end in `own`, begin and end in `right`) of what is not the same."""
    from rapidfuzz.distance import Levenshtein

    found: list[tuple[int, int, int, int]] = []
    for step in Levenshtein.opcodes(list(own), list(right)):
        if step.tag == "equal":
            continue
        if found and (found[-1][1], found[-1][3]) == (step.src_start, step.dest_start):
            a, _, c, _ = found.pop()
            found.append((a, step.src_end, c, step.dest_end))
        else:
            found.append((step.src_start, step.src_end, step.dest_start, step.dest_end))
    return found


def wrong(own: Sequence[str], right: Sequence[str]) -> int:
    return sum(max(b - a, d - c) for a, b, c, d in differing(own, as_spaced(right, own)))


def mended(sounds: Phonetic, samples: made.Samples, own: list[str], right: list[str]) -> list[str]:
    """`right` with what the list has wrong put right."""
    from rapidfuzz.distance import Levenshtein

    from handsfree.language.phonetics import dictionary
    from handsfree.speech.ctc import score

    frames, right = sounds.frames(samples), as_spaced(right, own)
    out = list(right)
    for a, b, c, d in reversed(list(_word_by_word(differing(own, right)))):
        texts = [_symbols(sounds, [*right[:c], *some, *right[d:]]) for some in (own[a:b], right[c:d])]
        written, listed = score(frames, [text for text in texts if text is not None]) if None not in texts else (0.0, 0.0)
        misspelt = b - a == d - c == 1 and right[c] not in dictionary() and Levenshtein.distance(own[a], right[c]) <= 2
        if written - listed > SURELY or misspelt:
            out[c:d] = own[a:b]
    return out


def _word_by_word(found: Iterable[tuple[int, int, int, int]]) -> Iterator[tuple[int, int, int, int]]:
    for a, b, c, d in found:
        if b - a == d - c:
            yield from ((a + at, a + at + 1, c + at, c + at + 1) for at in range(b - a))
        else:
            yield a, b, c, d


def _symbols(sounds: Phonetic, words: Sequence[str]) -> Any:
    ways = [sounds.ways(word) for word in words]
    return tuple(symbol for way in ways for symbol in way[0]) if all(ways) else None


def aloud(word: str) -> made.Samples:
    pieces = [np.concatenate([sound(ASTERISK / f"phonetic/{letter}_p.g722"), made.silence(0.2)]) for letter in word]
    return np.concatenate(pieces).astype(np.float32)


def heard(said: made.Samples, snr: float | None, luck: random.Random) -> made.Samples:
    speech = np.concatenate([made.silence(0.5), said, made.silence(0.5)]).astype(np.float32)
    if snr is None:
        return speech
    name = luck.choice(NOISES["held"])
    return _mixed(speech, noise(name, len(speech) / RATE + 0.1, luck.randrange(100_000))[: len(speech)], snr)


def count(row: Row, text: str, right: list[str], listed: list[str], doubts: Sequence[Doubt]) -> None:
    """`listed`: the text as the list has it, `right`: without its faults."""
    pieces = text.split()
    own = [plain(piece) for piece in pieces]
    flat = [word for piece in own for word in piece]
    starts = [sum(map(len, own[:at])) for at in range(len(own) + 1)]
    spaced = as_spaced(right, flat)
    faults = differing(flat, spaced)
    settled = list(own)
    for doubt in doubts:
        begin, end = starts[doubt.at], starts[doubt.at + 1]
        row.justly += any(a < end and begin < b for a, b, _, _ in faults)
        tried = []
        for other in doubt.others:
            swapped = [*settled[: doubt.at], plain(other), *settled[doubt.at + 1 :]]
            tried.append((wrong([word for piece in swapped for word in piece], right), swapped))
        best = min(tried, default=None, key=lambda each: each[0])
        if best and best[0] < wrong([word for piece in settled for word in piece], right):
            settled = best[1]
    row.sentences, row.words, row.asked = row.sentences + 1, row.words + len(right), row.asked + len(doubts)
    row.wrong, row.listed = row.wrong + wrong(flat, right), row.listed + wrong(listed, right)
    row.left += wrong([word for piece in settled for word in piece], right)
    row.pairs += [(" ".join(spaced[c:d]), " ".join(flat[a:b])) for a, b, c, d in faults]


def main() -> None:
    from handsfree.authoring import free_words
    from handsfree.authoring.live import dictation_for
    from handsfree.authoring.spelling import letters_of
    from handsfree.authoring.words import load_words
    from handsfree.settings import load_settings
    from handsfree.speech.neural_weights import find_weights, identify
    from handsfree.speech.phonetic import Phonetic

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sample", type=int, default=60, help="sentences of the exchange, spread over the list; 0 for all")
    parser.add_argument("--levels", type=int, default=len(LEVELS), help="how many of the levels, the clean one first")
    parser.add_argument("--spelled", action="store_true", help="words spelled aloud, and no sentences")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    models = load_settings().models
    weights = next(found for size in ("base", "tiny.en") if (found := find_weights(size, models)) is not None)
    dictation = dictation_for(free_words.recogniser(None, "en", models), "en", models)
    sounds = Phonetic(load("en"))
    every = sentences()
    many = [one for one in every if one.speaker == "prompts woman"]
    chosen = many[:: max(1, len(many) // (asked.sample or len(many)))][: asked.sample or None]
    chosen += [one for one in every if one.speaker != "prompts woman"]
    if asked.spelled:
        chosen = []
    rights: dict[Path, list[str]] = {}
    rows: list[Row] = []
    spelled: dict[str, list[int]] = {}
    for snr in LEVELS[: asked.levels]:
        luck = random.Random(f"dictated {snr}")
        level = "clean" if snr is None else f"{snr:g} dB"
        for one in chosen:
            samples = heard(sound(one.path), snr, luck)
            written, listed = dictation.write(samples), plain(one.text)
            if snr is None:
                rights[one.path] = mended(sounds, samples, plain(written.text), listed)
            right = rights[one.path]
            row = next((row for row in rows if (row.speaker, row.level) == (one.speaker, level)), None)
            if row is None:
                rows.append(row := Row(one.speaker, level))
            count(row, written.text, right, listed, written.doubts)
            if asked.show and (wrong(plain(written.text), listed) or written.doubts):
                print(f"{level} {one.path.stem}: {one.text}\n  {written.text}\n  list: {' '.join(listed)}\n "
                      f" right: {' '.join(right)}\n  {[(each.word, *each.others) for each in written.doubts]}", flush=True)
        for word in SPELLED if asked.spelled else ():
            written = dictation.spelled(heard(aloud(word), snr, luck))
            found = "".join(letters_of(written.text, load_words("en")))
            spelled.setdefault(level, [0, len(SPELLED)])[0] += found == word
            if asked.show and found != word:
                print(f"{level} spelled {word}: {written.text}", flush=True)
    if spelled:
        print(json.dumps(spelled))
    for row in rows:
        print(json.dumps({name: value for name, value in asdict(row).items() if name != "pairs"}), flush=True)
    if asked.out is not None:
        given = re.sub(r" ?--(out \S+|show)", "", " ".join(sys.argv[1:])).strip()
        told = {"command": f"python -m tests.bench.dictated_people {given}".strip(), "machine": machine(),
                "engine": identify(weights).name,
                **({"spelled": spelled} if spelled else {"rows": [asdict(row) for row in rows]})}  # fmt: skip
        before = json.loads(asked.out.read_text(encoding="utf-8")) if asked.out.is_file() else []
        kept = [each for each in before if (each["engine"], each["command"]) != (told["engine"], told["command"])]
        asked.out.write_text("[\n" + ",\n".join(json.dumps(each) for each in (*kept, told)) + "\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
