"""What keeps a procedure from running: one meaning of *safe to run*, asked by every verb.

Rules of this file:

- `faults_of` is the one question. `check` and `record` call its faults errors, `list` marks them, `compare` ends with 1,
  `print` and `visit` refuse. Nobody else decides.
- A fault is a fault of the whole book: of the procedure and of all that it calls.
- What a part leaves to the procedure that calls it (its end, its isolation) is a fault only of a book in which nobody makes
  it good; the graph is proved over the whole book.
- Remarks of less weight stay remarks: they keep nothing from running."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from handsfree.errors import Trouble
from handsfree.language import base
from handsfree.procedure import borderline, knowing, observations, page_check, passages, proofs, sounds, values
from handsfree.procedure.model import Book, Procedure
from handsfree.procedure.observations import Observations
from handsfree.procedure.remarks import Remark, Weight


def faults_of(book: Book, known: Observations | None = None) -> tuple[Remark, ...]:
    """Everything for which this book may not run; () where it may. `known`: what the fault model can be told; if left
    out, the model that ships."""
    graph = [fault for fault, _ in graph_faults(book)]
    others = [remark for name in book.procedures for remark in remarks_of(book, name, known)]
    return tuple(dict.fromkeys([*graph, *(remark for remark in others if remark.weight is Weight.ERROR)]))


def must_run(book: Book) -> None:
    """Trouble with every fault, one a line, where the book has any."""
    faults = faults_of(book)
    if faults:
        raise Trouble("This procedure is not safe to run.\n" + "\n".join(fault.shown for fault in faults))


def graph_faults(book: Book) -> Iterator[tuple[Remark, str]]:
    """(fault, kind of it) of all that the proofs over the graph find."""
    for fault in proofs.prove(book):
        remark = Remark(
            fault.file, fault.line, fault.step, "graph", Weight.ERROR, fault.sentence, "", fault.path, fault.aloud,
            language=fault.language,
        )  # fmt: skip
        yield remark, fault.kind


def remarks_of(book: Book, name: str, known: Observations | None = None) -> tuple[Remark, ...]:
    """Of one procedure's values, passages, sounds and what it tells: the errors among them are faults."""
    alone = replace(book, main=name)
    own = (*_by_itself(book, name), *knowing.remarks(book, name))
    return (*own, *passages.remarks(alone, name), *observations.remarks(book, name, known))


def _by_itself(book: Book, name: str) -> Iterator[Remark]:
    """Worked out once for a procedure, whatever file it was read from: comparing every answer's sounds takes long."""
    for remark in _remarks(book.procedures[name]):
        yield replace(remark, file=book.file(name), line=book.line(name, remark.step))


@lru_cache(maxsize=256)
def _remarks(procedure: Procedure) -> tuple[Remark, ...]:
    name, language = procedure.procedure, base.load(procedure.language)
    book = Book(name, {name: procedure})
    return (
        *values.remarks(book, name, language), *page_check.of_steps(book, name), *sounds.remarks(book, name, language),
        *borderline.remarks(book, name),
    )  # fmt: skip
