"""The pictures of a record or build: looked at by everybody, attached and taken away by editors."""

from urllib.parse import quote

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from graftbook.access.guard import Editor, MayRead, upload_of
from graftbook.catalogue.format.fields import clean
from graftbook.http.parameters import takes
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.editing.sheet_form import field
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.pictures import service as pictures
from graftbook.pictures.endpoints import read_in_turn
from graftbook.pictures.image import LARGEST_FILE
from graftbook.pictures.schemas import LONGEST_CAPTION, Kind, Name
from graftbook.pictures.tables import MOST_OF_ONE
from graftbook.problems import InvalidRequest, NothingHere, Problem, TooLarge, UnsupportedMedia
from graftbook.process.state import Service, ServiceDep

router = pages_router()

PICTURES = "/pictures"
"""Where these pages are: what is sent there may be as large as a picture."""


def pictures_address(kind: str, name: str) -> str:
    """The page of a thing's pictures."""
    return f"{PICTURES}/{kind}/{quote(name)}"


@router.get(PICTURES + "/{kind}/{name:path}", dependencies=[MayRead, takes("done")])
def shown(request: Request, kind: Kind, name: Name, service: ServiceDep) -> Response:
    """The pictures of one thing, large, with who attached them."""
    pictures.require(service.engine, kind, name)
    done = {"attached": "Attached.", "gone": "Taken away."}.get(request.query_params.get("done", ""), "")
    return _page(request, service, (kind, name), done=done)


@router.post(PICTURES + "/{kind}/{name:path}")
async def sent(request: Request, kind: Kind, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """A picture attached, or taken away."""
    try:
        form = await upload_of(request)
        content = await _file_in(form)
        away, caption = field(form, "away"), field(form, "caption")
    finally:
        await request.close()
    thing = (kind, name)
    if away:
        return await run_in_threadpool(_take_away, request, service, thing, away)
    return await run_in_threadpool(_attach, request, service, thing, content, caption, editor.who)


async def _file_in(form: FormData) -> bytes:
    upload = form.get("picture")
    if not isinstance(upload, UploadFile):
        return b""
    return await upload.read(LARGEST_FILE + 1)


def _attach(
    request: Request, service: Service, thing: pictures.Thing, content: bytes, caption: str, who: str
) -> Response:
    pictures.require(service.engine, *thing)
    try:
        words = _caption(caption)
        if not content:
            raise InvalidRequest("Choose a picture first")
        pictures.attach(service.engine, thing, read_in_turn(service, content), words, who)
    except (InvalidRequest, TooLarge, UnsupportedMedia) as problem:
        return _page(request, service, thing, refused=problem, caption=caption)
    return gone_to(pictures_address(*thing) + "?done=attached")


def _caption(caption: str) -> str:
    """The caption, tidied. Raises InvalidRequest."""
    try:
        words = str(clean(caption))
    except ValueError as error:
        raise InvalidRequest(f"What it shows: {error}") from error
    if len(words) > LONGEST_CAPTION:
        raise InvalidRequest(f"Say what it shows in {LONGEST_CAPTION} characters at most")
    return words


def _take_away(request: Request, service: Service, thing: pictures.Thing, digest: str) -> Response:
    try:
        pictures.take_away(service.engine, thing, digest)
    except NothingHere as problem:
        pictures.require(service.engine, *thing)
        return _page(request, service, thing, refused=problem)
    return gone_to(pictures_address(*thing) + "?done=gone")


def _page(
    request: Request,
    service: Service,
    thing: pictures.Thing,
    *,
    done: str = "",
    refused: Problem | None = None,
    caption: str = "",
) -> Response:
    kind, name = thing
    places = {"component": f"/component/{quote(name)}", pictures.BUILD: ""}
    return page(
        request,
        "pictures.html",
        status=refused.answer_status if refused else 200,
        headers=KEEP_NOTHING if refused else None,
        kind=kind.replace("_", " "),
        name=name,
        back=places.get(kind, f"/history/{kind}/{quote(name)}"),
        action=pictures_address(kind, name),
        pictures=pictures.pictures_of(service.engine, kind, name),
        most=MOST_OF_ONE,
        longest=LONGEST_CAPTION,
        done=done,
        refused=refused.detail if refused else "",
        caption=caption,
    )
