"""Where the boxes of a chart stand: sheets of A4 with three columns each.

Rules of this file:

- The main line runs down the left column. At each box it goes the way that finds nothing, else the way from which most of
  the procedure is still ahead.
- A branch stands beside the box it leaves where there is room. Its arrow runs in a lane of the gutter; lanes are given so
  that no two arrows cross (the branch that leaves higher up turns down further right).
- Every other way is named at the box, by the number and the sheet of where it leads. So no line crosses another, and no
  label touches one.

All in pixels, y downwards, each sheet from its own upper left corner."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

COLUMNS, COLUMN, GUTTER, MARGIN = 3, 262.0, 46.0, 26.0
HEAD = 62.0  # of a sheet: its title
GAP, ORIGIN = 26.0, 18.0  # between boxes of a line; above a line that says where it comes from
LANE, LANES = 8.0, 5
WIDTH = 2 * MARGIN + COLUMNS * COLUMN + (COLUMNS - 1) * GUTTER
HEIGHT = round(WIDTH * 297 / 210)
BOTTOM = HEIGHT - MARGIN


@dataclass(frozen=True)
class ChartBox:
    """What is to be placed. `ways`: where its ways lead, in order; `rows`: how far below its top the middle of each way's
    row is; `finds`: it is where a branch begins (a finding, a hand-over, an end), not where the main line goes on."""

    name: str
    height: float
    ways: tuple[str, ...] = ()
    rows: tuple[float, ...] = ()
    finds: bool = False


@dataclass(frozen=True)
class Spot:
    """`from_`: the box that a line's first box comes from where no arrow shows it, '' elsewhere."""

    sheet: int
    column: int
    top: float
    height: float
    number: int = 0
    from_: str = ""

    @property
    def left(self) -> float:
        return MARGIN + self.column * (COLUMN + GUTTER)

    @property
    def right(self) -> float:
        return self.left + COLUMN

    @property
    def bottom(self) -> float:
        return self.top + self.height


@dataclass(frozen=True)
class ChartArrow:
    """From way number `way` of a box to another box of the same sheet, as a broken line."""

    name: str
    way: int
    to: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Layout:
    spots: Mapping[str, Spot]
    arrows: tuple[ChartArrow, ...]
    sheets: int


@dataclass
class _LayoutLine:
    names: list[str]
    origin: str


@dataclass
class _Sheets:
    """`ends`: how far down each column of the sheet being filled is taken."""

    shapes: Mapping[str, ChartBox]
    spots: dict[str, Spot] = field(default_factory=dict)
    arrows: list[ChartArrow] = field(default_factory=list)
    sheet: int = 0
    ends: list[float] = field(default_factory=lambda: [HEAD] * COLUMNS)
    lanes: list[list[tuple[float, float, int]]] = field(default_factory=lambda: [[] for _ in range(COLUMNS)])

    def turn_over(self) -> None:
        self.sheet += 1
        self.ends = [HEAD] * COLUMNS
        self.lanes = [[] for _ in range(COLUMNS)]


def lay_out(shapes: Sequence[ChartBox], first: str) -> Layout:
    """Every shape that can be reached from `first`, and after them those that cannot. `first` names one of them."""
    by_name = {shape.name: shape for shape in shapes}
    sheets = _Sheets(by_name)
    waiting = _lines(by_name, first)
    while waiting:
        _fill(sheets, waiting)
        if waiting:
            sheets.turn_over()
    order = sorted(sheets.spots.items(), key=lambda item: (item[1].sheet, item[1].column, item[1].top))
    numbered = {name: replace(spot, number=at) for at, (name, spot) in enumerate(order, start=1)}
    return Layout(numbered, tuple(sheets.arrows), sheets.sheet + 1)


def _lines(shapes: Mapping[str, ChartBox], first: str) -> list[_LayoutLine]:
    """The main line, then the branches in the order in which they leave it, each followed by its own."""
    ahead = _ahead(shapes)
    taken: set[str] = set()

    def line(head: str, origin: str) -> Iterator[_LayoutLine]:
        names: list[str] = []
        name: str | None = head
        while name is not None:
            taken.add(name)
            names.append(name)
            free = [to for to in dict.fromkeys(shapes[name].ways) if to in shapes and to not in taken]
            name = max(free, key=lambda to: (not shapes[to].finds, ahead[to]), default=None)
        yield _LayoutLine(names, origin)
        for name in names:
            for to in dict.fromkeys(shapes[name].ways):
                if to in shapes and to not in taken:
                    yield from line(to, name)

    found = list(line(first, ""))
    for name in shapes:
        if name not in taken:
            found += line(name, "")
    return found


