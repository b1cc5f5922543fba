"""`graftbook load` and `sheets`: what people have comes in, and goes out as workbooks to be filled in."""

import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from graftbook.commands import console as c

if TYPE_CHECKING:
    from graftbook.catalogue.format.reading import SheetReading
    from graftbook.catalogue.loading.load import LoadReport

MOST_SHOWN = 40
"""Names of a kind that are shown before what is gone is taken away."""

Sources = Annotated[
    list[Path],
    typer.Argument(help="Sheets (.csv, .tsv), workbooks (.xlsx, .ods), .json, or folders.", exists=True),
]
Whole = Annotated[
    bool,
    typer.Option(
        "--whole", help="What the sheets no longer have, of their kinds, is taken away. Asks first."
    ),
]
Yes = Annotated[bool, typer.Option("--yes", help="With --whole: take it away without asking.")]
Dates = Annotated[str, typer.Option(help="What 02/03/1964 begins with: day-first or month-first.")]
Decimals = Annotated[str, typer.Option(help="What 1,234 has before its decimals: point or comma.")]
Encoding = Annotated[str, typer.Option(help="Of text that is not UTF-8 nor UTF-16, such as cp1250.")]
Formulas = Annotated[str, typer.Option(help="values: take what formulas last showed.")]


def load(
    sources: Sources, database: c.Database = None, dry_run: c.DryRun = False, whole: Whole = False,
    yes: Yes = False, why: c.Why = "", dates: Dates = "", decimals: Decimals = "", encoding: Encoding = "",
    formulas: Formulas = "",
) -> None:  # fmt: skip
    """Load records, all or nothing; a record of a known name replaces it.

    Reads sheets and workbooks as people have them, and says what it took for granted. What can be read in
    two ways is a mistake that names the option which settles it.
    """
    from graftbook.catalogue.loading.imports import load as load_records

    settings = c.settings_for(database)

    def read_and_load(**how: Any) -> "LoadReport":
        reading = _reading(dates, decimals, encoding, formulas, settings.currency)
        with c.counting("records read") as step:
            return load_records(engine, list(sources), progress=step, reading=reading, whole=whole, **how)

    with c.readable_errors():
        engine = c.engine_to_edit(settings)
        report = read_and_load(dry_run=True) if dry_run or whole else None
        if report is None or (report.ok and not dry_run):
            last = None
            if report is not None:
                _agree_to_remove(report.removed, yes)
                last = _only(report.removed)
            report = read_and_load(who=c.who(), why=why, last=last)
    c.show_mistakes(report)
    if not report.ok:
        _tell_assumed(report)
        raise typer.Exit(c.REFUSED)
    _tell(report, dry_run)


def _reading(dates: str, decimals: str, encoding: str, formulas: str, currency: str) -> "SheetReading":
    """How to read; ends the command where an option has a word that it does not know."""
    from graftbook.catalogue.format.reading import WORDS, SheetReading, words_known

    given = {"dates": dates, "decimals": decimals, "formulas": formulas}
    for name, word in given.items():
        if word and word not in WORDS[name]:
            c.stop(f"--{name} is {' or '.join(WORDS[name])}, not '{word}'")
    return SheetReading(**words_known(given), encoding=encoding, currency=currency)


def _agree_to_remove(removed: Mapping[str, Sequence[str]], yes: bool) -> None:
    """Show what the sheets no longer have, and end the command unless it may go."""
    if not removed:
        return
    typer.echo("The sheets no longer have, and this takes away:", err=True)
    for kind, names in removed.items():
        more = f" and {len(names) - MOST_SHOWN:,} more" if len(names) > MOST_SHOWN else ""
        typer.echo(
            f"  {c.counted(len(names), kind.replace('_', ' '))}: {', '.join(names[:MOST_SHOWN])}{more}",
            err=True,
        )
    if yes:
        return
    if not sys.stdin.isatty():
        c.stop("nothing was done: give --yes to take this away, or load without --whole", c.REFUSED)
    typer.confirm("Take it away?", err=True, abort=True)


def _only(shown: Mapping[str, Sequence[str]]) -> Any:
    """Looks, before anything is kept, whether that goes which was shown."""

    def look(_connection: Any, report: "LoadReport") -> None:
        if report.removed != shown:
            c.stop("others edited the catalogue meanwhile, and other records would go; load again", c.REFUSED)

    return look


def _tell_assumed(report: "LoadReport") -> None:
    if report.assumed:
        c.say("Taken for granted:")
        for line in report.assumed:
            c.say(f"  {line}")


def _tell(report: "LoadReport", dry_run: bool) -> None:
    _tell_assumed(report)
    read, changed = c.counted(report.records.total(), "record"), c.counted(report.changed, "change")
    if not report.changed:
        c.say(f"{read} read; the catalogue says the same already.")
    elif dry_run:
        c.say(f"{read} read, {changed}; nothing was stored.")
    else:
        c.say(f"{read} read, {changed}, stored as revision {report.revision}.")
    if removed := sum(map(len, report.removed.values())):
        would = "would be taken away" if dry_run else "taken away"
        c.say(f"{c.counted(removed, 'record')} that the sheets no longer have {would}.")
    if report.left:
        left = ", ".join(c.counted(n, kind.replace("_", " ")) for kind, n in report.left.items())
        c.say(f"Not in these sheets, and kept: {left}. --whole takes away what the sheets do not have.")
    if not dry_run and report.changed:
        c.say("Now run `graftbook lint`: it finds what can be loaded and still contradicts itself.")


def sheets(
    folder: Annotated[
        Path, typer.Argument(help="Folder for the workbooks; one that is there must be empty.")
    ],
    database: c.Database = None,
    empty: Annotated[bool, typer.Option("--empty", help="No records: heads, notes and pick lists.")] = False,
) -> None:
    """Write the catalogue as workbooks (XLSX) with pick lists and notes on the columns; `load` reads them."""
    from graftbook.catalogue.sheets_out import write_workbooks
    from graftbook.guide.made import STARTER

    c.require_empty(folder)
    with c.readable_errors():
        engine = c.engine_for(c.settings_for(database))
        folder.mkdir(parents=True, exist_ok=True)
        written = write_workbooks(engine, folder, STARTER, empty=empty)
    for path, count in written.items():
        c.say(f"{path}: {c.counted(count, 'row')}")
    c.say(f"Fill them in, then: graftbook load {shlex.quote(str(folder))} --dry-run")
