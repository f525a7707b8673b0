"""What `check` says of cabinets' pages, of steps that speak from them, and of questions that take people's own words."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.language import base
from handsfree.language.gist import lexicon
from handsfree.language.meaning import Listening
from handsfree.procedure.asides import asides
from handsfree.procedure.cabinet import Page, unknown_names
from handsfree.procedure.model import Ask, Book
from handsfree.procedure.remarks import Remark, Weight

NAMES = (
    "show-mode, set-mode, show-setting, set-setting, show-offset, set-offset, start-defrost, calls, door, delivery, "
    "deck-out, place-PART, part-PART"
)


def of_page(file: str, page: Page) -> Iterator[Remark]:
    """A question that is another phrase already could never be asked."""
    language = base.load(page.language)
    taken = set(language.forms(Listening()))
    for question in asides(page, language):
        if taken & set(language.forms(Listening(commands=(), asides=(question,)))):
            why = f"'{question}' is a phrase that always works already."
            yield Remark(file, 0, "", "sound", Weight.ERROR, why, "Name the part in another way.")


def of_steps(book: Book, name: str) -> Iterator[Remark]:
    """A name that no page can have would never be spoken; own words for which the file is missing would never be
    understood."""
    procedure = book.procedures[name]
    for step in procedure.steps:
        if isinstance(step, Ask) and step.gist and lexicon(procedure.language, step.gist) is None:
            why = f"Step `{step.id}` takes people's words by '{step.gist}', and there is no such file."
            do = f"Write grammar/{procedure.language}.{step.gist}.yaml, or take `gist` out."
            yield Remark(book.file(name), book.line(name, step.id), step.id, "values", Weight.ERROR, why, do)
    for at, hole in unknown_names(book, name):
        why = f"Step `{at}` names {{{hole}}} in its `with_page`, which no cabinet's page has."
        yield Remark(book.file(name), book.line(name, at), at, "values", Weight.ERROR, why, f"Use one of {NAMES}.")
