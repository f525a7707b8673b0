"""What a procedure makes known, and whom it leaves without a way on: remarks on facts, yes and no, and ways out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import partial

from handsfree.procedure.model import Ask, Book, Read, way_out_of
from handsfree.procedure.remarks import Remark, Weight, remark_at


def remarks(book: Book, name: str) -> Iterator[Remark]:
    """Of one procedure of the book; a fact may be made by any of them."""
    made = set(_made(book))
    for step in book.procedures[name].steps:
        say = partial(remark_at, book, name, step, "values")
        for fact, _ in getattr(step, "unless", ()):
            if fact not in made:
                yield say(Weight.ADVICE, "unless-unknown", fact=fact)
        if isinstance(step, Ask):
            counted = Counter(answer.stands_for for answer in step.answers if answer.stands_for)
            for word, times in counted.items():
                if times > 1:
                    yield say(Weight.ERROR, "stands-for-twice", word=word)
            if not way_out_of(step, "cannot tell")[0]:
                yield say(Weight.NOTE, "cannot-tell-nowhere")
        if isinstance(step, Ask | Read) and step.keeps is not None and step.fact is None:
            yield say(Weight.ADVICE, "keeps-nothing")


def _made(book: Book) -> Iterator[str]:
    for procedure in book.procedures.values():
        for step in procedure.steps:
            yield from (fact for fact, _ in step.makes)
            if isinstance(step, Ask | Read) and step.fact is not None:
                yield step.fact
            if isinstance(step, Ask):
                yield from (fact for answer in step.answers for fact, _ in answer.makes)
