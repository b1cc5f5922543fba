"""What records, their history and the catalogue's revisions look like in JSON."""

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

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


class RecordOut(BaseModel):
    """A record as it stands."""

    kind: str
    name: str
    rows: list[Row]
    revision: int = Field(description="of the last edit that changed it; 0: from before the history")


class EditOut(BaseModel):
    """What an edit of one or more records did, or would do."""

    dry_run: bool
    changed: int = Field(description="records that say something else now, new and removed ones included")
    catalogue_revision: int | None = Field(description="null after a dry run")


class RevisionOut(BaseModel):
    """One edit of the catalogue."""

    revision: int
    at: datetime
    who: str
    why: str
    ranges: list[str] = Field(description="ranges whose rule books it touched")
    changes: int = Field(description="records it changed, 0 for edits from before the history")


class RecordChangeOut(BaseModel):
    """What an edit did to one record."""

    what: Literal["added", "changed", "removed"]
    kind: str
    name: str
    before: list[Row]
    after: list[Row]
    edit: RevisionOut


class RecordDifferenceOut(BaseModel):
    """A record that says something else as of two revisions."""

    what: Literal["added", "changed", "removed"]
    kind: str
    name: str
    before: list[Row]
    after: list[Row]


class RevisionsOut(BaseModel):
    items: list[RevisionOut]
    next: str | None


class RecordChangesOut(BaseModel):
    items: list[RecordChangeOut]
    next: str | None


class RecordDifferencesOut(BaseModel):
    items: list[RecordDifferenceOut]
    next: str | None
