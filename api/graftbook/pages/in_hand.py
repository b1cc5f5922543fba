"""What a browser keeps from visit to visit: the vehicle in hand, the last ones before it, and which revision
of the catalogue it has seen. Chassis numbers and numbers of revisions, nothing else; no script reads them."""

import re
from dataclasses import dataclass

from fastapi import Request
from starlette.responses import Response

COOKIE = "graftbook_vehicle"
RECENT = "graftbook_recent"
SEEN = "graftbook_seen"
KEPT_SECONDS = 12 * 3600
REMEMBERED_SECONDS = 90 * 24 * 3600
MOST_RECENT = 8
A_VISIT = 4 * 60
"""Minutes: who comes again after so long begins a visit of his own."""
_CHASSIS = re.compile(r"([A-Z0-9]{1,8}-)?[0-9]{1,9}")
_SEEN = re.compile(r"([0-9]{1,9})\.([0-9]{1,9})\.([0-9]{1,9})")
_BETWEEN = "."


@dataclass(frozen=True, slots=True)
class Visit:
    """Up to which revision the visit before had seen the catalogue (None: there was none), and what is kept
    of this one."""

    seen_before: int | None
    kept: str


def chassis_in_hand(request: Request) -> str:
    """The chassis number in hand; empty where there is none, or where the cookie holds something else."""
    kept = request.cookies.get(COOKIE, "")
    return kept if _CHASSIS.fullmatch(kept) else ""


def recent_vehicles(request: Request) -> list[str]:
    """The chassis numbers that were in hand last, the latest first."""
    kept = request.cookies.get(RECENT, "").split(_BETWEEN)
    return list(dict.fromkeys(one for one in kept if _CHASSIS.fullmatch(one)))[:MOST_RECENT]


def take_in_hand(request: Request, response: Response, chassis: str) -> None:
    """Keep a vehicle in hand, and remember it as the latest."""
    if not _CHASSIS.fullmatch(chassis):
        return
    if chassis != chassis_in_hand(request):
        keep(request, response, COOKIE, chassis, KEPT_SECONDS)
    before = recent_vehicles(request)
    recent = list(dict.fromkeys((chassis, *before)))[:MOST_RECENT]
    if recent != before:
        keep(request, response, RECENT, _BETWEEN.join(recent), REMEMBERED_SECONDS)


def let_go(response: Response) -> None:
    """No vehicle is in hand any more; it stays among the recent ones."""
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="lax")


def forget(response: Response) -> None:
    """Nothing is remembered of which vehicles were asked about."""
    let_go(response)
    response.delete_cookie(RECENT, path="/", httponly=True, samesite="lax")


def visit_of(request: Request, present: int, minute: int) -> Visit:
    """The visit that a request belongs to. `minute`: of now, since 1970; `present`: the catalogue's revision.

    A visit goes on as long as no more than `A_VISIT` minutes lie between two looks at the first page.
    """
    seen = _SEEN.fullmatch(request.cookies.get(SEEN, ""))
    if seen is None:
        return Visit(None, f"{present}.{present}.{minute}")
    before, last, at = map(int, seen.groups())
    if not 0 <= minute - at <= A_VISIT:
        before = last
    before = min(before, present)
    return Visit(before, f"{before}.{present}.{minute}")


def keep(request: Request, response: Response, name: str, value: str, seconds: int) -> None:
    """A cookie that no script reads and that no other site's form sends."""
    secure = request.url.scheme == "https"
    response.set_cookie(name, value, seconds, httponly=True, samesite="lax", path="/", secure=secure)
