"""The vehicle in hand: kept over the pages in a cookie, so that one types its number once."""

import re

from fastapi import Request
from starlette.responses import Response

COOKIE = "graftbook_vehicle"
KEPT_SECONDS = 12 * 3600
_CHASSIS = re.compile(r"[A-Z0-9]{1,8}-[0-9]{1,9}")


def chassis_in_hand(request: Request) -> str:
    """The chassis number in hand; empty where there is none, or where the cookie holds something else."""
    kept = request.cookies.get(COOKIE, "")
    return kept if _CHASSIS.fullmatch(kept) else ""


def take_in_hand(request: Request, response: Response, chassis: str) -> None:
    """Keep a vehicle in hand. It is no secret, and no script needs it."""
    if chassis != chassis_in_hand(request) and _CHASSIS.fullmatch(chassis):
        response.set_cookie(COOKIE, chassis, KEPT_SECONDS, httponly=True, samesite="lax", path="/")
