"""What is asked and answered about a part that nobody knows yet."""

from typing import Annotated

from pydantic import ConfigDict, Field

from graftbook.document import Document
from graftbook.http.fields import Word
from graftbook.questions.schemas import Body, VehicleIn

MOST_MEASURES = 20
MOST_CANDIDATES = 50


class MeasureIn(Body):
    """One measure of the part."""

    kind: Word = Field(description="kind of characteristic", examples=["bolt_circle"])
    value: Word = Field(description="with its unit, as the catalogue writes it", examples=["134 mm"])
    within: Word | None = Field(
        None,
        description="how far it may be off; else half of the last digit written, and nothing for a count",
        examples=["0.5 mm"],
    )


class PartMeasuredIn(Body):
    """What was measured, and the vehicle or the position that it is for."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "vehicle": {"chassis": "24PL-018412"},
                    "measured": [
                        {"kind": "bolt_circle", "value": "134 mm", "within": "0.5 mm"},
                        {"kind": "bolt_count", "value": "5"},
                    ],
                }
            ]
        }
    )

    measured: Annotated[list[MeasureIn], Field(max_length=MOST_MEASURES)] = Field(
        [], description="its measures"
    )
    vehicle: VehicleIn | None = Field(None, description="where it may serve is told for this vehicle")
    position: Word | None = Field(
        None, description="what any part there must have; needs a vehicle", examples=["wheel.road"]
    )


class ReadOut(Document):
    """A measure as it was understood."""

    kind: str
    title: str
    value: str
    within: Annotated[str, Field(description="how far it is taken to be off; empty for words and counts")]


class AgreesOut(Document):
    """A recorded figure that the measure may be."""

    kind: str
    title: str
    recorded: str


class CandidateOut(Document):
    """A component that the part may be."""

    number: str
    name: str
    section: str
    agrees: list[AgreesOut]
    not_recorded: Annotated[
        list[str], Field(description="kinds that were measured and are not recorded of it")
    ]
    fits: Annotated[
        bool | None, Field(description="whether a record fits it to the vehicle; null without one")
    ]


class AskedOut(Document):
    """What a joint asks of the part at a position."""

    joint: str
    kind: str
    title: str
    asks: Annotated[
        str, Field(description="in words, such as 'equal to 134 mm'; empty where it is not recorded")
    ]
    because: Annotated[str, Field(description="what sits on the other side today")]
    reason: str


class ServingPlaceOut(Document):
    """A position where it may serve."""

    position: str
    title: str
    today: str | None
    met: list[AskedOut]
    open: Annotated[list[AskedOut], Field(description="not measured, or not recorded on the other side")]


class GroupOut(Document):
    """The candidates with one value."""

    value: str
    numbers: list[str]


class NextOut(Document):
    """A measure that tells candidates apart."""

    kind: str
    title: str
    groups: list[GroupOut]
    without: Annotated[list[str], Field(description="candidates of which it is not recorded")]
    left: Annotated[float, Field(description="candidates that stay on average once it is measured")]


class MeasuredOut(Document):
    """What the part could be and where it could serve."""

    read: list[ReadOut]
    sentence: str
    could_be: list[CandidateOut]
    more: Annotated[int, Field(description="further candidates that are not listed")]
    measure_next: list[NextOut]
    places: Annotated[list[ServingPlaceOut], Field(description="empty without a vehicle")]
    position: ServingPlaceOut | None
    cautions: list[str]
    catalogue_revision: int
