"""The catalogue in and out: the text format as CSV or JSON, and its JSON Schema."""

import hashlib
import tempfile
from functools import lru_cache
from itertools import chain
from typing import IO, Annotated, Any

import orjson
from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field
from starlette.responses import Response, StreamingResponse

from graftbook.access.guard import Editor, MayRead
from graftbook.catalogue.format.exports import export_text, json_schema
from graftbook.catalogue.format.reading import DateOrder, DecimalMark, Formulas, SheetReading
from graftbook.catalogue.format.sources import REQUEST, SentSheet
from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.loading.load import LoadReport
from graftbook.database import reading
from graftbook.document import Document
from graftbook.editing.imports.service import ImportEdit, import_from
from graftbook.editing.records.service import Author
from graftbook.editing.review.problems import ReviewNeeded
from graftbook.editing.review.service import require_no_review
from graftbook.http.contract.headers import carries
from graftbook.http.errors import answers, documented
from graftbook.http.fields import CELL
from graftbook.http.middleware import doubtful
from graftbook.http.parameters import DryRun, Why
from graftbook.http.responses import (
    ASK_AGAIN,
    bytes_answer,
    etag_of,
    has_already,
    media_type_of,
    not_modified,
)
from graftbook.idempotency.header import ONCE, OnceKey, digest_of, json_told, once_of, response_of
from graftbook.idempotency.service import Once, StoredAnswer
from graftbook.problems import (
    Busy,
    ImportRefused,
    InvalidRequest,
    MalformedRequest,
    NotAsShown,
    TooLarge,
    UnsupportedMedia,
)
from graftbook.process.state import Service, ServiceDep

router = APIRouter(prefix="/v1", tags=["exchange"], dependencies=[MayRead])

WORKBOOKS = (
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/vnd.oasis.opendocument.spreadsheet",
)
IN_MEMORY = 1_000_000
LARGEST_JSON = 16_000_000


class RemovedOut(Document):
    """A record that the sheets no longer have."""

    kind: str
    name: str


class ImportOut(Document):
    """What an import stored, or would store."""

    dry_run: bool
    records: Annotated[dict[str, int], Field(description="records read, by kind")]
    changed: Annotated[
        int, Field(description="records that say something else now; none: nothing was stored")
    ]
    catalogue_revision: Annotated[int | None, Field(description="null after a dry run")]
    assumptions: Annotated[
        list[str], Field(description="what was taken for granted to read the sheets, each in a sentence")
    ]
    left: Annotated[
        dict[str, int],
        Field(description="records of the same kinds that were not among those read and stay, by kind"),
    ]
    removed: Annotated[
        list[RemovedOut],
        Field(description="what `whole` takes away, or would; a variant stands for its spans"),
    ]


_BODIES = {
    "requestBody": {
        "required": True,
        "content": {
            "text/csv": {
                "schema": {"type": "string"},
                "example": "[section]\nname,title,order\nbrakes,Brakes,10\n",
            },
            **{media: {"schema": {"type": "string", "format": "binary"}} for media in WORKBOOKS},
            "application/json": {
                "schema": {
                    "type": "array",
                    "minItems": 1,
                    "items": {
                        "type": "object",
                        "required": ["record"],
                        "properties": {"record": {"type": "string", "description": "the kind of record"}},
                        "additionalProperties": CELL,
                    },
                    "description": "records; the member `record` is the kind; see /v1/imports/schema",
                },
                "example": [{"record": "section", "name": "brakes", "title": "Brakes", "order": 10}],
            },
        },
    }
}


