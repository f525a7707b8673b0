"""What a screen reader is given of each paper, read back by poppler, which shares nothing with what wrote it."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from handsfree.journal.account import account
from handsfree.journal.pdf import service_pdf, visit_pdf
from handsfree.journal.service import service
from handsfree.procedure.load import load_book
from handsfree.procedure.paper import card, pdf
from handsfree.typesetting import typeset
from tests.journal.visited import MACHINE, visit

#: Those of the foot.
WORDS = {"lang": "en", "page": "page", "of": "1 of 1"}


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    told = account(visit(tmp_path_factory.mktemp("visits")), MACHINE)
    book = load_book("deck-exchange")
    return {"copy": pdf(book), "card": card(book), "visit": visit_pdf(told), "service": service_pdf(service(told))}


@cache
def _tree(data: bytes) -> tuple[str, ...]:
    """Lines of poppler's tree of structure: the kind of an element, or its text in quotes. Its time grows
    with the square of the paper: of one of three procedures with a table it takes two seconds, of eight half a minute."""
    if shutil.which("pdfinfo") is None:
        pytest.skip("pdfinfo is not installed")
    with tempfile.TemporaryDirectory() as place:
        paper = Path(place) / "paper.pdf"
        paper.write_bytes(data)
        told = subprocess.run(["pdfinfo", "-struct-text", paper], capture_output=True, text=True, check=True)
    return tuple(line.strip() for line in told.stdout.splitlines())


@pytest.mark.parametrize("name", ["copy", "card", "visit", "service"])
def test_each_paper_is_told_to_who_cannot_see_it(papers: dict[str, bytes], name: str, tmp_path: Path) -> None:
    data = papers[name]
    assert b"pdfuaid:part>1<" in data, "proved by the writer as PDF/UA-1"
    assert re.search(rb"/Lang\s*\(en", data)
    assert b"/DisplayDocTitle true" in data
    tree = _tree(data)
    kinds = [line.split()[0].rstrip(":") for line in tree if line and line[0] not in "\"/"]
    heads = [int(kind[1]) for kind in kinds if re.fullmatch(r"H\d", kind)]
    assert heads[0] == 1
    assert heads.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(heads)), "no level is left out"
    figures = re.findall(rb"/S\s*/Figure.*?endobj", data, re.S)
    assert len(figures) == kinds.count("Figure")
    assert all(b"/Alt" in one for one in figures)
    assert kinds.count("Table") == kinds.count("THead")
    (tmp_path / "paper.pdf").write_bytes(data)
    fonts = subprocess.run(["pdffonts", tmp_path / "paper.pdf"], capture_output=True, text=True, check=True).stdout
    assert all(" yes yes yes " in line for line in fonts.splitlines()[2:]), "letters travel with the file"


def test_the_copy_is_read_in_the_order_of_its_steps(papers: dict[str, bytes]) -> None:
    tree = _tree(papers["copy"])
    labels = [at for at, line in enumerate(tree) if line.startswith("Lbl")]
    numbers = [int(next(line for line in tree[at:] if line.startswith('"')).strip('"')) for at in labels]
    book = load_book("deck-exchange")
    assert numbers == list(range(1, 1 + sum(len(one.steps) for one in book.procedures.values())))


def test_a_drawn_curve_and_its_words() -> None:
    curve = {"points": [[0.0, 0.2, False], [1.0, 0.8, True]], "band": [[0.1, "8"], [0.6, "4"]], "marked": True}
    blocks = [{"kind": "title", "text": "A visit"}, {"kind": "curve", "text": "Air", "alt": "From 9 to 3.", "curve": curve}]
    data = typeset("record", {**WORDS, "title": "A visit", "blocks": blocks})
    assert b"From 9 to 3." in data
    assert any(line.startswith("Figure") for line in _tree(data))


def test_signs_that_no_letters_have_stop_no_paper() -> None:
    for text in ("a bell \x07", "\N{EGYPTIAN HIEROGLYPH A001}", "<b>#set page()[*_`$", "漢字"):
        assert typeset("record", {**WORDS, "title": text, "blocks": [{"kind": "title", "text": text}]}).startswith(b"%PDF")
