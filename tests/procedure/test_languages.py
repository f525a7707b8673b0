"""What is said about a procedure is said in its language: on paper, on the chart, by the check, by the comparison."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from handsfree.language.prompts import places
from handsfree.procedure import phrasing
from handsfree.procedure.chart import mermaid_text
from handsfree.procedure.chart_drawing import svg
from handsfree.procedure.check import check_file, lines
from handsfree.procedure.compare import compare
from handsfree.procedure.compare import lines as compared
from handsfree.procedure.hazards import usual
from handsfree.procedure.load import book_of, load_book, parse_procedure
from handsfree.procedure.printed import markdown
from handsfree.procedure.wording import word_lists
from handsfree.resources import shipped_folder

NAME = "revision-de-anden"
TEXT = (shipped_folder("procedures") / f"{NAME}.yaml").read_text(encoding="utf-8")
#: Words of the file and of the English tables that a Spanish reader must not meet; not those that are Spanish too ('error').
ENGLISH = {
    *(one for one in usual().hazards if one not in ("refrigerant", "gas")),
    "degC", "Hazards", "Expected", "Instrument", "over range", "unsteady", "otherwise", "ISOLATED", "HAZARD", "waits",
    "isolates", "proved", "instruct", "caution", "handover", "no fault found", "not fixed", "handed over", "version",
    "steps", "ways through", "no remarks", "advice", "wording", "has two instructions", "says", "changed", "Safety",
}  # fmt: skip


def _english(text: str) -> list[str]:
    return sorted(word for word in ENGLISH if re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text))


def test_the_tables_say_the_same_things_in_both_languages() -> None:
    english, spanish = phrasing.sentences_of("en").sentences, phrasing.sentences_of("es").sentences
    assert set(english) == set(spanish)
    for key, sentence in english.items():
        assert places(sentence) == places(spanish[key]), key
    assert set(word_lists("en").printed) == set(word_lists("es").printed)
    assert phrasing.say("xx", "safety") == "Safety:"  # a language without its own file


def test_a_printed_copy_in_spanish() -> None:
    text = markdown(load_book(NAME))
    assert _english(re.sub(r"^.*SHA-256.*$", "", text, flags=re.MULTILINE)) == []
    assert "Peligros: ventilador en marcha, aletas cortantes, superficie caliente." in text
    assert "______________ °C Esperado: de 4 a 8 °C." in text
    assert "(0.5 °C)" in text
    assert "Fin: sin avería encontrada. Nombre:" in text


@pytest.mark.parametrize("draw", [mermaid_text, svg])
def test_a_chart_in_spanish(draw: object) -> None:
    assert callable(draw)
    drawn = re.sub(r"<style>.*?</style>", "", str(draw(load_book(NAME))), flags=re.DOTALL)
    text = re.sub(r"classDef.*|class .*|class=\"[^\"]*\"", "", drawn)
    assert _english(text) == []
    assert "AISLADO 1" in text
    assert "PELIGRO:" in text
    assert "comprobado con el" in text


FAULTS = (
    ("Quite la rejilla inferior. Cepille", "Quite la rejilla inferior y cepille", "tiene dos instrucciones en una frase"),
    ("caliente: {also: [aire caliente]", "fresca: {also: [aire caliente]", "que suenan parecido"),
    ("temperatura-del-mueble < 8", "temperatura-del-mueble < 80", "que se cumple siempre"),
    ("otherwise: desenchufar", "otherwise: limpiar-condensador", "se puede llegar a él sin aislar"),
    ("accuracy: 0.5 degC", "accuracy: 5 degC", "más estrecho"),
    ("complaint: too_warm", "complaint: too_worm", "no es ninguna del modelo de averías; ¿quería decir `too_warm`?"),
)


@pytest.mark.parametrize(("old", "new", "says"), FAULTS)
def test_the_check_says_what_is_wrong_in_spanish(old: str, new: str, says: str, tmp_path: Path) -> None:
    assert old in TEXT
    path = tmp_path / f"{NAME}.yaml"
    path.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    report = check_file(path, [])
    told = "\n".join(lines(report))
    assert says in told
    assert _english(re.sub(r"'[a-z_]+'", "", told)) == []  # in quotes are fields and kinds as the file has them


def test_the_times_are_told_in_a_sentence_and_not_way_by_way() -> None:
    report = check_file(Path(__file__).parent / "data" / "warm-cabinet.yaml", [])
    assert len(report.routes) == 12
    told = list(lines(report))
    assert sum(" 12 ways through: " in line for line in told) == 1
    assert len(told) == len(report.remarks) + 2 + (not report.remarks)


def test_a_comparison_is_told_in_spanish() -> None:
    changed = TEXT.replace("hazards: [moving fan, sharp fins, hot surface]", "hazards: [moving fan]")
    changed = changed.replace("otherwise: todavia-caliente", "otherwise: fin-limpio")
    changed = changed.replace("expected: [4, 8]", "expected: [3, 8]")
    changed = changed.replace("outcome: not fixed", "outcome: fixed").replace("lasts: 3 min", "lasts: 5 min")
    told = list(compared(compare(book_of(parse_procedure(TEXT)), book_of(parse_procedure(changed))), "es"))
    assert told[0] == "Seguridad:"
    assert "  - En el paso `limpiar-condensador` cambia sus peligros: ya no aletas cortantes, superficie caliente." in told
    assert "  - En el paso `temperatura-del-mueble` cambia el margen esperado: de 4 a 8 a 3 a 8." in told
    assert '  - En el paso `fin-ventilador` cambia el resultado: de "sin reparar" a "reparado".' in told
    assert any("'en otro caso' en el paso `mas-frio-o-no`" in line for line in told)
    assert _english("\n".join(told)) == []
