"""`graftbook build` and `graftbook specification`: how a vehicle stands, and what the house builds to."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.commands import console as c
from graftbook.commands import distant

if TYPE_CHECKING:
    from graftbook.builds.life.schemas import BuildStateOut
    from graftbook.builds.schemas import ComparisonOut
    from graftbook.builds.standards.schemas import VariantRowOut, VariantTableOut, VersionsComparedOut
    from graftbook.client import Client
    from graftbook.settings import Settings


def build(
    name: Annotated[str, typer.Argument(help="Name of the build.")],
    database: c.Database = None,
    on: Annotated[
        date | None,
        typer.Option(parser=c.day, metavar="DAY", help="As it stood on this day, such as 2026-10-31."),
    ] = None,
    sheet: Annotated[Path | None, typer.Option(help="Write the sheet that goes with it: a PDF.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The JSON that the API answers.")] = False,
    service: distant.Service = None,
) -> None:
    """How a build stands: what may be driven, what is still open. Ends with 1 where it may not be driven."""

    def there(shop: "Client") -> "tuple[BuildStateOut, bytes]":
        day = on.isoformat() if on else ""
        return shop.build_state(name, on=day), shop.build_sheet_paper(name, on=day) if sheet else b""

    with c.readable_errors(), c.enough_time():
        state, paper = distant.asked(
            service, database, there, lambda settings: _stands(settings, name, on, with_sheet=bool(sheet))
        )
        if sheet:
            sheet.write_bytes(paper)
    if as_json:
        c.print_json(state)
    else:
        c.print_lines(_state_lines(state))
    if sheet and not as_json:
        typer.echo(f"The sheet is written to {sheet}.")
    if state["drive"]["verdict"] == "do not drive":
        raise typer.Exit(c.NO)


def _stands(
    settings: "Settings", name: str, on: date | None, *, with_sheet: bool
) -> "tuple[BuildStateOut, bytes]":
    """What `GET /v1/builds/{name}/state` answers, and the sheet as a PDF where it is wanted."""
    from graftbook.builds.life.documents import sheet_document, state_document
    from graftbook.builds.life.paper import sheet_pdf
    from graftbook.builds.life.standing import standing

    found = standing(c.service_for(settings), name, on)
    paper = sheet_pdf(sheet_document(found), settings.house) if with_sheet else b""
    return state_document(found), paper


def _state_lines(state: "BuildStateOut") -> Iterator[str]:
    vehicle, found = state["vehicle"], state["still_open"]
    yield f"{state['name']}: {vehicle['title']}, {vehicle['chassis']}, as of {state['on']}"
    yield f"{state['drive']['verdict'].upper()}. {state['drive']['sentence']}"
    yield from (f"  - {reason}" for reason in state["drive"]["reasons"])
    yield f"Not as the factory left it: {c.counted(len(state['changed']), 'position')}."
    for change in state["changed"]:
        yield f"  {change['position_title']}: {change['component'] or 'nothing'}, since {change['since']}"
    yield f"Still open: {c.counted(len(found['changes']), 'thing')}."
    yield from (f"  {sentence}" for sentence in found["sentences"])
    for one in found["changes"]:
        where = one["position_title"] or "loose part"
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
    service: distant.Service = None,
) -> None:
    """What a specification makes of every variant it is for. Ends with 1 where a variant has no set."""
    with c.readable_errors(), c.enough_time():
        if against:
            compared = distant.asked(
                service, database,
                lambda shop: _compared_there(shop, name, against),
                lambda settings: _compared_here(settings, name, against),
            )  # fmt: skip
            c.print_json(compared[0]) if as_json else c.print_lines(_compared_lines(*compared))
            return
        table = distant.asked(
            service, database,
            lambda shop: shop.specification_variants(*_name_and_version(name)),
            lambda settings: _table(settings, name),
        )  # fmt: skip
    if as_json:
        c.print_json(table)
    else:
        typer.echo(f"{table['title']} ({table['name']}, version {table['version']}), {table['currency']}")
        c.print_lines(map(_row_line, table["rows"]))
    if table["resolved"] < len(table["rows"]):
        raise typer.Exit(c.NO)


def _name_and_version(name: str) -> tuple[str, int | None]:
    """`name@version` as the two; without a version the latest."""
    bare, _, version = name.partition("@")
    return (bare, int(version)) if version.isascii() and version.isdecimal() else (name, None)


def _compared_there(shop: "Client", name: str, against: int) -> "tuple[VersionsComparedOut, ComparisonOut]":
    bare, version = _name_and_version(name)
    latest = version or shop.specification(bare)["version"]
    effects = shop.specification_effects(bare, against, latest)
    return effects, shop.compare_specification(bare, against, latest)


def _compared_here(
    settings: "Settings", name: str, against: int
) -> "tuple[VersionsComparedOut, ComparisonOut]":
    from graftbook.builds.service import compare_versions
    from graftbook.builds.standards import service as standards
    from graftbook.builds.stored.documents import specification_document

    service = c.service_for(settings)
    meant = standards.named(service.engine, name)
    before = specification_document(service.engine, meant["name"], against)
    return standards.compare(service, before, meant), compare_versions(before, meant)


def _table(settings: "Settings", name: str) -> "VariantTableOut":
    from graftbook.builds.standards import service as standards

    service = c.service_for(settings)
    return standards.table(service, standards.named(service.engine, name))


def _row_line(row: "VariantRowOut") -> str:
    if row["price"] is None:
        return f"{row['variant']:<14} {row['outcome'] or 'cannot be asked'}: {row['why']}"
    unknown = f" and {row['unknown_prices']} unknown" if row["unknown_prices"] else ""
    left = ", ".join(f"{count} {word}" for word, count in row["flaws_left"].items()) or "none"
    return (
        f"{row['variant']:<14} {row['outcome']}: {row['changes']} changes, {row['price']}{unknown}, "
        f"{row['minutes']} min, {len(row['shows'])} show, {len(row['fails'])} checks fail; flaws left: {left}"
    )


def _compared_lines(compared: "VersionsComparedOut", differs: "ComparisonOut") -> Iterator[str]:
    from graftbook.builds.standards.words import otherwise

    yield f"{compared['name']}: version {compared['from_version']} -> {compared['to_version']}"
    yield from otherwise(differs, {}) or ["Both ask for the same."]
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
        words = one["why"] if takes is None else (
            f"{len(takes['changes'])} things, {takes['price']} {compared['currency']}, {takes['minutes']} min"
        )  # fmt: skip
        yield f"build {one['build']} ({one['chassis']}): {words}"
