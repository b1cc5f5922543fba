"""What a drawing of a vehicle is made of: the outlines of a range, and where each position is on them."""

import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from graftbook.catalogue.format.fields import Name, Names, Record, Texts, YesNo

WIDEST = 1000
"""Drawings are made on a field of so many units each way; the front is at the left."""
_POINT = re.compile(r"^(\d{1,4}) (\d{1,4})$")

View = Literal["side", "plan"]
Unit = Annotated[int, Field(ge=0, le=WIDEST)]


class NotAPoint(ValueError):
    """The text is no point of a drawing."""


class OutlineRecord(Record):
    """One line of a range's drawing, seen from its left side or from above."""

    kind_of_record = "outline"
    name: Name = Field(description="short name")
    range: Name = Field(description="the range that looks so")
    view: View = Field(description="from its left side, or from above")
    points: Texts = Field(
        description=f"points in their order, `x y` each, in whole units from 0 to {WIDEST}: `40 370; 60 250`",
        min_length=2,
    )
    closed: YesNo = Field(True, description="the last point goes back to the first: a shape")
    bodies: Names = Field([], description="body styles that look so; empty: all")


class MarkRecord(Record):
    """Where a position is on a range's drawing."""

    kind_of_record = "mark"
    position: Name = Field(description="the position that is shown here")
    range: Name = Field(description="the range whose drawing it is on")
    view: View = Field(description="from its left side, or from above")
    x: Unit = Field(description="from the front")
    y: Unit = Field(description="from the top; in plan from the right side of the vehicle")


def read_point(text: str) -> tuple[int, int]:
    """The units of `40 370`. Raises NotAPoint."""
    match = _POINT.match(text)
    x, y = (int(part) for part in match.groups()) if match else (-1, -1)
    if not match or max(x, y) > WIDEST:
        raise NotAPoint(f"'{text[:40]}' is no point: two whole numbers from 0 to {WIDEST}, such as `40 370`")
    return x, y


def drawing_findings(record: OutlineRecord) -> Iterator[tuple[str, str]]:
    """Every mistake that an outline shows by itself, as (field, what is wrong)."""
    try:
        different = {read_point(text) for text in record.points}
    except NotAPoint as wrong:
        yield "points", str(wrong)
        return
    if len(different) < 2 + record.closed:
        yield (
            "points",
            f"{'a shape has three' if record.closed else 'a line has two'} different points or more",
        )
