"""A drawing of reasons in layers: wishes at the left, what they bring to the right of them.

Nodes get a column by how far they are from a wish and a row that keeps lines short: each column is
ordered by where the reasons of its nodes stand, back and forth a few times (the barycentre method of
layered drawings), then spread so that nothing overlaps. Same input, same drawing.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 196, 44
"""Of a box, in pixels."""
ACROSS, DOWN = 92, 12
"""Between columns and between rows."""
MARGIN = 16
_OUT = ACROSS * 0.55
"""How far the handles of a line that bends round stand out."""
SWEEPS = 6
MOST_ROWS = 16
"""So many boxes stand in a column: what is taller than a screen cannot be read at once."""


@dataclass(frozen=True, slots=True)
class Box:
    """One node and where its upper left corner is."""

    name: str
    column: int
    x: float
    y: float

    @property
    def left(self) -> tuple[float, float]:
        """Where reasons come in."""
        return self.x, self.y + HEIGHT / 2

    @property
    def right(self) -> tuple[float, float]:
        """Where what it brings goes out."""
        return self.x + WIDTH, self.y + HEIGHT / 2


@dataclass(frozen=True, slots=True)
class ReasonLine:
    """A reason: from `start` to `end`, as an SVG path. `first` is the reason told first."""

    start: str
    end: str
    path: str
    first: bool


@dataclass(frozen=True, slots=True)
class ReasonsDrawing:
    boxes: tuple[Box, ...]
    lines: tuple[ReasonLine, ...]
    width: int
    height: int


def draw(columns: Mapping[str, int], reasons: Iterable[tuple[str, str, bool]]) -> ReasonsDrawing:
    """Lay out nodes.

    `columns`: node → column from 0; `reasons`: (from, to, whether it is the first reason). A reason
    whose ends are not both nodes is left out.
    """
    known = [reason for reason in reasons if reason[0] in columns and reason[1] in columns]
    order = _split(_columns_in_order(columns, known))
    boxes = _boxes_of(order, known)
    lines = [ReasonLine(a, b, _path(boxes[a], boxes[b]), first) for a, b, first in known if a != b]
    right = [box.x + WIDTH for box in boxes.values()] or [0]
    bulges = [_reach(boxes[a], boxes[b]) for a, b, _ in known if a != b]
    width = max(*right, *bulges, MARGIN) + MARGIN
    height = max((box.y + HEIGHT for box in boxes.values()), default=0) + MARGIN
    return ReasonsDrawing(tuple(boxes.values()), tuple(lines), int(width), int(height))


def _columns_in_order(
    columns: Mapping[str, int], reasons: Sequence[tuple[str, str, bool]]
) -> list[list[str]]:
    """The nodes of each column from top to bottom."""
    order: list[list[str]] = [[] for _ in range(max(columns.values(), default=-1) + 1)]
    for name, at in columns.items():
        order[at].append(name)
    beside: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for a, b, first in reasons:
        weight = 3 if first else 1
        beside[a].append((b, weight))
        beside[b].append((a, weight))
    for sweep in range(SWEEPS):
        forward = sweep % 2 == 0
        rows = {name: row / max(1, len(some)) for some in order for row, name in enumerate(some)}
        for column in order if forward else reversed(order):
            towards = {name: _pull(name, beside[name], columns, rows, forward) for name in column}
            column.sort(key=lambda name: towards[name])
            rows |= {name: row / max(1, len(column)) for row, name in enumerate(column)}
    return order


def _split(order: Sequence[Sequence[str]]) -> list[list[str]]:
    """Columns of at most `MOST_ROWS`: a longer one becomes several side by side."""
    split: list[list[str]] = []
    for column in order:
        parts = -(-len(column) // MOST_ROWS)
        rows = -(-len(column) // max(1, parts))
        split += [list(column[start : start + rows]) for start in range(0, len(column), max(1, rows))]
    return split


def _pull(
    name: str,
    beside: Sequence[tuple[str, int]],
    columns: Mapping[str, int],
    rows: Mapping[str, float],
    forward: bool,
) -> float:
    """Where the neighbours on the side that is settled already stand, on the average."""
    settled = [
        (rows[other], weight)
        for other, weight in beside
        if (columns[other] < columns[name] if forward else columns[other] > columns[name])
    ]
    if not settled:
        return rows[name]
    return sum(row * weight for row, weight in settled) / sum(weight for _, weight in settled)


def _boxes_of(order: Sequence[Sequence[str]], reasons: Sequence[tuple[str, str, bool]]) -> dict[str, Box]:
    """Boxes with their corners: each as level with its reasons as its neighbours in the column let it."""
    before = defaultdict(list)
    for a, b, first in reasons:
        if first:
            before[b].append(a)
    step = HEIGHT + DOWN
    tops: dict[str, float] = {}
    for column in order:
        wanted = [
            _mean([tops[a] for a in before[name] if a in tops], row * step) for row, name in enumerate(column)
        ]
        for name, top in zip(column, _spread(wanted, step), strict=True):
            tops[name] = top
    shift = MARGIN - min(tops.values(), default=0)
    return {
        name: Box(name, number, MARGIN + number * (WIDTH + ACROSS), tops[name] + shift)
        for number, column in enumerate(order)
        for name in column
    }


def _mean(values: Sequence[float], otherwise: float) -> float:
    return sum(values) / len(values) if values else otherwise


def _spread(wanted: Sequence[float], step: float) -> list[float]:
    """Rows at least a step apart, in the order given, as near to where they want to be as can be.

    Least squares under an order: blocks that would overlap are merged and share their mean (the pool
    adjacent violators algorithm).
    """
    blocks: list[list[float]] = []
    for place, value in enumerate(wanted):
        blocks.append([value - place * step, 1])
        while len(blocks) > 1 and blocks[-2][0] >= blocks[-1][0]:
            mean, count = blocks.pop()
            blocks[-1] = [
                (blocks[-1][0] * blocks[-1][1] + mean * count) / (blocks[-1][1] + count),
                blocks[-1][1] + count,
            ]
    settled = [mean for mean, count in blocks for _ in range(int(count))]
    return [value + place * step for place, value in enumerate(settled)]


def _reach(a: Box, b: Box) -> float:
    """How far right a line goes: of one that bends round, three quarters of the way to its handles."""
    return max(a.right[0], b.right[0]) + (0 if b.column > a.column else _OUT * 0.75)


def _path(a: Box, b: Box) -> str:
    """A line from a box to another; one that goes back or stays in its column bends round the right."""
    if b.column > a.column:
        (x, y), (to_x, to_y) = a.right, b.left
        bend = min(ACROSS * 0.7, (to_x - x) / 2)
        return f"M{x:.0f} {y:.0f}C{x + bend:.0f} {y:.0f} {to_x - bend:.0f} {to_y:.0f} {to_x:.0f} {to_y:.0f}"
    (x, y), (to_x, to_y) = a.right, b.right
    out = max(x, to_x) + _OUT
    return f"M{x:.0f} {y:.0f}C{out:.0f} {y:.0f} {out:.0f} {to_y:.0f} {to_x:.0f} {to_y:.0f}"
