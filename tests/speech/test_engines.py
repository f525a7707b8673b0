"""Which engines hear: a damaged one is a missing one, told in a sentence."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree import settings
from handsfree.errors import Trouble
from handsfree.handbook import decisions
from handsfree.language.meaning import Denial, GateAsked, Listening, Meaning, NumberAsked, Sense, Verdict, gate_text
from handsfree.speech import acceptance, commands, engines, neural_adapted, neural_weights, phonetic, phonetic_adapted
from handsfree.speech.engine import Candidate, Declared, Testimony, Witness
from handsfree.speech.recogniser import build_recogniser
from handsfree.standby.listening import ListenerOptions, listen

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


def test_who_enrols_measures_or_stands_by_is_told_of_a_damaged_witness_too(  # type: ignore[no-untyped-def]
    damage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def nothing(*_: object) -> object:
        raise Trouble("no sound card here")

    silence, manifest = tmp_path / "silence.wav", tmp_path / "manifest.jsonl"
    soundfile.write(silence, np.zeros(16_000, np.float32), 16_000)
    manifest.write_text(json.dumps({"audio": silence.name, "listen_for": {"phrases": ["warm"]}, "expect": None, "tags": {}}))
    monkeypatch.setattr("handsfree.dialogue.wiring.wired", nothing)
    damage("phonetic")
    beginnings: tuple[Callable[[], object], ...] = (
        lambda: commands.enrol(str(silence), None, forget=False),
        lambda: commands.evaluate(manifest, None, as_json=False, show=False),
        lambda: listen(ListenerOptions(None, None, "en", "standby-ready", may_go_on=False)),
    )
    for begin in beginnings:
        with suppress(Trouble):
            begin()
        assert "Without its witness 'phonetic' the program asks again more often." in capsys.readouterr().err


@pytest.mark.parametrize(("damaged", "left"), [("CORRECTIONS", "whisper"), ("PEOPLE", "whisper"), ("whisper", "phonetic")])
def test_half_a_file_of_what_a_witness_was_taught_is_found_before_a_visit(
    damaged: str, left: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    weights = neural_weights.SIZES["tiny.en"]
    whole = neural_adapted.CORRECTIONS[weights] if damaged == "whisper" else getattr(phonetic_adapted, damaged)
    half = tmp_path / whole.name
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    if damaged == "whisper":
        monkeypatch.setitem(neural_adapted.CORRECTIONS, weights, half)
    else:
        monkeypatch.setattr(phonetic_adapted, damaged, half)
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


# ---- one more engine: a class, a row, a set; then a fit


class Parrot:
    """Finds in every sound what its next sound says."""

    name, language = "parrot", "en"
    declares = Declared("parrot", Witness.GRAMMAR, "repeats what it is given", cost="nothing")

    def __init__(self, *says: Meaning) -> None:
        self._says = list(says)

    def load(self) -> str:
        return ""

    def testify(self, samples: object, listening: Listening) -> Testimony:
        said = self._says.pop(0)
        return Testimony(self.name, (Candidate(said, -1.0),), said.spoken, -1.0, (), Witness.GRAMMAR)

    def also(self, testimony: Testimony, offered: object) -> Testimony:
        return testimony

    def dictate(self, samples: object) -> str:
        return "free words"


WARM = Meaning(Sense.PHRASE, "warm", spoken="warm")
OPEN = Meaning(Sense.GATE, gate_text("isolated", ("four", "two")), spoken="isolated lock four two")
SOUND = np.full(16_000, 0.1, np.float32)


@pytest.fixture
def parrot(monkeypatch: pytest.MonkeyPatch) -> None:
    """As DEVELOPERS.md tells: its row, and a set with its name. Nobody fitted it."""
    denied = Meaning(Sense.DENIAL, Denial.NEGATION, spoken="not isolated")
    says = (WARM, Meaning(Sense.NUMBER, "43", 43.0, None, "forty three"), OPEN, denied)
    row = engines.EngineRow(lambda language, models: Parrot(*says), f"{__name__}:Parrot")
    monkeypatch.setattr(engines, "ENGINES", {**engines.ENGINES, "parrot": row})
    monkeypatch.setattr(engines, "SETS", {**engines.SETS, "parrot": ("parrot",)})


@pytest.mark.usefixtures("parrot")
def test_an_engine_is_added_by_a_class_a_row_and_a_set_and_opens_no_gate_before_it_is_fitted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HANDSFREE_ENGINE", "parrot")
    hears = build_recogniser(settings.load_settings().engine, "en", tmp_path)
    answers, number = Listening(phrases=("warm", "cool")), Listening(number=NumberAsked("degF", -20, 120))
    gate = Listening(gate=GateAsked("isolated", ("four", "two")))
    found = [hears.hear(SOUND, listening) for listening in (answers, number, gate, gate)]
    assert [one.verdict for one in found] == [Verdict.ACCEPTED] * 2 + [Verdict.ASKED_AGAIN] * 2
    assert found[0].engine == hears.name == "parrot"
    assert hears.dictate(SOUND) == "free words"
    assert "repeats what it is given" in decisions.engines()


@pytest.mark.usefixtures("parrot")
def test_an_engine_without_a_fit_says_in_the_handbook_what_it_settles_by_itself() -> None:
    told = {row.split("|")[1].strip(): row for row in decisions.engines().splitlines() if row.startswith("|")}
    assert "answers, commands and readings, if its own words mean the same" in told["`parrot`"]
    assert "commands, readings and gates" in told["`whisper`"]
    assert "answers, commands and readings |" in told["`phonetic`"]


@pytest.mark.parametrize("name", engines.SETS)
def test_every_set_may_be_asked_for_in_the_settings(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_ENGINE", name)
    assert settings.load_settings().engine == name


def test_a_set_that_there_is_not_is_told_with_those_that_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HANDSFREE_ENGINE", "psychic")
    with pytest.raises(Trouble, match=r"'engine' from environment is not valid: there is no engine 'psychic'; use one of"):
        settings.load_settings()


def test_an_engine_gives_the_evidence_that_it_declares(tmp_path: Path) -> None:
    hiss = np.random.default_rng(0).normal(0, 0.01, 8000).astype(np.float32)
    for name in (None, "pocketsphinx"):
        for engine in build_recogniser(name, "en", tmp_path).engines:
            assert engine.testify(hiss, Listening(phrases=("warm", "cool"))).gives is engine.declares.gives
            assert engine.declares in engines.declarations()


def test_an_engine_costs_what_it_declares() -> None:
    """The dearest of what `tests.bench.processor` measured, rounded up to a hundredth."""
    place = Path(__file__).parents[1] / "bench/results/processor.json"
    measured = [row["of_the_sound"] for row in json.loads(place.read_text(encoding="utf-8"))["by"] if "of_the_sound" in row]
    for one in engines.declarations():
        costs = [shares[one.name] for shares in measured if one.name in shares]
        most = f"{np.ceil(max(costs) * 100) / 100:g} of the sound" if costs else "not measured"
        assert one.cost == most, one.name
