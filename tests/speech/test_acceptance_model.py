"""The calibrated probability: arithmetic, and what is said of a damaged file."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.language.meaning import Listening, NumberAsked
from handsfree.speech import acceptance
from handsfree.speech.acceptance import Logistic, fitted, logistic, ranked_as, set_of
from handsfree.speech.engine import Witness
from handsfree.speech.weighing import SHAPES, Stake

MODEL = Logistic(("near", "far"), (1.0, -2.0), (2.0, 0.5), (3.0, 0.25), -0.5)


def test_the_probability_is_the_logistic_of_the_standardised_sum() -> None:
    odds = -0.5 + 3.0 * (2.0 - 1.0) / 2.0 + 0.25 * (-1.0 + 2.0) / 0.5
    assert MODEL.odds({"near": 2.0, "far": -1.0}) == pytest.approx(odds)
    assert MODEL.probability({"near": 2.0, "far": -1.0}) == pytest.approx(1 / (1 + math.exp(-odds)))


def test_a_shift_is_added_to_the_log_odds() -> None:
    plain, shifted = MODEL.probability({"near": 2.0, "far": -1.0}), MODEL.probability({"near": 2.0, "far": -1.0}, 1.5)
    assert math.log(shifted / (1 - shifted)) == pytest.approx(math.log(plain / (1 - plain)) + 1.5)


@pytest.mark.parametrize(("near", "sum_"), [(1e6, 60.0), (-1e6, -60.0), (1e300, 60.0)])
def test_a_sum_beyond_sixty_is_sixty_and_never_overflows(near: float, sum_: float) -> None:
    assert MODEL.probability({"near": near, "far": 0.0}) == pytest.approx(1 / (1 + math.exp(-sum_)))


def test_what_is_missing_is_an_error_and_not_a_guess() -> None:
    with pytest.raises(KeyError):
        MODEL.probability({"near": 1.0})


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_evidence_that_is_no_number_proves_nothing(value: float) -> None:
    assert MODEL.probability({"near": value, "far": 0.0}) == 0.0
    assert logistic(value) == 0.0


def test_a_set_is_named_by_the_kinds_of_evidence_whatever_their_order() -> None:
    assert set_of([Witness.TOKENS, Witness.SOUNDS]) == set_of([Witness.SOUNDS, Witness.TOKENS]) == "sounds+tokens"
    assert ranked_as(Listening(number=NumberAsked())) == ranked_as(Listening(digits=(2, 4))) == "number"
    assert ranked_as(Listening(phrases=("hot",))) == "other"


def test_evidence_that_decides_nothing_is_gone() -> None:
    """Not in the fit, and not looked for by a witness."""
    fits = fitted().values()
    for fit in fits:
        for model in (*fit.stakes.values(), fit.meant):
            assert model is not None
            assert 0.0 not in model.weights, [n for n, w in zip(model.names, model.weights, strict=True) if not w]
    for stake, shapes in SHAPES.items():
        counted = {name for fit in fits for name in fit.stakes[stake].names}
        assert {f"sounds {shape}" for shape in shapes} <= counted


def _whole() -> dict[str, object]:
    model = {"names": ["lead"], "means": [0.0], "scales": [1.0], "weights": [2.0], "bias": 0.1}
    ranking = {"number": {"tokens": 0.5}, "other": {"tokens": 1.0}}
    return {"models": {"tokens": {"ranking": ranking, "choice": model, "meant": model}}}


def test_a_fit_comes_back_from_its_file_number_for_number(tmp_path: Path) -> None:
    place = tmp_path / "model.json"
    place.write_text(json.dumps(_whole()))
    found = fitted(place)["tokens"]
    assert found.ranking["number"] == {Witness.TOKENS: 0.5}
    assert found.stakes == {Stake.CHOICE: Logistic(("lead",), (0.0,), (1.0,), (2.0,), 0.1)}
    assert found.meant == found.stakes[Stake.CHOICE]


@pytest.mark.parametrize("harm", ["half", "nan", "uneven", "zero", "unknown", "gone", "list"])
def test_a_damaged_file_is_trouble(harm: str, tmp_path: Path) -> None:
    place = tmp_path / f"{harm}.json"
    whole = json.dumps(_whole())
    texts = {
        "half": whole[: len(whole) // 2], "nan": whole.replace("2.0", "NaN"), "uneven": whole.replace("[2.0]", "[2.0, 3.0]"),
        "zero": whole.replace('"scales": [1.0]', '"scales": [0.0]'), "list": "[]",
        "unknown": whole.replace('tokens": 0.5', 'smells": 0.5'),
    }  # fmt: skip
    if harm in texts:
        place.write_text(texts[harm])
    with pytest.raises(Trouble, match="missing or damaged"):
        fitted(place)


def test_fits_are_told_apart_by_the_hash_of_their_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = acceptance.fit_digest()
    acceptance.fit_digest.cache_clear()
    place = tmp_path / "other.json"
    place.write_text(json.dumps(_whole()))
    monkeypatch.setattr(acceptance, "_COMMITTED", place)
    assert acceptance.fit_digest() != first
    place.unlink()
    acceptance.fit_digest.cache_clear()
    with pytest.raises(Trouble, match="missing or damaged"):
        acceptance.fit_digest()
    acceptance.fit_digest.cache_clear()
