"""What proposals look like in JSON."""

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, StringConstraints

from graftbook.catalogue.format.records import KindWord
from graftbook.catalogue.history.changes import WhatWord
from graftbook.document import Document, MomentOut
from graftbook.editing.schemas import RecordRow
from graftbook.http.fields import Word
from graftbook.http.parameters import PageOut
from graftbook.questions.schemas import Body

MOST_CHANGES = 1_000
"""Records that one proposal may change."""
LONGEST_WHY = 500
MOST_AT_ONCE = 100

StateWord = Literal["open", "accepted", "refused", "withdrawn"]
SourceWord = Literal["person", "import", "report", "suggestion"]
Sentence = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True, min_length=1, max_length=LONGEST_WHY, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$"
    ),
]
Number = Annotated[int, Field(ge=1, le=2_000_000_000)]


class RecordNameIn(Body):
    """A record by its kind and its stable name."""

    kind: KindWord = Field(description="kind of record", examples=["fitment"])
    name: Word = Field(description="stable name", examples=["QB-3310@brake.front.left"])


class ProposalIn(Body):
    """What shall change, and why."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "why": "the workshop measured it on two vans",
                    "records": [
                        {
                            "record": "fitment",
                            "component": "QB-3310",
                            "position": "brake.front.left",
                            "minutes": 95,
                            "evidence": ["brakes-book-32"],
                        }
                    ],
                }
            ]
        }
    )

    why: Sentence = Field(description="one sentence: the source, or what was seen")
    source: SourceWord = Field("person", description="where it comes from")
    records: Annotated[list[RecordRow], Field(max_length=MOST_CHANGES)] = Field(
        [], description="records as `POST /v1/imports` takes them; the member `record` is the kind"
    )
    remove: Annotated[list[RecordNameIn], Field(max_length=MOST_CHANGES)] = Field(
        [], description="records to take out"
    )


class DecisionIn(Body):
    """What is decided of one or several proposals, all together or not at all."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"proposals": [3, 4], "reason": "seen on the vehicle"}]}
    )

    proposals: Annotated[list[Number], Field(min_length=1, max_length=MOST_AT_ONCE)] = Field(
        description="their numbers", examples=[[3, 4]]
    )
    reason: Sentence = Field(
        description="one sentence, for whoever proposed it", examples=["seen on the vehicle"]
    )


class ProposedChangeOut(Document):
    """What a proposal does to one record. `overtaken`: the record says something else by now."""

    what: WhatWord
    kind: str
    name: str
    before: Annotated[list[RecordRow], Field(description="its rows as they were; empty: it is new")]
    after: Annotated[list[RecordRow], Field(description="its rows as proposed; empty: it is taken out")]
    overtaken: bool


class ProposalLineOut(Document):
    """A proposal without its changes."""

    number: Annotated[int, Field(description="the proposal's number")]
    state: Annotated[StateWord, Field(description="`open` until it is decided or withdrawn")]
    source: SourceWord
    why: str
    proposed_at: MomentOut
    proposed_by: str
    revision: Annotated[int, Field(description="of the catalogue when it was proposed")]
    touched: Annotated[int, Field(description="records that it changes")]
    decided_at: MomentOut | None
    decided_by: str
    reason: str
    accepted_as: Annotated[int | None, Field(description="the revision that it became")]


class ProposalOut(ProposalLineOut):
    """A proposal with every record before and after."""

    changes: Annotated[list[ProposedChangeOut], Field(description="the records that it changes")]


class ProposalsOut(PageOut):
    """A page of proposals, the newest first."""

    items: list[ProposalLineOut]


class DecidedOut(Document):
    """What became of the proposals."""

    proposals: list[ProposalLineOut]
    catalogue_revision: Annotated[
        int | None, Field(description="of the edit; null where nothing was accepted")
    ]


class PlaceEffectOut(Document):
    """A position that gains or loses components."""

    position: str
    title: str
    gained: list[str]
    lost: list[str]


class BookEffectOut(Document):
    """A variant whose rule book changes."""

    variant: str
    title: str
    places: Annotated[list[PlaceEffectOut], Field(description="positions that gain or lose components")]


class AnswerEffectOut(Document):
    """A question of the house, or asked lately, and what becomes of its answer."""

    label: Annotated[str, Field(description="the build, specification, order or question that asks")]
    asks: str
    sentences: list[str]


class EffectOut(Document):
    """What a proposal would do. Each question that it concerns stands in one of the lists of answers."""

    changed_records: int
    books: list[BookEffectOut]
    impossible: list[AnswerEffectOut]
    possible: list[AnswerEffectOut]
    changed: Annotated[list[AnswerEffectOut], Field(description="questions whose answer changes")]
    same: Annotated[list[AnswerEffectOut], Field(description="questions whose answer stays")]
    undecided: Annotated[list[AnswerEffectOut], Field(description="looked at, and not decided in time")]
    not_looked: Annotated[list[AnswerEffectOut], Field(description="not looked at in time")]
    whole: Annotated[bool, Field(description="whether everything was looked at and decided")]
