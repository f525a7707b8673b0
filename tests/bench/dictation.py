"""How rightly steps of trades that no procedure here is of are written, and what is asked about them:
`python -m tests.bench.dictation [--half learn|judge] [--voices A,B] [--show] [--out FILE]`.

The steps stand in dictated_steps.txt. `learn` chose the bars of authoring/second_ear.py; `judge`, by other voices, chose
nothing. `wrong`: words wrong in the text as written. `asked`: words asked about; `justly`: those that were wrong. `left`:
words still wrong once a writer who knows what she said chose from what was offered."""

from __future__ import annotations

import argparse
import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.language.tokens import tokens
from tests.bench import unlike_voices
from tests.bench.__main__ import machine

LINES = Path(__file__).with_name("dictated_steps.txt")
#: Neither half has a voice of `tests.bench.recording`.
VOICES = {"learn": "american-man,british-man", "judge": "american-woman,american-other,kal16"}

COMMAND = "python -m tests.bench.dictation --half learn; --half judge"


@dataclass
class Count:
    words: int = 0
    wrong: int = 0
    asked: int = 0
    justly: int = 0
    left: int = 0


def lines(half: str) -> list[str]:
    every = LINES.read_text(encoding="utf-8").splitlines()
    return [line.split(":", 1)[1].strip() for line in every if line.startswith(f"{half}:")]


def said(text: str, voice: str) -> Any:
    """Sentence by sentence, with a pause between."""
    speak = unlike_voices.speak if voice in unlike_voices.MBROLA else made.synthesise
    pieces: list[Any] = [made.silence(0.4)]
    for sentence in re.split(r"(?<=[.?!])\s+", text):
        pieces += [speak(sentence, voice, 1.0), made.silence(0.4)]
    return np.concatenate(pieces).astype(np.float32)


def add(count: Count, text: str, right: str, doubts: Any) -> None:
    from rapidfuzz.distance import Levenshtein

    own, meant = [" ".join(tokens(piece)) for piece in text.split()], list(tokens(right))
    steps = [step for step in Levenshtein.opcodes(own, meant) if step.tag != "equal"]
    wrong = Levenshtein.distance(own, meant)
    settled: list[str] = list(own)
    for doubt in doubts:
        count.justly += any(step.src_start <= doubt.at < step.src_end for step in steps)
        before, after = own[: doubt.at], own[doubt.at + 1 :]
        tried = [(Levenshtein.distance([*before, *tokens(one), *after], meant), one) for one in doubt.others]
        if tried and min(tried)[0] < wrong:
            settled[doubt.at] = " ".join(tokens(min(tried)[1]))
    count.words, count.wrong, count.asked = count.words + len(meant), count.wrong + wrong, count.asked + len(doubts)
    count.left += Levenshtein.distance(" ".join(settled).split(), meant)


def main() -> None:
    from handsfree.authoring import free_words
    from handsfree.authoring.live import dictation_for
    from handsfree.settings import load_settings

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", default="learn", choices=sorted(VOICES))
    parser.add_argument("--voices", default="")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    models = load_settings().models
    dictation = dictation_for(free_words.recogniser(None, "en", models), "en", models)
    rows = []
    for voice in (asked.voices or VOICES[asked.half]).split(","):
        count = Count()
        for line in lines(asked.half):
            written = dictation.write(said(line, voice))
            add(count, written.text, line, written.doubts)
            if asked.show:
                print(f"{line}\n  {written.text}\n  {[(one.word, *one.others) for one in written.doubts]}", flush=True)
        rows.append({"half": asked.half, "voice": voice, **asdict(count)})
        print(json.dumps(rows[-1]), flush=True)
    if asked.out is not None:
        before = json.loads(asked.out.read_text(encoding="utf-8"))["rows"] if asked.out.is_file() else []
        new = [(row["half"], row["voice"]) for row in rows]
        kept = [row for row in before if (row["half"], row["voice"]) not in new]
        whole = {"command": COMMAND, "machine": machine(), "rows": kept + rows}
        asked.out.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
