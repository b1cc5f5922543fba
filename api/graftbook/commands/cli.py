"""The `graftbook` command: its list of commands. How one begins and ends stands in `commands.entry`."""

import os
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.commands import console as c
from graftbook.commands import distant
from graftbook.commands.builds import build, specification
from graftbook.commands.checking import check, fits
from graftbook.commands.console import (
    NO,
    counted,
    counting,
    engine_for,
    order_query_from,
    print_json,
    print_lines,
    query_from,
    readable_errors,
    service_for,
    settings_for,
    stop,
)
from graftbook.commands.exits import how_it_ends
from graftbook.commands.find import find
from graftbook.commands.flat import flat
from graftbook.commands.group import ByUse, Commands
from graftbook.commands.guide import columns, guide, new
from graftbook.commands.keys import keys
from graftbook.commands.load import load, sheets
from graftbook.commands.past import compare, history, remove, take_back
from graftbook.commands.stock import stock

if TYPE_CHECKING:
    from graftbook.editing.linting.schemas import LintFindingOut
    from graftbook.orders.question_schemas import OrderIn
    from graftbook.orders.schemas import HeadlineOut
    from graftbook.settings import Settings

app = Commands(
    name="graftbook",
    help="Which parts fit this chassis number, what each choice brings, what clashes, and why.",
    epilog=how_it_ends(),
    cls=ByUse,
)
app.add_typer(keys, name="keys")
app.add_typer(stock, name="stock")
for command in (
    guide, columns, new, load, sheets, flat, find, check, fits, history, compare, take_back, remove,
    build, specification,
):  # fmt: skip
    app.command()(command)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"graftbook {version('graftbook')}")
        raise typer.Exit


@app.callback()
def graftbook(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print it and end.")
    ] = False,
) -> None:
    """Which parts fit this chassis number, what each choice brings, what clashes, and why."""


@app.command()
def serve(
    database: c.Database = None,
    host: Annotated[str | None, typer.Option(help="Address to listen on.")] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on.")] = None,
    workers: Annotated[int, typer.Option(help="Processes.", min=1)] = 1,
) -> None:
    """Answer over HTTP. Changes take a key; beyond this machine nothing is served while no key exists."""
    from graftbook.access.service import require_keys_beyond_this_machine
    from graftbook.process.listening import require_free
    from graftbook.process.serving import serve as run

    settings = settings_for(database, host=host, port=port)
    with readable_errors():
        require_keys_beyond_this_machine(settings, engine_for(settings))
        require_free(settings.host, settings.port)
    os.environ |= {
        "GRAFTBOOK_DATABASE_URL": settings.database_url,
        "GRAFTBOOK_HOST": settings.host,
        "GRAFTBOOK_PORT": str(settings.port),
    }
    if settings.port:
        c.say(f"Graftbook answers at http://{settings.host}:{settings.port}/ (stop it with Ctrl-C)")
    run(settings, workers)


@app.command()
def migrate(
    revision: Annotated[str, typer.Argument(help="head: newest; base: nothing; or a revision.")] = "head",
    database: c.Database = None,
    backup_to: Annotated[
        Path | None, typer.Option("--backup", help="Going down: copy the whole database to this file first.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Going down: lose it without a copy.")] = False,
) -> None:
    """Bring the database to the shape that this program needs, or down to an older one.

    Going down takes away what the older shape has no place for. It says what, and asks before.
    """
    from graftbook import database as databases

    settings = settings_for(database)
    with readable_errors():
        engine = databases.make_engine(settings.database_url)
        if lost := databases.lost_by(engine, revision):
            _agree_to_lose(settings, lost, revision, backup_to, yes)
        databases.migrate(engine, revision)
    c.say(f"The database is at {revision}.")


def _agree_to_lose(
    settings: "Settings", lost: dict[str, int], revision: str, backup_to: Path | None, yes: bool
) -> None:
    """Say what a way down takes away, and end the command unless that is wanted or copied before."""
    typer.echo(f"Going down to {revision} takes away for good:", err=True)
    for name, count in sorted(lost.items(), key=lambda item: (-item[1], item[0])):
        typer.echo(f"  {name}: {c.counted(count, 'row')}", err=True)
    if backup_to is not None:
        from graftbook.backups.service import backup as write

        size = write(settings, backup_to)
        typer.echo(f"{size:,} bytes written to {backup_to} and checked.", err=True)
    elif not yes:
        if not sys.stdin.isatty():
            stop("nothing was done: give --backup FILE to copy the database first, or --yes to lose it")
        if not typer.confirm("Lose it, without a copy?", err=True):
            stop("nothing was done", c.REFUSED)


