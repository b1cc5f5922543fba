"""An answer on a drawing of the vehicle: a mark for each place: what changes, what stays, what is wrong."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from textwrap import shorten
from typing import TypedDict

from graftbook.catalogue.store.drawing import Mark, Outline, Point, marks_of, outlines_of
from graftbook.database import reading
from graftbook.pages.words import SEVERITIES
from graftbook.process.state import Service
from graftbook.questions.closures.schemas import ChangeOut, FlawNoteOut, SetOut
from graftbook.rulebook.model import Variant

VIEWS = (
    ("side", "From the left side, the front at the left"),
    ("plan", "From above, the front at the left, the vehicle's right side at the top"),
)
MARGIN = 12
AROUND = 44
"""Units shown around the marks of a section, so that one sees where it is."""
NARROWEST = 260
LONGEST_WORDS = 48
"""Letters of a flaw's symptom; where the mark leads it stands whole."""
LEAST_SCALE = 0.97
"""Pixels of a unit: marks are 25 units apart, and what is to be hit has 24 pixels to itself."""
Box = tuple[int, int, int, int]
"""Left, top, right, bottom."""


class MarkWords(TypedDict):
    """What a mark says: its kind, the worst flaw left or brought, where it leads, its words."""

    kind: str
    flaw: str
    to: str
    words: str
    line: int | None
    section: str


class DrawnMark(MarkWords):
    """A mark and where it is."""

    position: str
    x: int
    y: int


class View(TypedDict):
    """One view: its lines as SVG paths, the part looked at, how many pixels wide at least, its marks."""

    name: str
    title: str
    box: str
    width: int
    paths: list[tuple[str, bool]]
    marks: list[DrawnMark]


class Drawing(TypedDict):
    """The views of a vehicle; `sections` are those with marks, `look` the one looked at, or nothing."""

    views: list[View]
    sections: list[str]
    look: str


def drawing_of(
    service: Service, variant: Variant, told: Mapping[str, MarkWords], look: str
) -> Drawing | None:
    """The drawing with what is told of each position; None when the range has no outline."""
    with reading(service.engine) as session:
        connection = session.connection()
        outlines = outlines_of(connection, variant.range, variant.body)
        marks = marks_of(connection, variant.range) if outlines else []
    return drawn(outlines, marks, told, look) if outlines else None


def drawn(
    outlines: Sequence[Outline], marks: Iterable[Mark], told: Mapping[str, MarkWords], look: str
) -> Drawing:
    """The views; a place of which nothing is told is empty and has no mark."""
    placed: dict[str, list[DrawnMark]] = defaultdict(list)
    for mark in marks:
        if place := told.get(mark.position):
            x, y = mark.at
            placed[mark.view].append({**place, "position": mark.position, "x": x, "y": y})
    sections = {mark["section"] for some in placed.values() for mark in some}
    look = look if look in sections else ""
    views = [_view(name, title, outlines, placed[name], look) for name, title in VIEWS]
    return {
        "views": [view for view in views if view["paths"] and (view["marks"] or not look)],
        "sections": list(
            dict.fromkeys(place["section"] for place in told.values() if place["section"] in sections)
        ),
        "look": look,
    }


def _view(name: str, title: str, outlines: Iterable[Outline], marks: Sequence[DrawnMark], look: str) -> View:
    lines = [outline for outline in outlines if outline.view == name]
    shown = [mark for mark in marks if look in ("", mark["section"])]
    box = _around([point for line in lines for point in line.points], MARGIN)
    if look:
        box = _within(_around([(mark["x"], mark["y"]) for mark in shown], AROUND), box)
    left, top, right, bottom = box
    return {
        "name": name,
        "title": title,
        "box": f"{left} {top} {right - left} {bottom - top}",
        "width": round((right - left) * LEAST_SCALE),
        "paths": [(_path(line), line.closed) for line in lines],
        "marks": shown,
    }


def _path(line: Outline) -> str:
    points = " ".join(f"{x} {y}" for x, y in line.points)
    return f"M{points}{'Z' if line.closed else ''}"


def _around(points: Sequence[Point], by: int) -> Box:
    across = [x for x, _ in points] or [0]
    down = [y for _, y in points] or [0]
    return min(across) - by, min(down) - by, max(across) + by, max(down) + by


def _within(box: Box, whole: Box) -> Box:
    """The part of the whole, widened until it is wide enough to know where one is."""
    left, top, right, bottom = box
    wider = max(0, NARROWEST - (right - left)) // 2
    return (
        max(whole[0], left - wider),
        max(whole[1], top),
        min(whole[2], right + wider),
        min(whole[3], bottom),
    )


def told_of(
    found: SetOut,
    lines: Mapping[str, int],
    flaw_ids: Mapping[tuple[str, str], str],
    stay_ids: Mapping[str, str],
) -> dict[str, MarkWords]:
    """Position → what its mark says. `flaw_ids`: (flaw, position) → where on the page the flaw is told;
    `stay_ids`: position → where what stays is told."""
    wrong: dict[str, list[FlawNoteOut]] = defaultdict(list)
    for flaw in [*found["flaws_brought"], *found["flaws_left"]]:
        wrong[flaw["position"]].append(flaw)
    for flaws in wrong.values():
        flaws.sort(key=lambda flaw: SEVERITIES.index(flaw["severity"]))
    places: dict[str, MarkWords] = {}
    for change in found["changes"]:
        line = lines[change["position"]]
        places[change["position"]] = {
            "kind": "changed" if change["component"] else "off",
            "flaw": _worst(wrong[change["position"]]),
            "to": f"line-{line}",
            "words": _change_words(change, line) + _flaw_words(wrong[change["position"]]),
            "line": line,
            "section": change["section"],
        }
    for place in found["stays"]:
        flaws = wrong[place["position"]]
        places[place["position"]] = {
            "kind": "stays",
            "flaw": _worst(flaws),
            "to": flaw_ids[flaws[0]["flaw"], place["position"]] if flaws else stay_ids[place["position"]],
            "words": f"{place['position_title']}: {place['component']} stays" + _flaw_words(flaws),
            "line": None,
            "section": place["section"],
        }
    return places


def _worst(flaws: Sequence[FlawNoteOut]) -> str:
    return flaws[0]["severity"] if flaws else ""


def _change_words(change: ChangeOut, line: int) -> str:
    what = f"{change['component']} comes in" if change["component"] else f"{change['replaces']} comes off"
    return f"{change['position_title']}: {what}, line {line}"


def _flaw_words(flaws: Sequence[FlawNoteOut]) -> str:
    if not flaws:
        return ""
    more = f" and {len(flaws) - 1} more" if len(flaws) > 1 else ""
    return f"; {flaws[0]['severity']} flaw: {_shortened(flaws[0]['symptom'])}{more}"


@lru_cache(maxsize=4096)
def _shortened(symptom: str) -> str:
    return shorten(symptom, LONGEST_WORDS, placeholder=" …")
