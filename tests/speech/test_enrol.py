"""Fitting acceptance to a person: what is learnt, what is not, and that it can be forgotten."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.speech import enrol
from handsfree.speech.weighing import Stake

LOGITS = st.lists(st.floats(-9, 9), min_size=1, max_size=30)


@given(wanted=LOGITS, unwanted=LOGITS, threshold=st.floats(0.5, 0.999))
def test_a_shift_lets_no_known_false_acceptance_pass(wanted: list[float], unwanted: list[float], threshold: float) -> None:
    found = enrol.shift(wanted, unwanted, threshold)
    at = math.log(threshold / (1 - threshold))
    assert -1.5 <= found <= 1.5
    assert found <= 0 or max(unwanted) + found <= at - 1 + 1e-9


def test_a_person_heard_a_little_too_unsurely_gets_what_is_missing() -> None:
    assert enrol.shift([1.0] * 10, [-5.0], 0.9) == pytest.approx(math.log(9) - 1.0)
    assert enrol.shift([5.0] * 10, [-5.0], 0.9) == 0.0
    assert enrol.shift([1.0] * 10, [2.0], 0.9) < 0


class Scripted:
    """Not an engine: answers from a table, so that the learning alone is tried. Right phrases at 0.8, others at 0.01."""

    def hear(self, samples: np.ndarray, listening: Listening) -> Heard:
        reading = enrol.SCRIPT[int(samples[0])]
        right = reading.listening == listening
        sense = Sense.NUMBER if reading.value is not None else Sense.GATE if reading.listening.gate else Sense.PHRASE
        meaning = Meaning(sense, reading.text, reading.value, spoken=reading.text)
        return Heard(Verdict.ASKED_AGAIN, meaning, 0.8 if right else 0.01)


SPOKEN = [(reading, np.full(800, at, dtype=np.float32)) for at, reading in enumerate(enrol.SCRIPT)]
THRESHOLDS = {Stake.CHOICE: 0.9, Stake.READING: 0.95, Stake.GATE: 0.99}


def test_learning_never_touches_the_gate(tmp_path: Path) -> None:
    found = enrol.learn(Scripted(), SPOKEN, THRESHOLDS)
    assert set(found) == {Stake.CHOICE, Stake.READING}
    assert found[Stake.CHOICE] == pytest.approx(math.log(9) - math.log(4))


def test_how_often_a_gate_would_have_opened_is_told() -> None:
    class Opens(Scripted):
        def hear(self, samples: np.ndarray, listening: Listening) -> Heard:
            heard = super().hear(samples, listening)
            return Heard(Verdict.ACCEPTED, heard.meaning, 0.99) if int(samples[0]) == len(SPOKEN) - 1 else heard

    gates = sum(reading.listening.gate is not None for reading in enrol.SCRIPT)
    assert gates >= 3
    assert enrol.gates_opened(Scripted(), SPOKEN) == (0, gates)
    assert enrol.gates_opened(Opens(), SPOKEN) == (1, gates)


def test_too_little_said_teaches_nothing() -> None:
    assert enrol.learn(Scripted(), SPOKEN[:4], THRESHOLDS) == {}


def test_an_enrolment_made_with_another_fit_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    enrol.save(tmp_path, {Stake.CHOICE: 0.5}, [], "whisper")
    monkeypatch.setattr(enrol, "fit_digest", lambda: "another")
    assert enrol.load(tmp_path, "whisper") is None
    (tmp_path / enrol.FILE).write_text('{"engine": "whisper", "shifts": {"choice": 0.5}}')  # from before it was kept
    assert enrol.load(tmp_path, "whisper") is None


def test_that_it_is_not_used_is_told_beside_the_sound_and_not_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from handsfree.speech.commands import enrolment_folder
    from handsfree.visit.commands import recogniser_of

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    enrol.save(enrolment_folder(), {Stake.CHOICE: 0.5}, [], "another engine")
    assert recogniser_of("pocketsphinx", "en").enrolment == {}
    told = capsys.readouterr()
    assert told.out == ""
    assert "read the phrases again: handsfree enrol" in told.err


def test_keeping_loading_and_forgetting(tmp_path: Path) -> None:
    folder = tmp_path / "person"
    said = [(reading, sound * 0) for reading, sound in SPOKEN]
    enrol.save(folder, {Stake.CHOICE: 0.5}, said, "pocketsphinx")
    assert enrol.load(folder, "pocketsphinx") == {Stake.CHOICE: 0.5}
    assert enrol.load(folder, "whisper") is None  # other engines, other probabilities
    enrol.forget(folder)
    assert not folder.exists()
    assert enrol.load(folder, "pocketsphinx") == {}
    with pytest.raises(Trouble, match="no enrolment"):
        enrol.forget(folder)


CHANGED = ('{"gate": 0.1}', '{"choice": 9}', '{"choice": "x"}', "[]", '{"other": 1}', '{"choice": NaN}')


@pytest.mark.parametrize("shifts", CHANGED)
def test_a_file_changed_by_hand_is_refused(tmp_path: Path, shifts: str) -> None:
    (tmp_path / enrol.FILE).write_text(f'{{"engine": "e", "shifts": {shifts}}}')
    with pytest.raises(Trouble):
        enrol.load(tmp_path, "e")


def test_the_script_takes_about_two_minutes_and_means_what_it_says() -> None:
    from handsfree.language.english import LANGUAGE

    assert 15 <= len(enrol.SCRIPT) <= 30  # five seconds each with its pause
    for reading in enrol.SCRIPT:
        best = LANGUAGE.understand(reading.text, reading.listening)[0]
        assert best.value == reading.value if reading.value is not None else best.text == reading.text