def _ahead(shapes: Mapping[str, ChartBox]) -> dict[str, int]:
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(shapes)
    graph.add_edges_from((name, to) for name, shape in shapes.items() for to in shape.ways if to in shapes)
    return {name: len(nx.descendants(graph, name)) for name in shapes}


def _fill(sheets: _Sheets, waiting: list[_LayoutLine]) -> None:
    """One sheet: the first line that waits down the left column, its branches beside it, the line's rest down what columns
    are still empty, then what else finds room whole."""
    rest = _down(sheets, waiting.pop(0), 0)
    for column in range(COLUMNS - 1):
        _beside(sheets, waiting, column)
        if rest is not None and sheets.ends[column + 1] == HEAD:
            rest = _down(sheets, rest, column + 1)
    if rest is not None:
        waiting.insert(0, rest)
    placed = True
    while placed and rest is None:
        placed = False
        for line in list(waiting):
            column = min(range(COLUMNS), key=lambda at: sheets.ends[at])
            top = _below(sheets, column) + ORIGIN
            if top + _length(sheets, line) <= BOTTOM:
                waiting.remove(line)
                _down(sheets, line, column)
                for beside in range(column, COLUMNS - 1):
                    _beside(sheets, waiting, beside)
                placed = True
                break


def _below(sheets: _Sheets, column: int) -> float:
    end = sheets.ends[column]
    return end if end == HEAD else end + GAP


def _length(sheets: _Sheets, line: _LayoutLine) -> float:
    return sum(sheets.shapes[name].height for name in line.names) + GAP * (len(line.names) - 1)


def _down(sheets: _Sheets, line: _LayoutLine, column: int) -> _LayoutLine | None:
    """The line from the end of the column on; what found no room. One box is always placed on an empty column."""
    top = _below(sheets, column) + (ORIGIN if line.origin else 0)
    for at, name in enumerate(line.names):
        height = sheets.shapes[name].height
        if at and top + height > BOTTOM:
            return _LayoutLine(line.names[at:], line.names[at - 1])
        _put(sheets, name, column, top, line.origin if at == 0 else "")
        if at:
            _straight(sheets, line.names[at - 1], name)
        top += height + GAP
    return None


def _put(sheets: _Sheets, name: str, column: int, top: float, from_: str) -> None:
    height = sheets.shapes[name].height
    sheets.spots[name] = Spot(sheets.sheet, column, top, height, 0, from_)
    sheets.ends[column] = top + height


def _straight(sheets: _Sheets, name: str, to: str) -> None:
    one, other = sheets.spots[name], sheets.spots[to]
    middle = (one.left + one.right) / 2
    way = sheets.shapes[name].ways.index(to)
    sheets.arrows.append(ChartArrow(name, way, to, ((middle, one.bottom), (middle, other.top))))


def _beside(sheets: _Sheets, waiting: list[_LayoutLine], column: int) -> None:
    """The branches of the boxes in `column`, in the next one, from the top down, as far as each finds room whole."""
    here = [name for name, spot in sheets.spots.items() if (spot.sheet, spot.column) == (sheets.sheet, column)]
    for name in sorted(here, key=lambda one: sheets.spots[one].top):
        for line in [one for one in waiting if one.origin == name]:
            way = sheets.shapes[name].ways.index(line.names[0])
            leaves = sheets.spots[name].top + sheets.shapes[name].rows[way]
            top = max(leaves - 14, _below(sheets, column + 1))
            lane = _lane(sheets, column, leaves, top + 14)
            if lane is None or top + _length(sheets, line) > BOTTOM:
                continue
            waiting.remove(line)
            sheets.ends[column + 1] = top - GAP
            _down(sheets, _LayoutLine(line.names, ""), column + 1)
            one, other = sheets.spots[name], sheets.spots[line.names[0]]
            x = one.right + GUTTER - 10 - LANE * lane
            enters = other.top + 14
            points = ((one.right, leaves), (x, leaves), (x, enters), (other.left, enters))
            straight = abs(enters - leaves) < 0.5
            sheets.arrows.append(ChartArrow(name, way, line.names[0], (points[0], points[-1]) if straight else points))
            sheets.lanes[column].append((leaves, enters, lane))


def _lane(sheets: _Sheets, column: int, leaves: float, enters: float) -> int | None:
    """0 is the furthest right. One more than any whose upright part this one's would overlap; None where none is free."""
    lane = max((taken + 1 for up, down, taken in sheets.lanes[column] if up <= enters and leaves <= down), default=0)
    return lane if lane < LANES else None
