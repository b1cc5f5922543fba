"""What a reader wants measures in: kept over the pages in a cookie."""

from fastapi import Request
from starlette.responses import Response

from graftbook.pages.measures import Units

COOKIE = "graftbook_units"
KEPT_SECONDS = 365 * 24 * 3600


def units_of(request: Request) -> Units:
    """What this browser chose; as recorded where it chose nothing, or the cookie holds something else."""
    kept = request.cookies.get(COOKIE, "")
    return Units(kept) if kept in set(Units) else Units.recorded


def keep_units(response: Response, chosen: str) -> None:
    """Keep a choice; what is none is not kept. It is no secret, and no script needs it."""
    if chosen in set(Units):
        response.set_cookie(COOKIE, chosen, KEPT_SECONDS, httponly=True, samesite="lax", path="/")
