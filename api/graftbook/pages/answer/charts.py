"""Charts of the arithmetic, before and after, as shapes that a template writes as SVG."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from graftbook.checks.curves import CRUISE_PART, Balance, Charging, Curves, Gearing, curves
from graftbook.pages.measures import Units, read_in, worked_out
from graftbook.pages.words import figure
from graftbook.questions.closures.schemas import SetOut
from graftbook.questions.reading import Asked

Chart = dict[str, Any]
"""The shapes and words of one chart; `kind` says which part of the template writes it."""

WIDTH, HEIGHT = 460, 250
LEFT, RIGHT, TOP, BOTTOM = 52, 14, 14, 40
ROW = 42


def charts_of(asked: Asked, found: SetOut, units: Units) -> Iterator[Chart]:
    """The charts of a set, worked out where the page comes to them; what is not recorded has none."""
    stays = {place["position"]: place["component"] for place in found["stays"]}
    today = stays | {change["position"]: change["replaces"] for change in found["changes"]}
    after = stays | {change["position"]: change["component"] for change in found["changes"]}
    yield from drawn(curves(asked.book, asked.question.vehicle, today, after), units)


def drawn(found: Curves, units: Units = Units.recorded) -> list[Chart]:
    """Every chart that has something to show."""
    charts = [_balance(balance) for balance in found.balance if balance.before or balance.after]
    charts += [_gearing(found.gearing, units)] if found.gearing.gears else []
    charts += [_charging(found.charging)] if found.charging.gives_after or found.charging.gives_before else []
    return charts


def _scale(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    return lambda value: round(start + (value - low) / (high - low) * (end - start), 1)


def _line(points: Sequence[tuple[float, float]], x: Callable[..., float], y: Callable[..., float]) -> str:
    return "M" + "L".join(f"{x(a):g} {y(b):g}" for a, b in points)


def _balance(balance: Balance) -> Chart:
    """Front share over the braking rate, the ideal curve, and the region where the rear locks first."""
    every = [share for points in (balance.ideal, balance.before, balance.after) for _, share in points or ()]
    low, high = min(0.4, *every) - 0.02, max(0.9, *every) + 0.02
    first, last = balance.ideal[0][0], balance.ideal[-1][0]
    x = _scale(first, last, LEFT, WIDTH - RIGHT)
    y = _scale(low, high, HEIGHT - BOTTOM, TOP)
    lines = [("ideal", "ideal: both axles use the same grip", balance.ideal)]
    lines += [("before", "today", balance.before)] if balance.before else []
    lines += [("after", "with this set", balance.after)] if balance.after else []
    area = _line(balance.ideal, x, y) + f"L{x(last):g} {y(low):g}L{x(first):g} {y(low):g}Z"
    at = next((share for rate, share in balance.after or () if rate >= 0.8), None)
    ideal = next(share for rate, share in balance.ideal if rate >= 0.8)
    sentence = f"At 0.8 g the ideal front share is {ideal:.2f}"
    return {
        "kind": "lines",
        "title": f"Brake balance, {balance.state}",
        "told": f"{sentence}, this set has {at:.2f}." if at is not None else f"{sentence}.",
        "width": WIDTH,
        "height": HEIGHT,
        "area": area,
        "area_words": "here the rear locks first",
        "area_at": (WIDTH - RIGHT - 8, HEIGHT - BOTTOM - 8),
        "lines": [{"style": style, "words": words, "path": _line(p, x, y)} for style, words, p in lines],
        "x_ticks": [{"at": x(rate), "words": f"{rate:g} g"} for rate in (0.2, 0.4, 0.6, 0.8)],
        "y_ticks": [
            {"at": y(share), "words": f"{share:.0%}"}
            for share in (0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
            if low <= share <= high
        ],
        "x_words": "deceleration",
        "base": HEIGHT - BOTTOM,
        "left": LEFT,
        "right": WIDTH - RIGHT,
        "top": TOP,
    }


def _bars(
    title: str,
    told: str,
    rows: Sequence[tuple[str, float | None, float | None]],
    marks: Sequence[tuple[str, str, float]],
    unit: str,
) -> Chart:
    """Pairs of bars, today and with the set, and upright lines for the limits."""
    values = [value for _, *two in rows for value in two if value is not None]
    most = max([*values, *(at for _, _, at in marks), 1.0]) * 1.06
    x = _scale(0, most, LEFT + 88, WIDTH - RIGHT)
    height = TOP + len(rows) * ROW + 16 * (1 + len(marks)) + 12
    base = TOP + len(rows) * ROW
    return {
        "kind": "bars",
        "title": title,
        "told": told,
        "width": WIDTH,
        "height": height,
        "start": x(0),
        "base": base,
        "rows": [
            {
                "name": name,
                "y": TOP + place * ROW,
                "before": None if before is None else x(before) - x(0),
                "after": None if after is None else x(after) - x(0),
                "words": f"{figure(before)} → {figure(after)} {unit}"
                if before != after
                else f"{figure(after)} {unit}",
            }
            for place, (name, before, after) in enumerate(rows)
        ],
        "marks": [
            {
                "style": style,
                "words": words,
                "at": x(at),
                "y": base + 16 * (place + 1),
                "side": "end" if x(at) > WIDTH / 2 else "start",
            }
            for place, (style, words, at) in enumerate(marks)
        ],
        "top": TOP,
    }


def _gearing(gearing: Gearing, units: Units) -> Chart:
    unit = read_in(None, "km/h", units)[1]

    def own(speed: float | None) -> float | None:
        return read_in(speed, "km/h", units)[0]

    def told_of(speed: float) -> str:
        return worked_out((round(speed),), "km/h", units)

    rows = [(gear.name, own(gear.before), own(gear.after)) for gear in gearing.gears]
    top = gearing.gears[-1].after
    marks = []
    if gearing.cruise:
        marks.append(("limit", f"cruising at {told_of(gearing.cruise)}", own(gearing.cruise) or 0.0))
    if top is not None:
        calm = top * CRUISE_PART
        label = f"{CRUISE_PART:.0%} of the rated speed in top, {told_of(calm)}"
        marks.append(("usable", label, own(calm) or 0.0))
    reaches = "not known" if top is None else told_of(top)
    sentence = f"At the engine's rated speed; in top it then runs {reaches}."
    return _bars("Road speed in each gear", sentence, rows, marks, unit)


def _charging(charging: Charging) -> Chart:
    rows = [(load.condition, load.before, load.after) for load in charging.loads]
    marks = []
    gives = charging.gives_after
    if gives is not None:
        marks.append(("limit", f"the machine gives {gives:.0f} A", gives))
        marks.append(("usable", f"{charging.usable:.0%} of it, for long", gives * charging.usable))
    if charging.gives_before is not None and charging.gives_before != gives:
        marks.append(("before", f"today it gives {charging.gives_before:.0f} A", charging.gives_before))
    worst = charging.loads[-1].after
    caption = (
        "What is drawn for long is not recorded." if worst is None else f"At worst {worst:.0f} A are drawn."
    )
    return _bars("Current drawn", caption, rows, marks, "A")
