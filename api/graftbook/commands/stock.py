"""`graftbook stock`: the shop's own store as a sheet, and a count of it."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.commands import console as c
from graftbook.commands import distant
from graftbook.commands.group import Commands

if TYPE_CHECKING:
    from graftbook.settings import Settings

stock = Commands(help="The shop's own store.")


@stock.command(name="list")
def list_(
    target: Annotated[Path | None, typer.Argument(help="File to write; else the terminal.")] = None,
    database: c.Database = None,
    service: distant.Service = None,
) -> None:
    """All that lies in the store as CSV: number, quantity, place."""
    with c.readable_errors():
        sheet = distant.asked(service, database, lambda shop: shop.stock_sheet().decode(), _whole_sheet)
        if target:
            target.write_text(sheet, encoding="utf-8", newline="")
    if not target:
        typer.echo(sheet, nl=False)
        return
    rows = sheet.count("\n") - 1
    c.say(f"{rows:,} {'number' if rows == 1 else 'numbers'} written to {target}.")


def _whole_sheet(settings: "Settings") -> str:
    from graftbook.orders.stock.service import whole_sheet

    return whole_sheet(c.engine_for(settings))[0]


@stock.command()
def count(
    sheet: Annotated[Path, typer.Argument(help="CSV: number, quantity, and place if wished.", exists=True)],
    database: c.Database = None,
    whole: Annotated[
        bool, typer.Option("--whole", help="Numbers that the sheet does not name leave the store.")
    ] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check everything, store nothing.")] = False,
) -> None:
    """Say what lies in the store now; all of the sheet, or nothing."""
    from graftbook.orders.stock import service

    settings = c.settings_for(database)
    with c.readable_errors():
        text = sheet.read_text(encoding="utf-8-sig")
        report = service.count(c.engine_for(settings), text, whole=whole, dry_run=dry_run, file=str(sheet))
    c.show_mistakes(report)
    if not report.ok:
        raise typer.Exit(c.REFUSED)
    for line in service.difference_lines(report.differences):
        typer.echo(line)
    kept = "would be stored" if dry_run else "stored"
    c.say(f"{c.counted(report.rows, 'row')} read, {c.counted(report.changed, 'difference')} {kept}.")
