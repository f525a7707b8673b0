"""What is wrong in a Spanish procedure's file is said in Spanish: what a writer meets first, in the words of the file."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
import yaml

from handsfree.cli import main
from handsfree.errors import Trouble
from handsfree.language import prompts
from handsfree.procedure.load import load_book, parse_procedure
from handsfree.resources import shipped_folder
from tests.bench import faulty

GOOD = """procedure: prueba
title: Prueba
version: 1
language: es
purpose: Mirar la luz.
steps:
  - id: luz
    kind: ask
    say: ¿Está encendida la luz?
    answers: {encendida: fin, apagada: fin}
  - id: aire
    kind: read
    say: Lea el aire.
    quantity: aire
    unit: degC
    plausible: [-40, 60]
  - id: juzgar
    kind: decide
    cases: [{when: aire > 5, go: fin}]
    otherwise: fin
  - id: fin
    kind: end
    outcome: done
    say: Terminado.
"""
#: English that no sentence in Spanish has, outside what it quotes.
ENGLISH = re.compile(
    r"\b(the|of|is|are|has|have|which|does|did|you|not|lacks|must|as|its|it|line|write|may|be|step)\b", re.IGNORECASE
)
#: What a writer gets wrong first: (what stands there, what stands in its place).
FIRST = [
    ("title: Prueba\n", ""), ("    say: Lea el aire.\n", ""), ("unit: degC", "unit: grado"), ("unit: degC", "unit: °F"),
    ("kind: read", "kind: reed"), ("    kind: read\n", ""), ("go: fin", "go: finn"), ("go: fin", "go: zzz"),
    ("outcome: done", "outcome: hecho"), ("plausible: [-40, 60]", "plausible: [60, -40]"),
    ("plausible: [-40, 60]", "plausible: [60]"), ("plausible: [-40, 60]", "plausible: mucho"),
    ("version: 1", "version: uno"), ("version: 1", "version: 0"), ("id: aire", "id: El Aire"), ("id: aire", "id: luz"),
    ("    unit: degC", "    unidad: degC"), ("    unit: degC", "    unti: degC"), ("when: aire > 5", "when: aire >"),
    ("when: aire > 5", "when: aira > 5"), ("when: aire > 5", "when: luz == 'rota'"), ("when: aire > 5", "when: aire"),
    ("when: aire > 5", "when: media(aire) > 5"), ("when: aire > 5", "when: 'aire == \"frio\"'"),
    ("{encendida: fin, apagada: fin}", "{encendida: fin, Encendida: fin}"), ("{encendida: fin, apagada: fin}", "{}"),
    ("{encendida: fin, apagada: fin}", "{encendida: nada, apagada: fin}"),
    ("{encendida: fin, apagada: fin}", "{encendida: {say: sí, go: fin}}"), ("say: Terminado.", "say: 5"),
    ("say: Terminado.", "say: a: b"), ("say: Terminado.", "say: 'abierto"), ("say: Terminado.", "say: ''"),
    ("  - id: fin", "\t- id: fin"), ("language: es\n", "language: es\nlanguage: es\n"), ("steps:", "pasos:"),
    ("say: Terminado.", "say: &x Terminado."), ("    outcome: done", "    outcome: done\n    go: luz"),
    ("    unit: degC", "    unit: degC\n    accuracy: mucha"),
    ("    unit: degC", "    unit: degC\n    accuracy: 1 volt"),
    ("    unit: degC", "    unit: degC\n    expected: [-90, 5]"),
    ("    unit: degC", "    unit: degC\n    sound: ../a.wav"),
    ("    outcome: done", "    outcome: done\n    hazards: [fuego]"),
    ("    outcome: done", "    outcome: done\n    minutes: -1"),
    ("    outcome: done", "    outcome: done\n    people: 3"), ("purpose: Mirar la luz.", "purpose: [a]"),
    ("when: aire > 5", "when: at_most(aire)"),
    ("when: aire > 5", "when: at_most('a', 1, 2) == 'x'"), ("when: aire > 5", "when: not aire"),
]  # fmt: skip


def english_in(text: str) -> list[str]:
    """Words of English outside quotation marks, fields and names."""
    bare = re.sub(r"'[^']*'|`[^`]*`|\([^)]*\)", "", text)
    bare = re.sub(r"(las clases son|Puede ser|puede ser) [^.]*", "", bare)
    return ENGLISH.findall(bare)


@pytest.mark.parametrize(("there", "put"), FIRST, ids=[f"{put or there}"[:40] for there, put in FIRST])
def test_what_a_writer_meets_first_is_said_in_spanish(there: str, put: str) -> None:
    assert there in GOOD
    with pytest.raises(Trouble) as caught:
        parse_procedure(GOOD.replace(there, put, 1), "prueba.yaml")
    said = caught.value.sentence
    assert "prueba.yaml línea " in said
    assert english_in(said) == []


def test_the_good_one_loads() -> None:
    assert parse_procedure(GOOD).language == "es"


def test_an_english_procedure_is_told_in_english() -> None:
    with pytest.raises(Trouble, match=r"procedure.yaml line 2: the procedure has '' as its|line 2: the procedure"):
        parse_procedure(GOOD.replace("language: es", "language: en").replace("title: Prueba", "title: 5"))


def test_a_call_that_leads_nowhere_and_check_are_spanish(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "prueba.yaml"
    path.write_text(GOOD.replace("kind: end", "kind: end\n    go: luz"), encoding="utf-8")
    with pytest.raises(SystemExit):
        main(["check", str(path)])
    out = " ".join(capsys.readouterr().out.split())
    assert "prueba.yaml línea" in out
    assert english_in(out) == []
    call = "  - id: otra\n    kind: call\n    procedure: no-hay\n    say: Ahora otra.\n  - id: fin"
    path.write_text(GOOD.replace("  - id: fin", call), encoding="utf-8")
    with pytest.raises(Trouble) as caught:
        load_book(path)
    assert english_in(caught.value.sentence) == []


def test_how_many_faults_are_told_in_spanish() -> None:
    """Every kind of fault of the bench of faulty procedures that a file's reading refuses, put into the Spanish procedures
    that ship."""
    told, left = 0, []
    draw = random.Random(5)
    path = shipped_folder("procedures") / "revision-de-anden.yaml"
    for row in faulty.FAULTS:
        for _ in range(6):
            doc = yaml.safe_load(path.read_text(encoding="utf-8"))
            places = [at for at in range(len(doc["steps"])) if row.fits(doc, at)]
            if not places:
                break
            row.change(doc, draw.choice(places))
            try:
                parse_procedure(yaml.safe_dump(doc, allow_unicode=True, sort_keys=False), "prueba.yaml")
            except Trouble as trouble:
                told += 1
                left += [line for line in trouble.sentence.splitlines() if english_in(line)]
    print(f"{told} faults refused by reading, {len(left)} of their sentences left in English")
    assert told >= 60
    assert left == []


def test_each_sentence_has_the_places_of_its_english() -> None:
    table = prompts.load(shipped_folder("grammar") / "es.load.yaml").sentences
    for known, said in table.items():
        assert prompts.places(known) == prompts.places(said), known
        assert english_in(re.sub(r"{\w+}", "", said).replace("and, or, not", "")) == [], said
