"""Asking a distant service instead of a database of one's own: `--service URL`, or GRAFTBOOK_SERVICE.

A command takes `service: Service = None`, and asks

    document = distant.asked(service, database, lambda shop: shop.vehicle(chassis), lambda settings: …)

What is shown is made of the document, so that both say the same. What goes wrong there ends the command as it
would here: a problem with its sentence, a service that does not answer as a database that does not.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from graftbook.commands.console import settings_for, stop
from graftbook.commands.exits import of_answer
from graftbook.problems import Unavailable

if TYPE_CHECKING:
    from graftbook.client import Client
    from graftbook.orders.question_schemas import OrderIn
    from graftbook.orders.schemas import HeadlineOut, OrderOut
    from graftbook.questions.closures.schemas import ClosureOut
    from graftbook.questions.schemas import ClosureIn
    from graftbook.settings import Settings

T = TypeVar("T")

Service = Annotated[
    str | None,
    typer.Option(
        "--service",
        help="Ask this service, such as https://parts.example, and no database; else GRAFTBOOK_SERVICE. "
        "A key that it wants stands in GRAFTBOOK_KEY.",
    ),
]


def place(service: str | None, database: str | None) -> str | None:
    """The address of the service that is to be asked; None where a database is."""
    if service and database:
        stop("give --service or --database, not both")
    return service or (None if database else os.environ.get("GRAFTBOOK_SERVICE") or None)


@contextmanager
def service_at(address: str) -> Iterator["Client"]:
    """A client of the service. What that refuses ends the command. Raises Unavailable without an answer."""
    from graftbook.client import Client, ProblemAnswer, Unreachable
    from graftbook.client.attempts import Patience

    if not address.startswith(("http://", "https://")):
        stop(f"'{address}' is no address of a service; it begins with http:// or https://")
    try:
        with Client(address, key=os.environ.get("GRAFTBOOK_KEY", ""), patience=Patience(attempts=4)) as shop:
            yield shop
    except ProblemAnswer as problem:
        hint = "; set GRAFTBOOK_KEY to a key of that service" if problem.status == 401 else ""
        stop(f"{problem.detail}{hint}", of_answer(problem.type, problem.status))
    except Unreachable as error:
        raise Unavailable(f"{address} does not answer: {error.__cause__}") from error


def asked(
    service: str | None, database: str | None, there: "Callable[[Client], T]", here: "Callable[[Settings], T]"
) -> T:
    """What the service says that is to be asked, or else the database."""
    if where := place(service, database):
        with service_at(where) as shop:
            return there(shop)
    return here(settings_for(database))


def sent(body: "ClosureIn") -> dict[str, Any]:
    """What of a body is sent: whatever was given."""
    return body.model_dump(mode="json", exclude_unset=True)


def closure_and_order(
    shop: "Client", body: "ClosureIn", *, order: bool
) -> tuple["ClosureOut", "OrderOut | None"]:
    """The service's closure and, where that is wanted and there is a set, its order."""
    document = shop.closure(**sent(body))
    return document, shop.order(**sent(body)) if order and document["set"] is not None else None


def ordered(
    shop: "Client", body: "OrderIn", form: str, part: str, *, summary: bool
) -> tuple["HeadlineOut", bytes]:
    """The service's order in a form of `orders.forms` or as a text, and whether all of it is bought."""
    import orjson

    from graftbook.orders.plain_text import order_text

    if form == "text" and not summary:
        facts = shop.order(**sent(body))
        return facts, order_text(facts)
    brief = shop.order_paper("json", view="summary", **sent(body))
    headline: HeadlineOut = orjson.loads(brief)
    return headline, brief if summary else shop.order_paper(form, part=part, **sent(body))
