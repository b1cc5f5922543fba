"""What a report and a grade look like in JSON."""

from typing import Annotated

from pydantic import ConfigDict, Field

from graftbook.catalogue.format.records_beside import OutcomeWord
from graftbook.document import Document
from graftbook.editing.schemas import RecordRow
from graftbook.http.fields import Day, Unsaid, Word
from graftbook.http.parameters import PageOut
from graftbook.http.values import GradeWord
from graftbook.questions.schemas import Body


class ReportIn(Body):
    """What a workshop found when it tried something on a vehicle."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "workshop": "North Road",
                    "outcome": "did not fit",
                    "chassis": "24PL-018412",
                    "component": "QB-3310",
                    "position": "brake.front.left",
                    "measured": ["master_bore 22.2 mm"],
                    "note": "the backing plate fouls the arm",
                }
            ],
        }
    )

    workshop: Word = Field(description="who reports: the workshop")
    outcome: OutcomeWord = Field(description="`fitted after work`: more work than the record says")
    on: Day | None = Field(None, description="the day; empty: today")
    chassis: Unsaid[Word] = Field(None, description="chassis number of the vehicle")
    build: Unsaid[Word] = Field(None, description="the stored build: gives chassis number and options")
    component: Unsaid[Word] = Field(None, description="what was fitted")
    position: Unsaid[Word] = Field(None, description="where; may be left out where it goes in one place only")
    claim: Unsaid[Word] = Field(None, description="or the fitment, substitute or companion by its name")
    built: Day | None = None
    options: Annotated[list[Word], Field(max_length=100)] = Field([], description="options of the vehicle")
    measured: Annotated[list[Word], Field(max_length=50)] = Field([], description="kinds with values")
    note: Annotated[str, Field(max_length=2000)] = ""


class TalliedOut(Document):
    """The reports by what came of them, as they were sent, and how many workshops sent them."""

    fitted: Annotated[int, Field(description="reports that it fitted")]
    fitted_after_work: int
    did_not_fit: int
    workshops: int


class SuggestionOut(Document):
    """A break that the failures propose; nobody has changed the record yet."""

    field: Annotated[str, Field(description="`chassis_from` or `chassis_to` of the record")]
    value: Annotated[str, Field(description="the chassis number that it would get")]
    p: Annotated[float, Field(description="the chance of so clear a split if the number did not matter")]
    sentence: str


class OpposedOut(Document):
    """A record that says otherwise of the same thing."""

    claim: str
    says: str
    this_says: str


class GradeOut(Document):
    """How a claim stands."""

    claim: str
    kind: str
    grade: GradeWord
    sources: Annotated[GradeWord, Field(description="what its sources alone are worth")]
    holds_for_at_least: Annotated[float, Field(description="share of vehicles, with nine chances in ten")]
    reports: TalliedOut
    counted_held: Annotated[float, Field(description="vehicles for it, those of one workshop discounted")]
    counted_failed: float
    contradicted: bool
    lowered: Annotated[bool, Field(description="worth less than its sources promise")]
    sentence: str
    suggestion: SuggestionOut | None
    opposed_by: list[OpposedOut]


class BearingOut(GradeOut):
    """A claim that a report bears on."""

    was: Annotated[GradeWord, Field(description="its grade without this report")]


class ReportOut(Document):
    """A report of a workshop."""

    name: str
    report: Annotated[RecordRow, Field(description="the record, without empty fields")]


class ReportedOut(ReportOut):
    """A report that was taken in."""

    catalogue_revision: int
    bears_on: Annotated[list[BearingOut], Field(description="empty: no record says that it fits there")]


class ReportsOut(PageOut):
    """A page of reports, the newest first."""

    items: list[ReportOut]


class GradesOut(PageOut):
    """How claims stand, those in doubt first."""

    items: list[GradeOut]
