"""What a witness testified is kept, so that a bench goes on where it stood; and is never kept beyond what it depends on."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from handsfree.language.base import load
from handsfree.language.meaning import Listening, Meaning, Sense
from handsfree.speech import engine as spoken
from handsfree.speech.engine import Candidate, Declared, Witness
from tests.bench import evidence

WARM = Listening(phrases=("warm", "hot"))
SOUND = np.full(1600, 0.1, np.float32)


class Hears:
    """A witness that counts what it is asked. `weights` stands for what it loads."""

    name, language, declares = "counts", "en", Declared("counts", Witness.TOKENS, "", "")

    def __init__(self, weights: str = "one") -> None:
        self.weights, self.asked = weights, 0

    def load(self) -> str:
        return self.weights

    def testify(self, samples: object, listening: Listening) -> spoken.Testimony:
        self.asked += 1
        found = Candidate(Meaning(Sense.PHRASE, listening.phrases[0]), -1.0)
        return spoken.Testimony(self.name, (found,), "warm", trace=("frames", 1))

    def also(self, testimony: spoken.Testimony, offered: Mapping[str, Meaning]) -> spoken.Testimony:
        return spoken.Testimony(self.name, testimony.candidates, f"{testimony.trace} and {len(offered)}")

    def dictate(self, samples: object) -> str:
        return "a note"


def kept(engine: Hears, folder: Path) -> evidence.Kept:
    return evidence.Kept(engine, "en", load("en"), evidence.Store(folder))


def test_the_same_sound_is_heard_once_also_by_the_next_process(tmp_path: Path) -> None:
    first, second = Hears(), Hears()
    told = kept(first, tmp_path).testify(SOUND, WARM)
    again = kept(second, tmp_path)
    assert again.testify(SOUND, WARM) == told
    assert (first.asked, second.asked) == (1, 0)
    assert (again.store.found, again.store.made) == (1, 0)
    offered = {"four": Meaning(Sense.NUMBER, "4")}
    assert again.also(again.testify(SOUND, WARM), offered).free == "('frames', 1) and 1"


@pytest.mark.parametrize(
    ("sound", "listening", "weights"),
    [(SOUND * 2, WARM, "one"), (SOUND, Listening(phrases=("hot", "warm")), "one"), (SOUND, WARM, "two")],
)
def test_another_sound_question_or_weight_is_heard_anew(
    tmp_path: Path, sound: np.ndarray, listening: Listening, weights: str
) -> None:
    kept(Hears(), tmp_path).testify(SOUND, WARM)
    other = Hears(weights)
    kept(other, tmp_path).testify(sound, listening)
    assert other.asked == 1


def test_a_word_that_is_newly_in_force_is_heard_anew(tmp_path: Path) -> None:
    kept(Hears(), tmp_path).testify(SOUND, WARM)
    engine = Hears()
    later = kept(engine, tmp_path)

    class Speaks:
        def forms(self, listening: Listening) -> Mapping[str, Meaning]:
            return {**load("en").forms(listening), "a new command": Meaning(Sense.COMMAND, "a new command")}

        def decoys(self, listening: Listening) -> Mapping[str, Meaning]:
            return load("en").decoys(listening)

    later.speaks = Speaks()
    later.testify(SOUND, WARM)
    assert engine.asked == 1


def test_what_only_the_judge_reads_is_no_part_of_a_witness() -> None:
    for module in ("handsfree.speech.phonetic", "handsfree.speech.whisper"):
        names = {path.name for path in evidence.sources(module)}
        assert module.rsplit(".", 1)[1] + ".py" in names
        assert not names & {"bars.py", "judge.py", "weighing.py", "acceptance.py", "sayings.py"}
    assert {"ctc.py", "sounds.py", "phonetic_numbers.py"} <= {p.name for p in evidence.sources("handsfree.speech.phonetic")}
    assert {"neural_adapted.py", "neural_search.py"} <= {p.name for p in evidence.sources("handsfree.speech.whisper")}


def test_weights_belong_to_the_module_that_names_them(tmp_path: Path) -> None:
    (tmp_path / "one.py").write_text('PATH = "adapted_one.npz"', encoding="utf-8")
    (tmp_path / "two.py").write_text('PATH = f"adapted_{size}.npz"', encoding="utf-8")
    named, put_together = tmp_path / "adapted_one.npz", tmp_path / "adapted_tiny.npz"
    one, two = ((tmp_path / name).read_bytes() for name in ("one.py", "two.py"))
    assert [evidence._names(text, named) for text in (one, two)] == [True, False]
    assert [evidence._names(text, put_together) for text in (two, b"nothing")] == [True, False]
