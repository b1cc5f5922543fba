"""What records, their history and the catalogue's revisions look like in JSON."""

from typing import Annotated, Any

from pydantic import ConfigDict, Field, WithJsonSchema
from pydantic.config import JsonDict
from typing_extensions import TypeAliasType

from graftbook.catalogue.history.changes import WhatWord
from graftbook.document import Document, MomentOut
from graftbook.http.fields import CELL
from graftbook.http.parameters import PageOut
from graftbook.questions.schemas import Body

RecordRow = TypeAliasType(
    "RecordRow",
    Annotated[
        dict[str, Any],
        WithJsonSchema(
            {
                "type": "object",
                "description": "a row of the text format: column → cell; which columns each kind has, "
                "`GET /v1/imports/schema` tells",
                "additionalProperties": CELL,
            }
        ),
    ],
)
_FITMENT: JsonDict = {
    "component": "QB-3310",
    "position": "brake.front.left",
    "minutes": 55,
    "evidence": ["brakes-book-32"],
}


class RecordIn(Body):
    """What a record shall say: the rows of the text format, usually one."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"rows": [_FITMENT]}]})

    rows: Annotated[list[RecordRow], Field(min_length=1, max_length=500)] = Field(
        description="rows as `POST /v1/imports` takes them, without the member `record`"
    )


class RecordOut(Document):
    """A record as it stands."""

    kind: Annotated[str, Field(description="kind of record")]
    name: str
    rows: Annotated[list[RecordRow], Field(description="its rows, usually one; without empty fields")]
    revision: Annotated[
        int, Field(description="of the last edit that changed it; 0: from before the history")
    ]


class EditOut(Document):
    """What an edit of one or more records did, or would do."""

    dry_run: bool
    changed: Annotated[
        int, Field(description="records that say something else now, new and removed ones included")
    ]
    catalogue_revision: Annotated[int | None, Field(description="null after a dry run")]


class RevisionOut(Document):
    """One edit of the catalogue."""

    revision: Annotated[int, Field(description="its number; each edit has the next")]
    at: Annotated[MomentOut, Field(description="when the edit was stored")]
    who: Annotated[str, Field(description="who made the edit")]
    why: Annotated[str, Field(description="what the editor said it was for; may be empty")]
    ranges: Annotated[list[str], Field(description="ranges whose rule books it touched")]
    changes: Annotated[int, Field(description="records it changed, 0 for edits from before the history")]


class RecordChangeOut(Document):
    """What an edit did to one record."""

    what: Annotated[WhatWord, Field(description="what became of the record")]
    kind: Annotated[str, Field(description="kind of record")]
    name: str
    before: Annotated[list[RecordRow], Field(description="its rows before; empty: it is new")]
    after: Annotated[list[RecordRow], Field(description="its rows after; empty: it was removed")]
    edit: Annotated[RevisionOut, Field(description="the edit that did it")]


class RecordDifferenceOut(Document):
    """A record that says something else as of two revisions."""

    what: Annotated[WhatWord, Field(description="what became of the record")]
    kind: Annotated[str, Field(description="kind of record")]
    name: str
    before: Annotated[
        list[RecordRow], Field(description="its rows as of the earlier revision; empty: there was none")
    ]
    after: Annotated[list[RecordRow], Field(description="its rows as of the later one; empty: there is none")]


class RevisionsOut(PageOut):
    """A page of revisions, the newest first."""

    items: list[RevisionOut]


class RecordChangesOut(PageOut):
    """A page of changes, the newest first."""

    items: list[RecordChangeOut]


class RecordDifferencesOut(PageOut):
    """A page of records that say something else."""

    items: list[RecordDifferenceOut]