@router.post(
    "/imports",
    operation_id="importRecords",
    summary="Store records, all or nothing",
    openapi_extra=_BODIES,
    responses=answers(
        ImportOut,
        Busy,
        ImportRefused,
        InvalidRequest,
        MalformedRequest,
        NotAsShown,
        ReviewNeeded,
        TooLarge,
        UnsupportedMedia,
        *ONCE,
    ),
)
async def import_records(
    request: Request,
    service: ServiceDep,
    editor: Editor,
    dry_run: DryRun = False,
    whole: Annotated[
        bool,
        Query(description="take away what is not sent, of the kinds that are; preview it with `dry_run`"),
    ] = False,
    removes: Annotated[
        int | None, Query(ge=0, description="needed with `whole`: how many records the preview showed to go")
    ] = None,
    dates: Annotated[DateOrder, Query(description="what 02/03/1964 begins with; empty: it is asked")] = "",
    decimals: Annotated[
        DecimalMark, Query(description="what 1,234 has before its decimals; empty: it is asked")
    ] = "",
    formulas: Annotated[
        Formulas, Query(description="`values`: what formulas last showed is taken; empty: they are mistakes")
    ] = "",
    encoding: Annotated[
        str, Query(max_length=40, description="of text that is not UTF-8 nor UTF-16, such as `cp1250`")
    ] = "",
    key: OnceKey = None,
    why: Why = "",
) -> Response:
    """A sheet as `text/csv`, a workbook (XLSX, ODS), or records as `application/json`. A record with the name
    of one that exists replaces it. With any mistake nothing is stored and every mistake is listed; what can
    be read in two ways is a mistake that names the parameter which settles it."""
    if not dry_run:
        require_no_review(service)
    media = media_type_of(request)
    if media not in ("text/csv", "application/json", *WORKBOOKS):
        raise UnsupportedMedia(
            "Send a sheet as text/csv, a workbook (XLSX, ODS) under its own media type, or records as "
            "application/json"
        )
    if whole and not dry_run and removes is None:
        raise InvalidRequest(
            "What `whole` takes away is shown by `dry_run`: send the length of its `removed` as `removes`",
            pointer="/query/removes",
        )
    with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY) as body:
        taken, digest = 0, hashlib.sha256()
        async for chunk in request.stream():
            taken += len(chunk)
            if media == "application/json" and taken > LARGEST_JSON:
                raise TooLarge(f"JSON records may have {LARGEST_JSON} bytes; send a sheet as text/csv")
            digest.update(chunk)
            body.write(chunk)
        body.seek(0)
        once = once_of(request, key, digest_of(request, digest.digest())).told_by(_report_answer)
        reading = SheetReading(dates, decimals, formulas, encoding, service.settings.currency)
        edit = ImportEdit(dry_run, whole, removes, reading, Author(editor.who, why))
        report = await run_in_threadpool(_load, service, body, media, edit, once)
    return response_of(_report_answer(report))


def _load(service: Service, body: IO[bytes], media: str, edit: ImportEdit, once: Once) -> LoadReport:
    source = _objects(body) if media == "application/json" else SentSheet(REQUEST, body)
    return import_from(service, source, edit, once)


def _document(report: LoadReport) -> ImportOut:
    return {
        "dry_run": report.dry_run,
        "records": dict(report.records),
        "changed": report.changed,
        "catalogue_revision": None if report.dry_run else report.revision,
        "assumptions": report.assumed,
        "left": report.left,
        "removed": [{"kind": kind, "name": name} for kind, names in report.removed.items() for name in names],
    }


_as_json = json_told(200)


def _report_answer(report: LoadReport) -> StoredAnswer:
    return _as_json(_document(report))


def _objects(body: IO[bytes]) -> list[dict[str, Any]]:
    """The records of a JSON body. Every item must be an object: text would be taken for a file's name."""
    content = body.read()
    if problem := doubtful(content):
        raise problem
    try:
        objects = orjson.loads(content)
    except orjson.JSONDecodeError as error:
        raise MalformedRequest(f"The body is not JSON: {error}") from error
    if not isinstance(objects, list) or not objects:
        raise InvalidRequest("A list of at least one record is expected")
    wrong = [i for i, item in enumerate(objects) if not isinstance(item, dict)]
    if wrong:
        raise InvalidRequest("A record is an object", pointer=f"/{wrong[0]}")
    return objects


@router.get(
    "/exports",
    operation_id="exportCatalogue",
    summary="The whole catalogue as one sheet that `imports` and `load` read",
    response_class=StreamingResponse,
    responses={
        200: {"content": {"text/csv": {"schema": {"type": "string"}}}, **carries("Content-Disposition")},
        **documented(InvalidRequest),
    },
)
def export_catalogue(request: Request, service: ServiceDep) -> Response:
    """Streams; memory does not grow with the catalogue. Its ETag is of the catalogue's revision."""
    with reading(service.engine) as session:
        connection = session.connection()
        etag = etag_of("export", epoch_of(connection), current_revision(connection))
    if has_already(request, etag):
        return not_modified(etag, ASK_AGAIN)
    pieces = export_text(service.engine)
    # The first piece now: what is wrong with the database can still be said.
    first = next(pieces, "")
    return StreamingResponse(
        chain([first], pieces),
        media_type="text/csv; charset=utf-8",
        headers={
            **ASK_AGAIN,
            "ETag": etag,
            "Content-Disposition": 'attachment; filename="catalogue.csv"',
        },
    )


@router.get(
    "/imports/schema",
    operation_id="importSchema",
    summary="The text format as a JSON Schema",
    responses={
        200: {"content": {"application/schema+json": {"schema": {"type": "object"}}}},
        **documented(InvalidRequest),
    },
)
async def import_schema(request: Request) -> Response:
    """JSON Schema (2020-12) of a list of records as `POST /v1/imports` takes them."""
    return bytes_answer(request, _schema(), "application/schema+json")


@lru_cache(maxsize=1)
def _schema() -> bytes:
    """Made when it is asked for, which most processes never are: a tenth of a second."""
    return orjson.dumps(json_schema())
