"""How often each sound of English is taken for another: PocketSphinx' phone loop on words that synthetic voices speak.

Writes `grammar/en.confusions.yaml`, which the sound check weighs its distances with. Nothing is fitted: sounds spoken (the
first pronunciation of the dictionary) and sounds heard are aligned by least edits, and counted. A pair is counted both ways.

    python -m tests.bench.confusions --words 120 --out grammar/en.confusions.yaml
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from audio_fixtures.voices import fan_noise, mix, padded, synthesise
from handsfree.language.phonetics import PHONEMES, common, dictionary, letters
from handsfree.speech.pocketsphinx import as_pcm

VOICES = ("slt", "rms", "awb", "espeak-us")
LEVELS = (None, 10.0)  # dB of speech over fan noise; None: clean
LONGEST = 6  # sounds of a word
FEWEST = 0.02  # a share below this is not written
LEAST = 80  # a pair whose sounds were spoken less often together tells nothing


def words_of(count: int, seed: int) -> list[str]:
    known = dictionary()
    short = [word for word in known if word.isalpha() and 2 <= len(known[word][0]) <= LONGEST and common(word)]
    return random.Random(seed).sample(short, count)


def phone_loop() -> Any:
    import pocketsphinx

    home = Path(pocketsphinx.get_model_path()) / "en-us"
    return pocketsphinx.Decoder(
        loglevel="FATAL", hmm=str(home / "en-us"), allphone=str(home / "en-us-phone.lm.bin"), dict=None, lm=None, lw=2.0,
        beam=1e-20, pbeam=1e-20,
    )  # fmt: skip


def heard(decoder: Any, samples: Any) -> tuple[str, ...]:
    decoder.start_utt()
    decoder.process_raw(as_pcm(samples), full_utt=True)
    decoder.end_utt()
    return tuple(one.word for one in decoder.seg() or () if one.word in PHONEMES)


def pairs(said: Sequence[str], found: Sequence[str]) -> Iterator[tuple[str, str]]:
    """(said, heard) of each sound; '' for one that was lost or came from nothing."""
    from rapidfuzz.distance import Levenshtein

    for block in Levenshtein.opcodes(letters(tuple(said)), letters(tuple(found))):
        ones, others = said[block.src_start : block.src_end], found[block.dest_start : block.dest_end]
        for at in range(max(len(ones), len(others))):
            yield (ones[at] if at < len(ones) else ""), (others[at] if at < len(others) else "")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--words", type=int, default=120)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    decoder, counted, spoken = phone_loop(), Counter[tuple[str, str]](), Counter[str]()
    for number, word in enumerate(words_of(given.words, given.seed)):
        for voice in VOICES:
            clean = padded(synthesise(word, voice))
            for level in LEVELS:
                sound = clean if level is None else mix(clean, fan_noise(len(clean) / 16_000, number), level)
                for one, other in pairs(dictionary()[word][0], heard(decoder, sound)):
                    counted[one, other] += 1
                    spoken[one] += 1
    total = sum(spoken[one] for one in PHONEMES)
    right = sum(counted[one, one] for one in PHONEMES) / max(1, total)
    lines = [
        "# How often sounds of English are taken for one another: of both sounds of a pair, the share heard as the other.",
        "# Measured, not tuned: `python -m tests.bench.confusions`, PocketSphinx' phone loop,",
        f"# {given.words} common words of the dictionary (seed {given.seed}), voices {', '.join(VOICES)}, clean and",
        f"# {LEVELS[1]:g} dB over fan noise; {total} sounds, {right:.1%} heard as they are. Left out: pairs below {FEWEST}.",
        "",
    ]
    for at, one in enumerate(PHONEMES):
        for other in PHONEMES[at + 1 :]:
            times = spoken[one] + spoken[other]
            share = (counted[one, other] + counted[other, one]) / times if times else 0.0
            if share >= FEWEST and times >= LEAST:
                lines.append(f"{one} {other}: {share:.3f}")
    given.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{right:.1%} of the sounds were heard as they are.")


if __name__ == "__main__":
    main()
