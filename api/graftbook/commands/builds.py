"""`graftbook build` and `graftbook specification`: how a vehicle stands, and what the house builds to."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.commands import console as c

if TYPE_CHECKING:
    from graftbook.builds.life.schemas import BuildStateOut
    from graftbook.builds.standards.schemas import VariantRowOut, VersionsComparedOut


def build(
    name: Annotated[str, typer.Argument(help="Name of the build.")],
    database: c.Database = None,
    on: Annotated[
        date | None,
        typer.Option(parser=c.day, metavar="DAY", help="As it stood on this day, such as 2026-10-31."),
    ] = None,
    sheet: Annotated[Path | None, typer.Option(help="Write the sheet that goes with it: a PDF.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The JSON that the API answers.")] = False,
) -> None:
    """How a build stands: what may be driven, what is still open. Ends with 1 where it may not be driven."""
    from graftbook.builds.life.documents import sheet_document, state_document
    from graftbook.builds.life.paper import sheet_pdf
    from graftbook.builds.life.standing import standing

    settings = c.settings_for(database)
    with c.readable_errors(), c.enough_time():
        found = standing(c.service_for(settings), name, on)
        state = state_document(found)
        if sheet:
            sheet.write_bytes(sheet_pdf(sheet_document(found), settings.house))
    if as_json:
        c.print_json(state)
    else:
        c.print_lines(_state_lines(state))
    if sheet and not as_json:
        typer.echo(f"The sheet is written to {sheet}.")
    if state["drive"]["verdict"] == "do not drive":
        raise typer.Exit(c.NO)


def _state_lines(state: "BuildStateOut") -> Iterator[str]:
    vehicle, found = state["vehicle"], state["still_open"]
    yield f"{state['name']}: {vehicle['title']}, {vehicle['chassis']}, as of {state['on']}"
    yield f"{state['drive']['verdict'].upper()}. {state['drive']['sentence']}"
    yield from (f"  - {reason}" for reason in state["drive"]["reasons"])
    yield f"Not as the factory left it: {c.counted(len(state['changed']), 'position')}."
    for change in state["changed"]:
        yield f"  {change['position']}: {change['component'] or 'nothing'}, since {change['since']}"
    yield f"Still open: {c.counted(len(found['changes']), 'thing')}."
    yield from (f"  {sentence}" for sentence in found["sentences"])
    for one in found["changes"]:
        where = one["position"] or "loose part"
        yield f"  {one['quantity']} x {one['component'] or 'nothing'} ({where}): {one['why']}"
    yield from (f"! {caution}" for caution in state["cautions"])
    yield state["defers"]


def specification(
    name: Annotated[str, typer.Argument(help="The specification: name, or name@version.")],
    database: c.Database = None,
    against: Annotated[
        int | None, typer.Option(help="Compare with this earlier version, on variants and vehicles.", min=1)
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The JSON that the API answers.")] = False,
) -> None:
    """What a specification makes of every variant it is for. Ends with 1 where a variant has no set."""
    from graftbook.builds.standards import service as standards
    from graftbook.builds.stored.documents import specification_document

    settings = c.settings_for(database)
    with c.readable_errors(), c.enough_time():
        service = c.service_for(settings)
        meant = standards.named(service.engine, name)
        if against:
            before = specification_document(service.engine, meant["name"], against)
            compared = standards.compare(service, before, meant)
            c.print_json(compared) if as_json else c.print_lines(_compared_lines(compared))
            return
        table = standards.table(service, meant)
    if as_json:
        c.print_json(table)
    else:
        typer.echo(f"{table['title']} ({table['name']}, version {table['version']}), {table['currency']}")
        c.print_lines(map(_row_line, table["rows"]))
    if table["resolved"] < len(table["rows"]):
        raise typer.Exit(c.NO)


def _row_line(row: "VariantRowOut") -> str:
    if row["price"] is None:
        return f"{row['variant']:<14} {row['outcome'] or 'cannot be asked'}: {row['why']}"
    unknown = f" and {row['unknown_prices']} unknown" if row["unknown_prices"] else ""
    left = ", ".join(f"{count} {word}" for word, count in row["flaws_left"].items()) or "none"
    return (
        f"{row['variant']:<14} {row['outcome']}: {row['changes']} changes, {row['price']}{unknown}, "
        f"{row['minutes']} min, {len(row['shows'])} show, {len(row['fails'])} checks fail; flaws left: {left}"
    )


def _compared_lines(compared: "VersionsComparedOut") -> Iterator[str]:
    yield f"{compared['name']}: version {compared['from_version']} -> {compared['to_version']}"
    for row in compared["variants"]:
        if row["same"]:
            yield f"{row['variant']:<14} the same"
        elif row["price"] is None:
            yield f"{row['variant']:<14} {row['before']['outcome']} -> {row['after']['outcome']}"
        else:
            parts = [*(f"+{one}" for one in row["came"]), *(f"-{one}" for one in row["went"])]
            yield f"{row['variant']:<14} {row['price']} {compared['currency']}, {row['minutes']} min; " + (
                " ".join(parts)
            )
    for one in compared["builds"]:
        takes = one["takes"]
        said = one["why"] if takes is None else (
            f"{len(takes['changes'])} things, {takes['price']} {compared['currency']}, {takes['minutes']} min"
        )  # fmt: skip
        yield f"build {one['build']} ({one['chassis']}): {said}"
