"""How long a procedure is to listen to: each step, and each way through it, with its isolations.

A way through passes each step at most once, so a loop is counted as gone round not at all or once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from handsfree.procedure.graph import FINISH, Expansion, Place, start
from handsfree.procedure.model import Answer, Ask, Book, Isolate, Step, Wait
from handsfree.procedure.wording import sentences, texts

#: Letters and signs a second, and what a sentence adds, of eSpeak NG at the program's usual 150 words a minute: fitted by
#: least squares over 469 texts of shipped procedures; the mean error of one text is 8 %, 0.36 s rms.
LETTERS_A_SECOND = 19.4
PAUSE = 0.57
MOST_PATHS = 500
#: What is heard in one piece and must be kept in mind; common practice, no source.
LIMIT_SECONDS = 25.0


@dataclass(frozen=True)
class Route:
    """`steps` as shown to people; `listen` seconds of speech; `minutes` of work and waiting as the steps state them."""

    steps: tuple[str, ...]
    listen: float
    minutes: float
    isolations: int


def seconds(step: Step) -> float:
    """Of speech, said once; answers read out with a question."""
    return sum(spoken_seconds(text) for text in (*texts(step), *_choices(step)))


def longest_piece(step: Step) -> float:
    """What is said before the technician may answer."""
    return max(spoken_seconds(text) for text in texts(step))


def spoken_seconds(text: str) -> float:
    return sum(len(sentence) / LETTERS_A_SECOND + PAUSE for sentence in sentences(text))


def _choices(step: Step) -> tuple[str, ...]:
    return tuple(_said(answer) for answer in step.answers) if isinstance(step, Ask) else ()


def _said(answer: Answer) -> str:
    return answer.say


def minutes(step: Step) -> float:
    return (step.minutes or 0.0) + (step.seconds / 60 if isinstance(step, Wait) and not step.leaves_site else 0.0)


def routes(book: Book) -> tuple[tuple[Route, ...], bool]:
    """(ways through, whether these are all): at most MOST_PATHS, in the order of the file."""
    expansion = Expansion(book)
    found = list(islice(_paths(expansion), MOST_PATHS + 1))
    return tuple(_route(expansion, path) for path in found[:MOST_PATHS]), len(found) <= MOST_PATHS


def _paths(expansion: Expansion) -> Iterator[tuple[Place, ...]]:
    """By depth, each place once a path. Places that cannot end are cut off first, or the search could stray for ever."""
    import networkx as nx

    graph = expansion.graph()
    first = start(expansion.book)
    if FINISH not in graph:
        return
    useful = nx.ancestors(graph, FINISH)
    budget = 200_000
    waiting: list[tuple[Place, ...]] = [(first,)] if first in useful else []
    while waiting and budget > 0:
        budget -= 1
        path = waiting.pop()
        for to in reversed(list(graph.successors(path[-1]))):
            if to == FINISH:
                yield path
            elif to in useful and to not in path:
                waiting.append((*path, to))


def _route(expansion: Expansion, path: tuple[Place, ...]) -> Route:
    steps = [expansion.step(place) for place in path]
    return Route(
        tuple(place.shown(expansion.book.main) for place in path),
        sum(seconds(step) for step in steps),
        sum(minutes(step) for step in steps),
        sum(isinstance(step, Isolate) for step in steps),
    )
