"""The views of a record in its language: what the program says in them, and nothing of what people said."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
import sys
from functools import partial
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.journal.account import account
from handsfree.journal.events import KINDS, Stamped
from handsfree.journal.findings import RANKS
from handsfree.journal.page import visit_page
from handsfree.journal.pdf import service_pdf, visit_pdf
from handsfree.journal.rows import row_of
from handsfree.journal.service import report_markdown, service
from handsfree.journal.story import in_words
from handsfree.journal.tongue import say_in, service_in
from handsfree.journal.writer import Journal
from handsfree.language import prompts
from handsfree.resources import shipped_folder
from tests.journal.made import TestClock, write_visit
from tests.visit.test_spanish_visit import LINES

#: Words that a sentence of the program's English can hardly do without, and Spanish does not have.
ENGLISH = re.compile(
    r"\b(the|of|was|were|is|are|and|with|by|not|nothing|none|from|after|before|under|out|this|that|which|it|its|to|at|on|"
    r"events?|record|visit|reading|isolation|isolated|isolating|live|lock|gate|phrase|sure|accepted|heard|says|notes|look|"
    r"asked|again|found|done|what|how|when|who|page|step|complaint|supply|work|fault|parts|date|result|service|report)\b",
    re.IGNORECASE,
)  # fmt: skip


def english_in(text: str) -> list[str]:
    return [found[0] for found in ENGLISH.finditer(text)]


@pytest.fixture(scope="module")
def spanish(tmp_path_factory: pytest.TempPathFactory) -> Path:
    visits = tmp_path_factory.mktemp("spanish")
    lines = "".join(f"{line}\n" for line, _ in LINES)
    command = [sys.executable, "-m", "handsfree", "visit", "revision-de-anden", "--typed", "--visits", str(visits)]
    done = subprocess.run(command, input=lines, capture_output=True, text=True, timeout=120, check=False, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    return next(visits.iterdir())


def text_of(pdf: bytes) -> str:
    """'' where there is no poppler."""
    if not shutil.which("pdftotext"):
        return ""
    return subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()


def shown(html: str) -> str:
    """What a reader sees or hears of a page: without its style, and with what stands in labels."""
    body = html[html.index("<body>") :]
    labels = re.findall(r'(?:aria-label|title)="([^"]*)"', body)
    return unescape(" \n".join([re.sub(r"<[^>]+>", " ", body), *labels]))


def test_a_visit_in_spanish_is_spanish_on_its_page_its_paper_and_its_report(spanish: Path) -> None:
    told = account(spanish, known={"00" * 32: "otro"})
    html = visit_page(told)
    assert '<html lang="es">' in html
    assert "Lo que conviene mirar" in html
    pdf = visit_pdf(told)
    assert b"/Lang(es)" in pdf
    report = service_in(service(told), say_in("es"))
    paper = service_pdf(report)
    assert b"/Lang(es)" in paper
    assert "Informe de servicio" in report_markdown(report)
    assert not shutil.which("pdftotext") or "página 1 de" in text_of(paper)
    for text in (shown(html), report_markdown(report), text_of(paper), text_of(pdf)):
        text = re.sub(r"  +", "\n", text)
        assert [line.strip() for line in text.splitlines() if english_in(line)] == []


def test_a_visit_in_english_is_as_it_was(tmp_path: Path) -> None:
    told = account(write_visit(tmp_path / "2026-02-11-kiosk-4"))
    assert '<html lang="en">' in visit_page(told)
    assert service_in(service(told), say_in("en")) == service(told)
    assert b"/Lang(en)" in visit_pdf(told)


#: A value of each type for a field of an event, none of them a word of English.
_VALUE: dict[str, Any] = {"kind": "instruct", "verdict": "accepted", "was": "LIVE", "now": "ISOLATING", "isolation": "LIVE",
                          "outcome": "done", "level": "warning", "how": "phrase", "state": "", "what": "photo",
                          "means": "", "why": "", "role": "step", "sense": "", "reason": "", "during": ""}  # fmt: skip




@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_event_is_told_in_spanish(name: str) -> None:
    say = say_in("es")
    event = _filled(KINDS[name])
    row = row_of(Stamped(3, "2026-02-11T09:30:00+01:00", 4.0, event))
    if row is None:
        return
    row = in_words(row)
    for text in (say(row.text), say(row.aside), say(row.what) if row.who == "technician" and row.what != "heard" else ""):
        assert not english_in(text), (name, text)


def _filled(kind: type[Any]) -> Any:
    found: dict[str, Any] = {}
    for one in dataclasses.fields(kind):
        if one.default is dataclasses.MISSING and one.default_factory is dataclasses.MISSING:
            usual = {"str": _VALUE.get(one.name, "zzz"), "float": 3.0, "int": 2, "bool": False}
            found[one.name] = usual.get(str(one.type), () if str(one.type).startswith("tuple[") else None)
        elif one.name in _VALUE and str(one.type) == "str":
            found[one.name] = _VALUE[one.name]
    return kind(**found)


def test_every_finding_has_a_name_in_spanish() -> None:
    say = say_in("es")
    for rule, level in RANKS.items():
        assert say(rule) != rule
        assert level in ("grave",) or say(level) != level


def test_what_people_said_and_their_names_are_not_put_over(tmp_path: Path) -> None:
    place = tmp_path / "v"
    words = "nothing runs by phrase"
    with Journal.create(place, clock=TestClock()) as journal:
        journal.append(ev.Opened("v", "k", "es", "Isle of Man", "fixed", "done", "0.1", "typed"))
        journal.append(ev.Utterance("accepted", "phrase", words, spoken=words, words=words, sure=0.9))
        journal.append(ev.NoteKept("", "", "not fixed", 2.0))
        journal.append(ev.Closed("done"))
        journal.seal()
    told = account(place)
    report = service_in(service(told), say_in("es"))
    for text in (shown(visit_page(told)), text_of(visit_pdf(told)), report_markdown(report)):
        assert "Isle of Man" in text or "Informe" in text
        assert "Isle de Man" not in text
    assert words in shown(visit_page(told))
    assert "not fixed" in shown(visit_page(told))


def test_each_sentence_has_the_places_of_its_english_and_is_none_of_it() -> None:
    table = prompts.load(shipped_folder("grammar") / "es.views.yaml").sentences
    say = say_in("es")
    for known, said in table.items():
        assert prompts.places(known) == prompts.places(said), known
        assert not english_in(re.sub(r"{\w+}", "", said).replace("handsfree", "")), said
        filled = partial(re.sub, r"{(\w+)}", lambda place: f"q{place[1]}q")
        assert say(filled(known)) == filled(said), known
