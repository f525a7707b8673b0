"""Which engines hear: a damaged one is a missing one, told in a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.speech import acceptance, neural_adapted, neural_weights, phonetic, phonetic_adapted
from handsfree.speech.recogniser import build_recogniser

OTHER_HASH = "0" * 64


@pytest.fixture
def damage(monkeypatch: pytest.MonkeyPatch) -> object:
    """Makes the installed weights of an engine others than those that are known."""

    def harm(engine: str) -> None:
        if engine == "phonetic":
            monkeypatch.setattr(phonetic, "SHA256", OTHER_HASH)
        else:
            monkeypatch.setitem(neural_weights.EVERY_SIZE, "tiny.en", OTHER_HASH)

    return harm


@pytest.mark.parametrize(("damaged", "left"), [("phonetic", "whisper"), ("whisper", "phonetic")])
def test_the_other_witness_hears_on_and_it_is_told(damage, damaged: str, left: str, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    damage(damaged)
    found = build_recogniser(None, "en", tmp_path)
    assert found.name == left
    assert "are not the right ones" in found.missing
    assert f"Without its witness '{damaged}' the program asks again more often." in found.missing


@pytest.mark.parametrize(("damaged", "left"), [("phonetic", "whisper"), ("whisper", "phonetic")])
def test_half_a_file_of_what_a_witness_was_taught_is_found_before_a_visit(
    damaged: str, left: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    weights = neural_weights.SIZES["tiny.en"]
    whole = phonetic_adapted.CORRECTIONS if damaged == "phonetic" else neural_adapted.CORRECTIONS[weights]
    half = tmp_path / whole.name
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    if damaged == "phonetic":
        monkeypatch.setattr(phonetic_adapted, "CORRECTIONS", half)
    else:
        monkeypatch.setitem(neural_adapted.CORRECTIONS, weights, half)
    found = build_recogniser(None, "en", tmp_path)
    assert found.name == left
    assert half.name in found.missing
    assert "install handsfree again" in found.missing


def test_without_a_whole_fit_no_visit_begins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    half = tmp_path / "acceptance_model.json"
    half.write_text("{", encoding="utf-8")
    monkeypatch.setattr(acceptance, "_COMMITTED", half)
    acceptance.fitted.cache_clear()
    with pytest.raises(Trouble, match=r"acceptance_model\.json is missing or damaged"):
        build_recogniser(None, "en", tmp_path)
    acceptance.fitted.cache_clear()


def test_who_asks_for_the_damaged_one_is_told_so(damage, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    damage("whisper")
    with pytest.raises(Trouble, match=r"whisper tiny\.en are not the right ones"):
        build_recogniser("whisper", "en", tmp_path)


def test_a_set_of_which_none_is_sound_is_trouble(damage, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    damage("phonetic")
    with pytest.raises(Trouble, match="phonetic witness are not the right ones"):
        build_recogniser("phonetic", "en", tmp_path)