@app.command()
def export(
    target: Annotated[
        Path | None, typer.Argument(help="File, or folder that exists; else the terminal.")
    ] = None,
    database: c.Database = None,
    service: distant.Service = None,
) -> None:
    """Write the whole catalogue as `load` reads it: one sheet, or a sheet a kind into a folder."""
    from graftbook.catalogue.format.exports import export as write

    if where := distant.place(service, database):
        _export_of(where, target)
        return
    settings = settings_for(database)
    with readable_errors():
        engine = engine_for(settings)
        if target is None or str(target) == "-":
            write(engine, sys.stdout)
            return
        with counting("records written") as step:
            count = write(engine, target, step)
    c.say(f"{count} records written to {target}.")


def _export_of(service: str, target: Path | None) -> None:
    """Write a distant service's catalogue: one sheet."""
    if target and target.is_dir():
        stop("a service gives one sheet; name a file")
    with readable_errors():
        with distant.service_at(service) as shop:
            sheet = shop.export()
        if target is None or str(target) == "-":
            sys.stdout.buffer.write(sheet)
            return
        target.write_bytes(sheet)
    c.say(f"{len(sheet):,} bytes written to {target}.")


@app.command()
def backup(
    target: Annotated[Path, typer.Argument(help="File to write; it is there whole or not at all.")],
    database: c.Database = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that exists.")] = False,
) -> None:
    """Copy one state of the whole database into a file, checked, while the service runs.

    The file holds what the database holds, so keep it as safe. SQLite: a database of its own.
    PostgreSQL: a dump by its own pg_dump, which must be at least as new as the server.
    """
    from graftbook.backups.service import backup as write

    settings = settings_for(database)
    with readable_errors():
        c.require_file(settings)
        size = write(settings, target, replace=replace)
    c.say(f"{size:,} bytes written to {target} and checked.")


@app.command()
def restore(
    source: Annotated[Path, typer.Argument(help="File that `backup` wrote.", exists=True, dir_okay=False)],
    database: c.Database = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Put it in the place of the database that is there.")
    ] = False,
) -> None:
    """Put a backup in the database's place, all or nothing, while the service runs.

    An older backup is brought to this program's shape first. What was stored after the backup is gone:
    make a backup of the present state before.
    """
    from graftbook.backups.service import restore as put_back

    with readable_errors():
        revision = put_back(settings_for(database), source, replace=replace)
    c.say(f"Restored from {source}: the catalogue is at revision {revision}.")


@app.command()
def lint(
    database: c.Database = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
    service: distant.Service = None,
) -> None:
    """Look for contradictions in the catalogue: numbers in circles, parts that can never be fitted, …"""
    with readable_errors():
        found = distant.asked(service, database, lambda shop: list(shop.lint(vehicles=True)), _findings)
    if as_json:
        print_json(found)
    else:
        print_lines(map(_finding_line, found))
        c.say(f"{counted(len(found), 'finding')}.")
    if found:
        raise typer.Exit(NO)


def _findings(settings: "Settings") -> "list[LintFindingOut]":
    """What `GET /v1/lint?vehicles=true` lists."""
    from graftbook.editing.linting.service import documents_of
    from graftbook.editing.linting.side_by_side import helpers_here
    from graftbook.editing.linting.side_by_side import lint as find_all

    engine, found = engine_for(settings), []
    with counting("findings") as step:
        for finding in find_all(engine, settings.currency, helpers=helpers_here()):
            found.append(finding)
            step(len(found))
    return documents_of(engine, found)


def _finding_line(found: "LintFindingOut") -> str:
    where = f" ({', '.join(found['variants'])})" if found["variants"] else ""
    return f"{found['kind']} ({found['severity']}): {found['sentence']}{where}; {found['fix']}"


@app.command()
def closure(
    database: c.Database = None, chassis: c.Chassis = None, variant: c.Variant = None, build: c.Build = None,
    option: c.Option = None, fitted: c.Fitted = None, on_the_bench: c.Bench = None, fit: c.Fit = None,
    upgrade: c.Upgrade = None, remedy: c.Remedy = None, remedy_all: c.RemedyAll = None, clear: c.Clear = None,
    keep: c.Keep = None, keep_section: c.KeepSection = None, refuse: c.Refuse = None,
    effort_at_most: c.Effort = "cutting", price_at_most: c.Price = None, nothing_visible: c.Invisible = False,
    evidence_at_least: c.LeastEvidence = "no evidence",
    specification: c.Specification = None, rules: c.Rules = None, alternatives: c.Alternatives = 0,
    full: c.Full = False, as_json: c.AsJson = False, summary: c.Summary = False,
    service: distant.Service = None,
) -> None:  # fmt: skip
    """The complete set that follows from a vehicle and some wishes, with reasons, and what to order."""
    from graftbook.orders.plain_text import order_brief, order_lines
    from graftbook.orders.service import closure_and_order
    from graftbook.questions.closures.plain_brief import REST
    from graftbook.questions.closures.plain_text import answer_lines
    from graftbook.questions.closures.service import summary_of

    asked = query_from(locals())
    if summary:
        with readable_errors():
            brief = distant.asked(
                service, database,
                lambda shop: shop.closure_summary(**distant.sent(asked.body())),
                lambda settings: summary_of(service_for(settings), asked.body()),
            )  # fmt: skip
        print_json(brief)
        raise typer.Exit(NO if brief["set"] is None else 0)
    with readable_errors():
        document, wanted = distant.asked(
            service, database,
            lambda shop: distant.closure_and_order(shop, asked.body(), order=not as_json),
            lambda settings: closure_and_order(service_for(settings), asked.body()),
        )  # fmt: skip
    if as_json:
        print_json(document)
    else:
        print_lines(answer_lines(document, full=full))
        if wanted:
            print_lines(["", *(order_lines if full else order_brief)(wanted, document["currency"])])
        if document["set"] and not full:
            print_lines(["", REST])
    if document["set"] is None:
        raise typer.Exit(NO)


