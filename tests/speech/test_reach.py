"""What witnesses can settle at all, and that who works is told what they cannot."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.speech import bars, engines, reach
from handsfree.speech.engine import Witness
from handsfree.speech.recogniser import build_recogniser
from handsfree.speech.weighing import Stake

EVERY = tuple(Stake)


def test_both_witnesses_together_can_settle_everything() -> None:
    assert reach.settles([Witness.SOUNDS, Witness.TOKENS]) == EVERY


def test_evidence_that_nobody_fitted_settles_what_the_bar_for_it_reaches() -> None:
    assert reach.settles([Witness.GRAMMAR]) == (Stake.CHOICE, Stake.COMMAND, Stake.READING)


@pytest.mark.parametrize("kinds", [[Witness.SOUNDS], [Witness.TOKENS], [Witness.SOUNDS, Witness.TOKENS]])
def test_no_evidence_is_better_than_the_best(kinds: list[Witness]) -> None:
    """Each feature at the top of its range: a higher bar than that shuts."""
    for stake in EVERY:
        best = reach.best(kinds, stake)
        assert (stake in reach.settles(kinds)) is (best >= bars.BY_STAKE[stake].value)
        assert best < 1.0


@pytest.mark.parametrize(
    ("left", "shut"),
    [
        ("whisper", "nothing is proved dead by voice: type the proof."),
        ("phonetic", "no gate opens by voice and nothing is proved dead: type the phrase and the proof."),
        ("pocketsphinx", "no gate opens by voice and nothing is proved dead: type the phrase and the proof."),
    ],
)
def test_who_works_with_one_witness_is_told_what_it_can_never_settle(
    left: str, shut: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "SETS", {**engines.SETS, left: (left,)})
    assert build_recogniser(left, "en", tmp_path).missing == f"With '{left}' alone {shut}"


def test_where_both_hear_nothing_is_told(tmp_path: Path) -> None:
    assert build_recogniser(None, "en", tmp_path).missing == ""
