"""How a reader wants measures, dates and numbers written: kept over the pages in two cookies."""

from enum import StrEnum

from fastapi import Request
from starlette.responses import Response

from graftbook.pages.country import Country
from graftbook.pages.measures import Units

UNITS, COUNTRY = "graftbook_units", "graftbook_country"
KEPT_SECONDS = 365 * 24 * 3600


def units_of(request: Request) -> Units:
    """What this browser chose; as recorded where it chose nothing, or the cookie holds something else."""
    kept = request.cookies.get(UNITS, "")
    return Units(kept) if kept in set(Units) else Units.recorded


def country_of(request: Request) -> Country:
    """The same of dates and numbers; British, as the sentences are, where it chose nothing."""
    kept = request.cookies.get(COUNTRY, "")
    return Country(kept) if kept in set(Country) else Country.british


def keep(response: Response, units: str, country: str) -> None:
    """Keep a choice; what is none is not kept. It is no secret, and no script needs it."""
    choices: tuple[tuple[str, str, type[StrEnum]], ...] = (
        (UNITS, units, Units),
        (COUNTRY, country, Country),
    )
    for cookie, chosen, known in choices:
        if chosen in set(known):
            response.set_cookie(cookie, chosen, KEPT_SECONDS, httponly=True, samesite="lax", path="/")
