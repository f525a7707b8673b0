from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.procedure.load import load_book, load_procedure, procedure_files
from handsfree.procedure.model import Book
from handsfree.resources import shipped_folder

FOLDER = shipped_folder("procedures")
#: The English ones: what is asserted of their words and answers is in English.
NAMES = tuple(file.stem for file in procedure_files(FOLDER) if load_procedure(file).language == "en")
BOOKS: dict[str, Book] = {}


def book_named(name: str) -> Book:
    if name not in BOOKS:
        BOOKS[name] = load_book(Path(FOLDER) / f"{name}.yaml", [FOLDER])
    return BOOKS[name]


@pytest.fixture(params=NAMES)
def book(request: pytest.FixtureRequest) -> Book:
    """Each shipped procedure with those it calls."""
    return book_named(request.param)
