"""The regression by itself, with coefficients made up here: what the probability is, worked out by hand."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.speech import acceptance
from handsfree.speech.acceptance import UNFITTED, StakeModel, fitted
from handsfree.speech.weighing import Stake

MODEL = StakeModel(names=("near", "far"), means=(1.0, 4.0), scales=(2.0, 0.5), weights=(3.0, -1.0), bias=0.25, threshold=0.9)


def odds(value: float) -> float:
    return 1.0 / (1.0 + math.exp(-value))


def test_the_probability_is_the_logistic_of_the_standardised_sum() -> None:
    # 0.25 + 3 (2 - 1) / 2 - 1 (4.5 - 4) / 0.5
    assert MODEL.probability({"near": 2.0, "far": 4.5}) == pytest.approx(odds(0.75), rel=1e-12)
    assert MODEL.probability({"near": 1.0, "far": 4.0}) == pytest.approx(odds(0.25), rel=1e-12)


def test_an_enrolment_shifts_the_log_odds() -> None:
    at_the_means = {"near": 1.0, "far": 4.0}
    assert MODEL.probability(at_the_means, shift=0.5) == pytest.approx(odds(0.75), rel=1e-12)
    assert MODEL.probability(at_the_means, shift=-0.5) == pytest.approx(odds(-0.25), rel=1e-12)


@pytest.mark.parametrize(("near", "sum_"), [(1e6, 60.0), (-1e6, -60.0), (1e300, 60.0)])
def test_a_sum_beyond_sixty_is_sixty_and_never_overflows(near: float, sum_: float) -> None:
    assert MODEL.probability({"near": near, "far": 4.0}) == odds(sum_)


def test_what_is_missing_or_uneven_is_an_error_and_not_a_guess() -> None:
    with pytest.raises(KeyError):
        MODEL.probability({"near": 1.0})
    for uneven in (
        StakeModel(("near",), (0.0, 0.0), (1.0,), (1.0,), 0.0, 0.9), StakeModel(("near",), (0.0,), (1.0,), (), 0.0, 0.9),
    ):
        with pytest.raises(ValueError, match="zip"):
            uneven.probability({"near": 1.0})


def test_a_model_comes_back_from_its_file_number_for_number(tmp_path: Path) -> None:
    stored = {
        "names": ["near", "far"], "means": [1, 4], "scales": [2, "0.5"], "weights": [3, -1], "bias": 0.25, "threshold": 0.9,
    }
    path = tmp_path / "model.json"
    path.write_text(json.dumps({"models": {"ears": {"gate": stored}}}), encoding="utf-8")
    assert fitted(path) == {"ears": {Stake.GATE: MODEL}}
    path.unlink()
    with pytest.raises(Trouble, match=r"model\.json is missing or damaged; install handsfree again"):
        fitted.__wrapped__(path)
    assert "whisper" in fitted()


def test_an_engine_without_a_fit_must_be_surer_than_not() -> None:
    assert UNFITTED == 0.9


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_evidence_that_is_no_number_proves_nothing(value: float) -> None:
    model = fitted()["whisper"][Stake.CHOICE]
    assert model.probability(dict.fromkeys(model.names, value)) == 0.0
    assert model.probability(dict(zip(model.names, model.means, strict=True)), float("nan")) == 0.0


def test_coefficients_that_are_no_numbers_are_trouble(tmp_path: Path) -> None:
    stored = json.loads(Path(acceptance.__file__).with_name("acceptance_model.json").read_text(encoding="utf-8"))
    for name in ("bias", "threshold", "weights"):
        harmed = json.loads(json.dumps(stored))
        values = harmed["models"]["whisper"]["choice"]
        values[name] = [float("nan")] * len(values["names"]) if name == "weights" else float("inf")
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(harmed), encoding="utf-8")
        with pytest.raises(Trouble, match="missing or damaged"):
            fitted.__wrapped__(path)


def test_the_models_are_told_apart_by_the_hash_of_their_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "model.json"
    monkeypatch.setattr(acceptance, "_COMMITTED", place)
    with pytest.raises(Trouble, match=r"model\.json is missing or damaged"):
        acceptance.digest.__wrapped__()
    place.write_bytes(b"abc")
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # of "abc", FIPS 180-2 (from memory)
    assert acceptance.digest.__wrapped__() == known
