"""The kind of record that says what a workshop found when it tried something on a vehicle."""

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from graftbook.catalogue.format.fields import (
    NAME_PATTERN,
    Chassis,
    Name,
    Names,
    OptionalName,
    Record,
    Text,
    Texts,
    clean,
)

OutcomeWord = Literal["fitted", "fitted after work", "did not fit"]
ClaimName = Annotated[
    str, BeforeValidator(clean), StringConstraints(pattern=rf"^$|{NAME_PATTERN.replace('119', '299')}")
]


class NotMeasured(ValueError):
    """The text is no measured characteristic."""


class ReportRecord(Record):
    """What one workshop found on one vehicle, about a component at a position or a record by its name."""

    kind_of_record = "report"
    name: OptionalName = Field("", description="empty: `workshop day chassis number, what was tried`")
    outcome: OutcomeWord = Field(
        description="`fitted after work`: something had to be made, cut or bent that it should not need"
    )
    workshop: Name = Field(description="who found it")
    on: date = Field(description="the day")
    chassis: Chassis = Field(description="chassis number of the vehicle that it was tried on")
    component: OptionalName = Field("", description="what was fitted, with `position`; or `claim` instead")
    position: OptionalName = Field("", description="where it was fitted")
    claim: ClaimName = Field("", description="the fitment, substitute or companion that it is about, by name")
    built: date | None = Field(None, description="day built, where it is known better than by the number")
    options: Names = Field([], description="the vehicle's options, where what is tried depends on them")
    measured: Texts = Field([], description="what was measured, with units: `master_bore 22.2 mm`")
    build: OptionalName = Field("", description="the build that it comes from")
    note: Text = Field("", description="anything worth knowing")


def read_measured(text: str) -> tuple[str, str]:
    """The parts of `master_bore 22.2 mm`: kind and value. Raises NotMeasured."""
    kind, _, value = text.partition(" ")
    if not value.strip():
        raise NotMeasured(f"'{text[:60]}' is no kind with a value, such as `master_bore 22.2 mm`")
    return kind, value.strip()


def report_findings(record: ReportRecord) -> Iterator[tuple[str, str]]:
    """Every mistake that a report shows by itself, as (field, what is wrong)."""
    if record.claim and (record.component or record.position):
        yield "claim", "a report is about a component at a position or about a record: give one of the two"
    elif not (record.claim or record.component or record.position):
        yield "component", "say what was tried: a component and its position, or the name of a record"
    elif record.component and not record.position:
        yield "position", f"say where {record.component} was tried"
    elif record.position and not record.component:
        yield "component", f"say what was tried at {record.position}"
    if record.built and record.on < record.built:
        yield "on", f"that is before the vehicle was built, {record.built}"
    for text in record.measured:
        try:
            read_measured(text)
        except NotMeasured as wrong:
            yield "measured", str(wrong)
