"""What records, their history and the catalogue's revisions look like in JSON."""

from typing import Annotated, Any

from pydantic import ConfigDict, Field
from pydantic.config import JsonDict

from graftbook.catalogue.history.changes import WhatWord
from graftbook.document import Document, MomentOut
from graftbook.http.paging import PageOut
from graftbook.questions.schemas import Body

Row = dict[str, Any]
_FITMENT: JsonDict = {
    "component": "QB-3310",
    "position": "brake.front.left",
    "minutes": 55,
    "evidence": ["brakes-book-32"],
}


class RecordIn(Body):
    """What a record shall say: the rows of the text format, usually one."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"rows": [_FITMENT]}]})

    rows: Annotated[list[dict[str, Any]], Field(min_length=1, max_length=500)] = Field(
        description="rows as `POST /v1/imports` takes them, without the member `record`"
    )


class RecordOut(Document):
    """A record as it stands."""

    kind: str
    name: str
    rows: list[Row]
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

    revision: int
    at: MomentOut
    who: str
    why: str
    ranges: Annotated[list[str], Field(description="ranges whose rule books it touched")]
    changes: Annotated[int, Field(description="records it changed, 0 for edits from before the history")]


class RecordChangeOut(Document):
    """What an edit did to one record."""

    what: WhatWord
    kind: str
    name: str
    before: list[Row]
    after: list[Row]
    edit: RevisionOut


class RecordDifferenceOut(Document):
    """A record that says something else as of two revisions."""

    what: WhatWord
    kind: str
    name: str
    before: list[Row]
    after: list[Row]


class RevisionsOut(PageOut):
    items: list[RevisionOut]


class RecordChangesOut(PageOut):
    items: list[RecordChangeOut]


class RecordDifferencesOut(PageOut):
    items: list[RecordDifferenceOut]
