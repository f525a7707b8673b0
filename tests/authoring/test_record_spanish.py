"""Recording in Spanish: the same machine with other words, and nothing of English in what comes out."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from handsfree.authoring.words import load_words
from handsfree.language.prompts import places
from handsfree.language.tokens import tokens
from handsfree.procedure.check import check_file
from handsfree.procedure.load import load_book, load_procedure
from handsfree.procedure.model import Ask, Caution, Finding, Level, Read
from handsfree.procedure.proofs import prove
from tests.authoring.scenes import MIRAR, doubted, typed

LANGUAGES = ("en", "es")
TITLE = "Mirar el ventilador"
END = ["nuevo paso", "Ha terminado.", "el final", "todo hecho", "guardar"]


def test_a_whole_procedure_loads_is_proved_and_has_nothing_to_remark(tmp_path: Path) -> None:
    told = typed(MIRAR, tmp_path, "ventilador", "es")
    assert told.state.outcome == "finished"
    procedure = load_procedure(tmp_path / "ventilador.yaml")
    assert procedure.language == "es"
    caution, ask, read, finding, *_ = procedure.steps
    assert isinstance(caution, Caution)
    assert (caution.id, caution.level, caution.hazards) == ("tension-red-puede-matar", Level.DANGER, ("mains",))
    assert isinstance(ask, Ask)
    assert [(answer.say, answer.go) for answer in ask.answers] == [
        ("fresco", None), ("caliente", None), ("en calma", "ventilador-mueve-poco-aire"),
    ]  # fmt: skip
    assert isinstance(read, Read)
    assert (read.unit, read.plausible, read.expected) == ("degC", (-30, 55), (4, 8))
    assert isinstance(finding, Finding)
    assert finding.evidence == (ask.id, read.id)
    assert prove(load_book(tmp_path / "ventilador.yaml")) == ()
    assert check_file(tmp_path / "ventilador.yaml").remarks == ()
    assert "La comprobación no ha encontrado nada." in told.said


def test_from_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from handsfree.authoring.asked import RecordOptions
    from handsfree.authoring.commands import record

    monkeypatch.setattr("sys.stdin", io.StringIO(MIRAR))
    record(RecordOptions("ventilador", tmp_path, typed=True, language="es"))
    assert "El procedimiento está grabado." in capsys.readouterr().out


KINDS: dict[str, tuple[tuple[str, ...], dict[str, object]]] = {
    "instruct": (("Cepille el condensador.", "una instrucción", "aletas cortantes", "nada más"),
                 {"hazards": ("sharp fins",)}),
    "isolate": (
        ("Los pasos siguientes ponen sus manos cerca del ventilador.", "aislamiento", "Saque la clavija.",
         "Ponga su candado.", "eso es todo", "red por cable y clavija", "eso es todo"),
        {"do": ("Saque la clavija.", "Ponga su candado."), "sources": ("red por cable y clavija",)},
    ),
    "prove": (("Compruebe sin tensión. Mire los ventiladores.", "con el interruptor"), {"method": "switch"}),
    "restore": (
        ("La alimentación vuelve.", "Saque todas las herramientas.", "eso es todo", "Ponga la rejilla.", "eso es todo",
         "Ponga la clavija."),
        {"checks": ("Saque todas las herramientas.", "Ponga la rejilla."), "power": "Ponga la clavija."},
    ),
    "wait": (("Espere tres minutos.", "El compresor reposa."), {"lasts": "3 min", "because": "El compresor reposa."}),
    "evidence": (("Tome una foto de la placa.", "ninguno"), {"what": "photo"}),
    "read": (
        ("Mida la tensión.", "una lectura", "tensión de red", "voltios", "doscientos", "250", "omitir eso", "ninguno"),
        {"unit": "volt", "plausible": (200, 250), "quantity": "tensión de red", "expected": None},
    ),
    "end": (("Se acabó.", "el final", "puesto en seguridad"), {"outcome": "made safe"}),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_asked_for_what_was_not_said(kind: str, tmp_path: Path) -> None:
    lines, fields = KINDS[kind]
    typed([TITLE, "nuevo paso", *lines, "guardar", *END, "terminar", "terminar"], tmp_path, "ventilador", "es")
    step = load_procedure(tmp_path / "ventilador.yaml").steps[0]
    assert step.kind == kind
    for name, value in fields.items():
        assert getattr(step, name) == value, name


def test_moving_deleting_and_taking_up_again(tmp_path: Path) -> None:
    lines = [TITLE]
    for text in ("Abra la puerta.", "Mire la luz.", "Cierre la puerta."):
        lines += ["nuevo paso", text, "una instrucción", "ninguno", "guardar"]
    lines += ["mover un paso", "paso tres", "paso uno", "borrar", "paso dos", "afirmo"]
    told = typed(lines, tmp_path, "puerta", "es")
    assert "Ahora es el paso uno." in told.said
    told = typed(["afirmo", "leer los pasos", "parar la grabación"], tmp_path, "puerta", "es")
    assert told.said[0] == "La grabación de puerta sigue. Guardado: tres pasos."
    assert [step.text for step in told.state.draft.steps] == ["Cierre la puerta.", "Mire la luz."]


def test_dictated_questions_open_as_they_close(tmp_path: Path) -> None:
    lines = ["mirar", "nuevo paso", "cómo se siente el aire", "caliente", "fresco", "eso es todo"]
    told = doubted([*lines, "el paso que sigue", "el paso que sigue", "ninguno", "guardar"], tmp_path, "aire", "es")
    assert told.state.draft.steps[0].text == "¿Cómo se siente el aire?"
    assert told.state.draft.steps[0].kind == "ask"


def test_findings_are_read_out_in_the_language(tmp_path: Path) -> None:
    lines = [TITLE, "nuevo paso", "Abra la puerta y mire la luz.", "una instrucción", "ninguno", "guardar", "terminar"]
    told = typed(lines, tmp_path, "puerta", "es")
    at = told.said.index("La comprobación ha encontrado dos.")
    assert told.said[at + 1 : at + 3] == [
        "Paso uno se sale del final del procedimiento. Diga adónde lleva, o grabe un final detrás.",
        "Paso uno tiene dos instrucciones en una frase: 'Abra la puerta y mire la luz.'. Empiece otra frase en 'mire'.",
    ]


@pytest.mark.parametrize("code", LANGUAGES)
def test_no_way_of_the_recorder_is_a_phrase_that_always_works(code: str) -> None:
    from handsfree.authoring.slots import EVER

    words = load_words(code)
    ever = {" ".join(tokens(way)) for name in (*EVER, "affirm", "negative") for way in words.language.commands[name]}
    ways = {way for rule in words.grammar.rules for way, _ in words.pairs(rule) if rule not in ("small_word", "joined")}
    assert not ever & ways


def test_both_languages_say_the_same_things() -> None:
    english, spanish = (load_words(code) for code in LANGUAGES)
    assert set(english.grammar.rules) == set(spanish.grammar.rules)
    assert set(english.sentences.sentences) == set(spanish.sentences.sentences)
    for key, sentence in english.sentences.sentences.items():
        assert places(sentence) == places(spanish.sentences.sentences[key]), key
    for rule in english.grammar.rules:
        if rule == "letter":
            assert {tag for _, tag in spanish.pairs(rule)} - {tag for _, tag in english.pairs(rule)} == {"ñ"}
        elif rule != "range_from":
            assert {tag for _, tag in english.pairs(rule)} == {tag for _, tag in spanish.pairs(rule)}, rule