@app.command()
def order(
    database: c.Database = None, chassis: c.Chassis = None, variant: c.Variant = None, build: c.Build = None,
    option: c.Option = None, fitted: c.Fitted = None, on_the_bench: c.Bench = None, fit: c.Fit = None,
    upgrade: c.Upgrade = None, remedy: c.Remedy = None, remedy_all: c.RemedyAll = None, clear: c.Clear = None,
    keep: c.Keep = None, keep_section: c.KeepSection = None, refuse: c.Refuse = None,
    effort_at_most: c.Effort = "cutting", price_at_most: c.Price = None, nothing_visible: c.Invisible = False,
    evidence_at_least: c.LeastEvidence = "no evidence",
    specification: c.Specification = None, rules: c.Rules = None,
    by: c.By = None, at_most_suppliers: c.AtMostSuppliers = None, fastest: c.Fastest = False,
    buy_from: c.BuyFrom = None,
    form: Annotated[str, typer.Option("--format", help="text, csv, json, xlsx or pdf.")] = "text",
    part: Annotated[str, typer.Option(help="Only supplier:NAME or vehicle:LABEL (csv, xlsx, pdf).")] = "",
    output: Annotated[Path | None, typer.Option(help="File to write; else the terminal.")] = None,
    summary: c.Summary = False, service: distant.Service = None,
) -> None:  # fmt: skip
    """The order of the closure that the same options give: what to buy, and from whom."""
    from graftbook.orders.forms import DOCUMENTS, MEDIA

    if form != "text" and form not in MEDIA:
        stop(f"'{form}' is no form of an order; use text, {', '.join(MEDIA)}")
    if summary and form not in ("text", "json"):
        stop("a summary is JSON; leave out --format, or --summary")
    if part and (summary or form not in DOCUMENTS):
        stop(f"a part is a paper of its own; say --format {', '.join(DOCUMENTS[:-1])} or {DOCUMENTS[-1]}")
    asked = order_query_from(locals())
    with readable_errors(), c.enough_time():
        headline, paper = distant.asked(
            service, database,
            lambda shop: distant.ordered(shop, asked.order(), form, part, summary=summary),
            lambda settings: _order_here(settings, asked.order(), form, part, summary),
        )  # fmt: skip
    if output:
        with readable_errors():
            output.write_bytes(paper)
        c.say(f"{len(paper)} bytes written to {output}.")
    else:
        sys.stdout.buffer.write(paper)
    if not headline["complete"]:
        if output or summary or form != "text":
            typer.echo(f"graftbook: {headline['headline']}", err=True)
        raise typer.Exit(NO)


def _order_here(
    settings: "Settings", body: "OrderIn", form: str, part: str, summary: bool
) -> tuple["HeadlineOut", bytes]:
    """The order of the database's catalogue in its form, and whether all of it is bought."""
    from graftbook.orders.forms import writer
    from graftbook.orders.plain_text import order_text
    from graftbook.orders.service import order_facts_for
    from graftbook.orders.summary import summary_writer

    facts = order_facts_for(service_for(settings), body)
    if summary:
        return facts, summary_writer(body)(facts)
    return facts, order_text(facts) if form == "text" else writer(form, settings.house, part)(facts)


@app.command()
def demo(
    place: Annotated[
        Path | None, typer.Argument(help="Folder for the demo's database; else a temporary one.")
    ] = None,
    chassis: Annotated[str, typer.Option(help="Chassis number.")] = "24PL-018412",
    fit: Annotated[str, typer.Option(help="The component wished for: front disc brakes.")] = "QB-3310",
) -> None:
    """The main job on invented data: load the demo range, wish for front disc brakes, print the set."""
    from graftbook.commands.demo import run

    with readable_errors():
        for line in run(place, chassis, fit, shlex.quote(sys.argv[0])):  # as it goes on
            print_lines([line])


def main() -> None:
    """The command, as the shell starts it."""
    from graftbook.commands.entry import main as enter

    enter()
