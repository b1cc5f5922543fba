"""Scripts and the mark, under an address that changes with what they say."""

from functools import lru_cache

from fastapi import APIRouter
from starlette.responses import Response

from graftbook.pages.frame import STATIC
from graftbook.problems import NothingHere

router = APIRouter(include_in_schema=False)

_MEDIA = {".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
_FOR_GOOD = {"Cache-Control": "public, max-age=31536000, immutable"}


@lru_cache
def _files() -> dict[str, tuple[bytes, str]]:
    return {path.name: (path.read_bytes(), _MEDIA[path.suffix]) for path in STATIC.iterdir()}


@router.get("/static/{digest}/{name}")
async def static_file(digest: str, name: str) -> Response:
    """A file of the pages. The digest is not compared: an old page gets the present script."""
    if name not in _files():
        raise NothingHere
    content, media = _files()[name]
    return Response(content, headers=_FOR_GOOD, media_type=media)
