"""Plots of time against size as SVG: points joined by lines, both axes in powers of ten."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import escape

WIDTH, HEIGHT = 760, 460
LEFT, RIGHT, TOP, BOTTOM = 78, 210, 44, 56
COLOURS = ("#0b5c8a", "#b3401f", "#3d7a2c", "#7a3d99", "#8a6d00", "#4d4d4d", "#00787a", "#a8326e")
"""Dark enough on white to be told apart; each series has a mark of its own besides."""

Point = tuple[float, float]


@dataclass
class Plot:
    """Series of (size, time) by name; what is not above zero is left out."""

    title: str
    size: str
    time: str
    series: dict[str, list[Point]] = field(default_factory=dict)

    def add(self, name: str, size: float, time: float) -> None:
        """One more point of a series."""
        if size > 0 and time > 0:
            self.series.setdefault(name, []).append((size, time))


@dataclass(frozen=True)
class _Axis:
    """From values between `low` and `high` to pixels between `start` and `end`, by logarithm."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        span = math.log10(self.high) - math.log10(self.low)
        part = (math.log10(value) - math.log10(self.low)) / span
        return self.start + part * (self.end - self.start)

    def ticks(self) -> Iterator[float]:
        """Ones; twos and fives where few powers of ten are in sight, and all where hardly one is."""
        decades = math.log10(self.high / self.low)
        firsts = (1,) if decades > 3 else (1, 2, 5) if decades > 0.8 else range(1, 10)
        for power in range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1):
            for first in firsts:
                value = first * 10.0**power
                if self.low <= value * 1.0001 and value <= self.high * 1.0001:
                    yield value


def svg(plot: Plot) -> str:
    """The plot as one SVG document that stands by itself."""
    return "\n".join(_lines(plot)) + "\n"


def _lines(plot: Plot) -> Iterator[str]:
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
        f'height="{HEIGHT}" font-family="sans-serif" font-size="13" role="img">'
    )
    yield f"<title>{escape(plot.title)}</title>"
    yield f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>'
    yield f'<text x="{LEFT}" y="24" font-size="16" font-weight="bold">{escape(plot.title)}</text>'
    points = [point for series in plot.series.values() for point in series]
    if points:
        across = _axis([size for size, _ in points], LEFT, WIDTH - RIGHT)
        up = _axis([time for _, time in points], HEIGHT - BOTTOM, TOP)
        yield from _grid(plot, across, up)
        yield from _legend(plot)
        for number, (name, series) in enumerate(plot.series.items()):
            yield from _series(number, name, sorted(series), across, up)
    yield "</svg>"


def _axis(values: list[float], start: float, end: float) -> _Axis:
    """With room of a tenth of a power of ten at both ends."""
    return _Axis(min(values) / 1.26, max(values) * 1.26, start, end)


def _grid(plot: Plot, across: _Axis, up: _Axis) -> Iterator[str]:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    for value in across.ticks():
        x = across.at(value)
        yield f'<path d="M{x:.1f} {TOP}V{bottom}" stroke="#ddd"/>'
        yield f'<text x="{x:.1f}" y="{bottom + 18}" text-anchor="middle">{_told(value)}</text>'
    for value in up.ticks():
        y = up.at(value)
        yield f'<path d="M{LEFT} {y:.1f}H{right}" stroke="#ddd"/>'
        yield f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{_told(value)}</text>'
    yield f'<path d="M{LEFT} {TOP}V{bottom}H{right}" fill="none" stroke="#333"/>'
    yield f'<text x="{(LEFT + right) / 2}" y="{HEIGHT - 12}" text-anchor="middle">{escape(plot.size)}</text>'
    middle = (TOP + bottom) / 2
    turned = f'transform="translate(20 {middle}) rotate(-90)" text-anchor="middle"'
    yield f"<text {turned}>{escape(plot.time)}</text>"


def _series(number: int, name: str, series: list[Point], across: _Axis, up: _Axis) -> Iterator[str]:
    colour = COLOURS[number % len(COLOURS)]
    places = [(across.at(size), up.at(time)) for size, time in series]
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
    yield f'<path d="M{path}" fill="none" stroke="{colour}" stroke-width="1.5"/>'
    for (x, y), (size, time) in zip(places, series, strict=True):
        told = escape(f"{name}: {_told(size)}, {_told(time)}")
        yield f"<g><title>{told}</title>{_mark(number, x, y, colour)}</g>"


def _mark(number: int, x: float, y: float, colour: str) -> str:
    """A disc, a square, a triangle or a diamond; the second four are hollow."""
    shape = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4"',
        f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8"',
        f'<path d="M{x:.1f} {y - 5:.1f}l5 9h-10z"',
        f'<path d="M{x:.1f} {y - 5.5:.1f}l5.5 5.5l-5.5 5.5l-5.5 -5.5z"',
    )[number % 4]
    fill = colour if number < 4 else "#fff"
    return f'{shape} fill="{fill}" stroke="{colour}" stroke-width="1.5"/>'


def _legend(plot: Plot) -> Iterator[str]:
    """The names at the right, the series that ends highest first."""
    last = [(max(series)[1], number, name) for number, (name, series) in enumerate(plot.series.items())]
    for row, (_, number, name) in enumerate(sorted(last, reverse=True)):
        y = TOP + 12 + row * 22
        x = WIDTH - RIGHT + 20
        yield _mark(number, x, y, COLOURS[number % len(COLOURS)])
        yield f'<text x="{x + 12}" y="{y + 4}">{escape(name)}</text>'


def _told(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
