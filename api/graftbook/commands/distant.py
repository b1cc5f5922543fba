"""Asking a distant service instead of a database of one's own: `--service URL`, or GRAFTBOOK_SERVICE.

A command takes `service: Service = None`, and where it asks:

    with readable_errors():
        if where := distant.place(service, database):
            with distant.service_at(where) as shop:
                document = shop.vehicle(chassis)
        else:
            document = …

What is shown is made of the document, so that both say the same. What goes wrong there ends the command as it
would here: a problem with its sentence, a service that does not answer as a database that does not.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from graftbook.commands.console import stop
from graftbook.commands.exits import of_status
from graftbook.problems import Unavailable

if TYPE_CHECKING:
    from graftbook.client import Client
    from graftbook.orders.question_schemas import OrderIn
    from graftbook.orders.schemas import OrderOut
    from graftbook.questions.closures.compared_schemas import CheckOut
    from graftbook.questions.closures.schemas import ClosureOut
    from graftbook.questions.closures.summary_schemas import ClosureSummaryOut
    from graftbook.questions.compatibility.schemas import CompatibilityListOut
    from graftbook.questions.finding.schemas import SearchOut
    from graftbook.questions.schemas import ClosureIn

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
        if problem.status == 503:
            raise Unavailable(problem.detail) from problem
        stop(f"{problem.detail}{hint}", of_status(problem.status))
    except Unreachable as error:
        raise Unavailable(f"{address} does not answer: {error.__cause__}") from error


def _sent(body: "ClosureIn") -> dict[str, Any]:
    return body.model_dump(mode="json", exclude_unset=True)


def found(address: str, text: str, chassis: str, limit: int) -> "SearchOut":
    """What the service finds."""
    with service_at(address) as shop:
        return shop.search(text, chassis=chassis, limit=limit)


def checked(address: str, body: dict[str, Any]) -> "CheckOut":
    """What the service says of a proposed set."""
    with service_at(address) as shop:
        return shop.check(**body)


def compatible(address: str, body: dict[str, Any]) -> "CompatibilityListOut":
    """Whether the numbers fit, as the service says."""
    with service_at(address) as shop:
        return shop.compatibility(body["questions"], proof=body["proof"])


def summary_of(address: str, body: "ClosureIn") -> "ClosureSummaryOut":
    """The service's summary of a closure."""
    with service_at(address) as shop:
        return shop.closure_summary(**_sent(body))


def closure_and_order(
    address: str, body: "ClosureIn", *, order: bool
) -> tuple["ClosureOut", "OrderOut | None"]:
    """The service's closure and, where that is wanted and there is a set, its order."""
    with service_at(address) as shop:
        document = shop.closure(**_sent(body))
        return document, shop.order(**_sent(body)) if order and document["set"] is not None else None


def ordered(address: str, body: "OrderIn", form: str, part: str, *, summary: bool) -> "bytes | OrderOut":
    """The service's order in a form of `orders.forms`; as facts where it is to be a text."""
    with service_at(address) as shop:
        if summary:
            return shop.order_paper("json", view="summary", **_sent(body))
        if form != "text":
            return shop.order_paper(form, part=part, **_sent(body))
        return shop.order(**_sent(body))
