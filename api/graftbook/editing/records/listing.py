"""Every kind of record as a list: picked by its own columns, page by page, whole or some of its fields."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Annotated, Any, get_args

from fastapi import APIRouter, Path, Query, Request
from pydantic import Field
from sqlalchemy import Connection
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import MayRead
from graftbook.catalogue.format.records import KIND_BY_WORD, KindWord
from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.history.snapshots import images, rows_in
from graftbook.catalogue.store.cursors import read_name, write_cursor
from graftbook.catalogue.store.lists import BEGINS, filters_of, names_of
from graftbook.catalogue.store.nearest import hint, likest
from graftbook.database import reading
from graftbook.document import Document
from graftbook.editing.records.service import record_etag
from graftbook.editing.schemas import RecordRow
from graftbook.http.errors import answers
from graftbook.http.parameters import Cursor, Limit, PageOut, next_link, takes
from graftbook.http.responses import answered, do_nothing, etag_of
from graftbook.http.values import json_bytes
from graftbook.problems import InvalidRequest
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1/records", tags=["records"])

Kind = Annotated[KindWord, Path(description="kind of record", examples=["fitment"])]
Fields = Annotated[
    str,
    Query(
        max_length=500,
        description="members of the rows that are wanted, apart by commas; else all",
        examples=["component,position,minutes"],
    ),
]


class RecordLineOut(Document):
    """One record of a list."""

    name: str
    etag: Annotated[str, Field(description="what a change of this record sends as If-Match")]
    rows: Annotated[
        list[RecordRow], Field(description="as the text format has them, without what is the default")
    ]


class RecordListOut(PageOut):
    """A page of the records of one kind, by name."""

    kind: KindWord
    items: list[RecordLineOut]
    catalogue_revision: int


def _filters(path: Mapping[str, Any]) -> Iterable[str]:
    kind = path.get("kind", "")
    return filters_of(kind) if kind in KIND_BY_WORD else ()


def _every_filter() -> dict[str, Any]:
    """The filters of all kinds as one parameter: each member stands in the address by itself."""
    names = sorted({name for kind in get_args(KindWord) for name in filters_of(kind)})
    return {
        "name": "filters",
        "in": "query",
        "style": "form",
        "explode": True,
        "description": "columns of the kind that hold names or controlled words: exact, or with `*` at the "
        "end what begins so (`component=QB-33*`); a column that the kind has not is refused",
        "schema": {
            "type": "object",
            "additionalProperties": False,
            "properties": {name: {"type": "string", "maxLength": 300} for name in names},
        },
    }


@router.get(
    "/{kind}",
    operation_id="listRecords",
    summary="The records of one kind, by name",
    dependencies=[MayRead, takes(of=_filters)],
    openapi_extra={"parameters": [_every_filter()]},
    responses=answers(
        RecordListOut, problems.InvalidCursor, problems.InvalidRequest, unchanged="You have this"
    ),
)
def list_records(
    request: Request,
    kind: Kind,
    service: ServiceDep,
    fields: Fields = "",
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """Filters are the kind's own columns that hold names or controlled words. Pages are stable: an edit
    between two of them neither repeats nor skips a record that it does not touch."""
    size = limit or service.settings.page_size
    where, wanted = _filters_in(kind, request.query_params), _members_wanted(kind, fields)
    search = {"records": kind, **where}
    after = read_name(cursor, search)
    with reading(service.engine) as session:
        connection = session.connection()
        epoch, revision = epoch_of(connection), current_revision(connection)
        names = names_of(connection, kind, where, after, size + 1)
        lines = list(_lines(connection, kind, names[:size], wanted))
    following = write_cursor(search, [names[size - 1]]) if len(names) > size else None
    document: RecordListOut = {
        "kind": kind,
        "items": lines,
        "next": following,
        "catalogue_revision": revision,
    }
    etag = etag_of("records", kind, where, sorted(wanted), size, after, epoch, revision)
    answer = answered(request, service, etag, lambda: (json_bytes(document), True), on_hit=do_nothing)
    answer.headers.update(next_link(request, following))
    return answer


def _filters_in(kind: str, given: Mapping[str, str]) -> dict[str, str]:
    """The filters of an address. Raises InvalidRequest for a word that is none of the column's own."""
    found = {}
    for name, words in filters_of(kind).items():
        value = given.get(name)
        if value is None:
            continue
        if words and value not in words and not value.endswith(BEGINS):
            message = f"'{problems.printable(value)}' is none of: {', '.join(filter(None, words))}"
            raise InvalidRequest(message, pointer=name, near=likest(value[:100], sorted(words)))
        found[name] = value
    return found


def _members_wanted(kind: str, fields: str) -> Collection[str]:
    """The members that are wanted; empty: all. Raises InvalidRequest for one that the kind has not."""
    known = KIND_BY_WORD[kind].model_fields
    wanted = {word for each in fields.split(",") if (word := each.strip())}
    for word in sorted(wanted - set(known)):
        near = likest(word[:100], sorted(known))
        further = hint(near) or f"; it has {', '.join(known)}"
        raise InvalidRequest(
            f"a {kind} has no '{problems.printable(word)}'{further}", pointer="fields", near=near
        )
    return wanted


def _lines(
    connection: Connection, kind: str, names: Iterable[str], wanted: Collection[str]
) -> Iterator[RecordLineOut]:
    names = list(names)
    found = images(connection, kind, names)
    for name in names:
        rows = rows_in(found[name])
        if wanted:
            rows = [{field: value for field, value in row.items() if field in wanted} for row in rows]
        yield {"name": name, "etag": record_etag(found[name]), "rows": rows}
