"""`graftbook find`: what somebody says, found as he means it."""

from contextlib import closing
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.commands import console as c
from graftbook.commands import distant
from graftbook.commands.completion import chassis_numbers

if TYPE_CHECKING:
    from graftbook.questions.finding.schemas import SearchOut
    from graftbook.settings import Settings


def find(
    text: Annotated[list[str], typer.Argument(help="A number as it is typed, or words as they are said.")],
    chassis: Annotated[
        str,
        typer.Option(
            "--chassis", help="The vehicle in hand: what fits it first.", autocompletion=chassis_numbers
        ),
    ] = "",
    limit: Annotated[int, typer.Option("--limit", min=1, max=100, help="At most so many.")] = 10,
    database: c.Database = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, what GET /v1/search answers.")] = False,
    service: distant.Service = None,
) -> None:
    """Find upgrades, components and flaws by what people say: `graftbook find front discs`."""
    asked = " ".join(text)
    with c.readable_errors():
        document = distant.asked(
            service, database,
            lambda shop: shop.search(asked, chassis=chassis, limit=limit),
            lambda settings: found(settings, asked, chassis, limit),
        )  # fmt: skip
    if as_json:
        c.print_json(document)
    else:
        if document["sentence"]:
            typer.echo(document["sentence"])
        for item in document["items"]:
            unfit = " (not on this vehicle)" if item["fits"] is False else ""
            typer.echo(f"{item['name']}  {item['title']}{unfit}")
    if not document["items"]:
        raise typer.Exit(c.NO)


def found(settings: "Settings", text: str, chassis: str, limit: int) -> "SearchOut":
    """What `GET /v1/search` answers. A vehicle takes its rule book to be compiled; without one it is not."""
    from graftbook.questions.finding import service as finding

    if not chassis:
        return finding.search_document(finding.search_in(c.engine_for(settings), text, limit=limit))
    from graftbook.questions.schemas import VehicleIn

    with closing(c.service_for(settings)) as service:
        return finding.search_document(finding.search(service, text, VehicleIn(chassis=chassis), limit=limit))
