"""`graftbook find`: what somebody says, found as he means it."""

from typing import Annotated

import typer

from graftbook.commands import console as c


def find(
    text: Annotated[list[str], typer.Argument(help="A number as it is typed, or words as they are said.")],
    chassis: Annotated[str, typer.Option("--chassis", help="The vehicle in hand: what fits it first.")] = "",
    limit: Annotated[int, typer.Option("--limit", min=1, max=100, help="At most so many.")] = 10,
    database: c.Database = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, what GET /v1/search answers.")] = False,
) -> None:
    """Find upgrades, components and flaws by what people say: `graftbook find front discs`."""
    from graftbook.questions.finding.service import search, search_document
    from graftbook.questions.schemas import VehicleIn

    settings = c.settings_for(database)
    with c.readable_errors():
        service = c.service_for(settings)
        try:
            vehicle = VehicleIn(chassis=chassis) if chassis else None
            document = search_document(search(service, " ".join(text), vehicle, limit=limit))
        finally:
            service.close()
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
