"""How long a procedure is to listen to: each step, and each way through it, with its isolations.

A way through never goes back: a loop counts as not taken."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice, pairwise

from handsfree.procedure.graph import FINISH, Graph, Place, StepIndex, first_place
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
    return max(map(spoken_seconds, texts(step)), default=0.0)


def spoken_seconds(text: str) -> float:
    return sum(len(sentence) / LETTERS_A_SECOND + PAUSE for sentence in sentences(text))


def _choices(step: Step) -> tuple[str, ...]:
    return tuple(_said(answer) for answer in step.answers) if isinstance(step, Ask) else ()


def _said(answer: Answer) -> str:
    return answer.say


def minutes(step: Step) -> float:
    return (step.minutes or 0.0) + (step.seconds / 60 if isinstance(step, Wait) and not step.leaves_site else 0.0)


#: Of a step: seconds of speech, minutes, isolations.
_Cost = tuple[float, float, float]


def _cost(step: Step) -> _Cost:
    return seconds(step), minutes(step), float(isinstance(step, Isolate))


def routes(book: Book) -> tuple[Route, ...]:
    """The first MOST_PATHS ways through, in the order of the file."""
    expansion = StepIndex(book)
    graph = _onward(expansion)
    costs = {place: _cost(expansion.step(place)) for place in graph if place != FINISH}
    return tuple(_route(book, path, costs) for path in islice(_paths(graph, first_place(book)), MOST_PATHS))


@dataclass(frozen=True)
class Extent:
    """Over all ways through: how many there are, and the least and most of each."""

    ways: int
    listen: tuple[float, float]
    minutes: tuple[float, float]
    isolations: tuple[int, int]


def extent(book: Book) -> Extent | None:
    """None where no way comes to an end."""
    import networkx as nx

    expansion = StepIndex(book)
    graph = _onward(expansion)
    first = first_place(book)
    if first not in graph:
        return None
    ways: dict[Place, int] = {FINISH: 1}
    bounds: dict[Place, tuple[tuple[float, float], ...]] = {FINISH: ((0.0, 0.0),) * 3}
    for place in reversed(list(nx.topological_sort(graph))):
        if place == FINISH:
            continue
        own = _cost(expansion.step(place))
        after = [bounds[to] for to in graph.successors(place)]
        ways[place] = sum(ways[to] for to in graph.successors(place))
        bounds[place] = tuple(
            (mine + min(one[at][0] for one in after), mine + max(one[at][1] for one in after)) for at, mine in enumerate(own)
        )
    listen, work, locked = bounds[first]
    return Extent(ways[first], listen, work, (round(locked[0]), round(locked[1])))


def _onward(expansion: StepIndex) -> Graph:
    """The graph of what leads to the end, each loop cut where it closes."""
    import networkx as nx

    graph = expansion.graph()
    done: set[Place] = set()
    closing = []
    for a, b, kind in nx.dfs_labeled_edges(graph, first_place(expansion.book)):
        if kind == "reverse":
            done.add(b)
        elif kind == "nontree" and b not in done:
            closing.append((a, b))
    graph.remove_edges_from(closing)
    return graph.subgraph(nx.ancestors(graph, FINISH) | {FINISH} if FINISH in graph else ()).copy()


def covering(book: Book) -> tuple[tuple[tuple[Place, str], ...], ...]:
    """A few ways through that together take every answer, case and 'go' that can be followed by an end, loops included:
    for rehearsals, where all ways are too many. Each is (place, name of the way taken from it), from start to end."""
    import networkx as nx

    graph = StepIndex(book).graph()
    first = first_place(book)
    if FINISH not in graph:
        return ()
    ahead = nx.single_source_shortest_path(graph, first)
    onward = nx.single_source_shortest_path(graph.reverse(copy=False), FINISH)
    able = [(a, b, names) for a, b, names in graph.edges(data="names") if a in ahead and b in onward]
    untaken = {(a, b, name): None for a, b, names in able for name in names}
    found = []
    for a, b, name in list(untaken):
        if (a, b, name) not in untaken:
            continue
        places = [*ahead[a], *reversed(onward[b])]
        route = []
        for at, (one, other) in enumerate(pairwise(places)):
            names = graph.edges[one, other]["names"]
            fresh = next((way for way in names if (one, other, way) in untaken), names[0])
            taken = name if at == len(ahead[a]) - 1 else fresh
            untaken.pop((one, other, taken), None)
            route.append((one, taken))
        found.append(tuple(route))
    return tuple(found)


def _paths(graph: Graph, first: Place) -> Iterator[tuple[Place, ...]]:
    waiting: list[tuple[Place, ...]] = [(first,)] if first in graph else []
    while waiting:
        path = waiting.pop()
        for to in reversed(list(graph.successors(path[-1]))):
            if to == FINISH:
                yield path
            else:
                waiting.append((*path, to))


def _route(book: Book, path: tuple[Place, ...], costs: Mapping[Place, _Cost]) -> Route:
    listen, work, locked = map(sum, zip(*(costs[place] for place in path), strict=True))
    return Route(tuple(place.shown(book.main) for place in path), listen, work, round(locked))
