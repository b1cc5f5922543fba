"""Photographs and sketches: listed, attached, taken away, and their pixels."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import BeforeValidator, StringConstraints
from starlette.responses import Response

from graftbook import problems
from graftbook.access.guard import Editor, MayEdit, MayRead
from graftbook.catalogue.format.fields import NOT_PRINTED, clean
from graftbook.http.errors import answers, documented
from graftbook.http.responses import has_already, json_answer, media_type_of, not_modified, read_answer
from graftbook.pictures import service as pictures
from graftbook.pictures.image import MEDIA_TYPES, TAKEN, KeptPicture, kept_of
from graftbook.pictures.schemas import LONGEST_CAPTION, Digest, Kind, Name, PictureOut, PicturesOut
from graftbook.pictures.store import Size
from graftbook.process.state import Service, ServiceDep

router = APIRouter(prefix="/v1/pictures", tags=["pictures"])

AS_A_PICTURE = {
    # Its address is a digest: whatever is there never changes.
    "Cache-Control": "private, max-age=31536000, immutable",
    "Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'",
    "Content-Disposition": "inline",
}
Caption = Annotated[
    str,
    BeforeValidator(clean),
    StringConstraints(max_length=LONGEST_CAPTION),
    Query(
        description="what it shows, in a few words", json_schema_extra={"pattern": rf"^[^{NOT_PRINTED}]*$"}
    ),
]
_PIXELS = {media: {"schema": {"type": "string", "format": "binary"}} for media in MEDIA_TYPES}


@router.get(
    "/of/{kind}/{name:path}",
    operation_id="listPictures",
    summary="The pictures of a record or build",
    dependencies=[MayRead],
    responses=answers(PicturesOut, problems.InvalidRequest, problems.UnknownBuild, problems.UnknownRecord),
)
def list_pictures(request: Request, kind: Kind, name: Name, service: ServiceDep) -> Response:
    """At most twelve, in the order in which they were attached, without their pixels."""
    pictures.require(service.engine, kind, name)
    return read_answer(request, {"items": pictures.pictures_of(service.engine, kind, name)})


@router.post(
    "/of/{kind}/{name:path}",
    operation_id="attachPicture",
    summary="Attach a photograph or sketch to a record or build",
    status_code=201,
    openapi_extra={"requestBody": {"required": True, "content": _PIXELS}},
    responses={
        200: {"model": PictureOut, "description": "It was there already; its caption is the one sent"},
        201: {"model": PictureOut},
        **documented(
            problems.Busy,
            problems.InvalidRequest,
            problems.TooLarge,
            problems.UnknownBuild,
            problems.UnknownRecord,
            problems.UnsupportedMedia,
        ),
    },
)
async def attach_picture(
    request: Request, kind: Kind, name: Name, service: ServiceDep, editor: Editor, caption: Caption = ""
) -> Response:
    """Send its bytes as the body: JPEG, PNG or WebP, 12 MB and 50 million pixels at most. What is kept is
    written anew from its pixels, at most 2,000 a side: nothing of its metadata stays."""
    if media_type_of(request) not in MEDIA_TYPES:
        raise problems.UnsupportedMedia(f"Send {TAKEN}, and say which in Content-Type")
    sent = await request.body()
    document, new = await run_in_threadpool(_attach, service, (kind, name), sent, caption, editor.who)
    location = {"Location": f"/v1/pictures/of/{kind}/{quote(name)}"}
    return json_answer(document, status=201 if new else 200, headers=location)


def _attach(
    service: Service, thing: pictures.Thing, sent: bytes, caption: str, who: str
) -> tuple[PictureOut, bool]:
    pictures.require(service.engine, *thing)
    return pictures.attach(service.engine, thing, read_in_turn(service, sent), caption, who)


def read_in_turn(service: Service, sent: bytes) -> KeptPicture:
    """What is kept of a picture: few are read at once, since their pixels take memory. Raises Busy,
    TooLarge, UnsupportedMedia."""
    with service.gates["imports"].turn():
        return kept_of(sent)


@router.get(
    "/{digest}",
    operation_id="getPicture",
    summary="The pixels of a picture",
    dependencies=[MayRead],
    response_class=Response,
    responses={
        200: {"content": _PIXELS},
        304: {"description": "You have this"},
        **documented(problems.InvalidRequest, problems.NothingHere),
    },
)
def get_picture(
    request: Request,
    digest: Digest,
    service: ServiceDep,
    size: Annotated[Size, Query(description="small: at most 320 pixels a side")] = "whole",
) -> Response:
    """What stands at this address never changes."""
    media_type, content = pictures.pixels_of(service.engine, digest, size)
    headers = AS_A_PICTURE | {"ETag": f'"{digest}-{size}"'}
    if has_already(request, headers["ETag"]):
        return not_modified(headers["ETag"], headers)
    return Response(content, media_type=media_type, headers=headers)


@router.delete(
    "/{digest}/of/{kind}/{name:path}",
    operation_id="takePictureAway",
    summary="Take a picture away from a record or build",
    status_code=204,
    dependencies=[MayEdit],
    responses=documented(problems.InvalidRequest, problems.NothingHere),
)
def take_picture_away(digest: Digest, kind: Kind, name: Name, service: ServiceDep) -> Response:
    """It goes from this record or build alone; the trail says who did it."""
    pictures.take_away(service.engine, (kind, name), digest)
    return Response(status_code=204)
