"""The `graftbook` command. Exit codes: 0 done, 1 the answer is no, 2 wrong use, 3 no database."""

import os
import shlex
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import orjson
import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from sqlalchemy.exc import DBAPIError

from api.problems import ImportRefused, Problem, Unavailable
from api.settings import Settings

NO, WRONG_USE, NO_DATABASE = 1, 2, 3

app = typer.Typer(
    name="graftbook",
    help="Which parts fit this chassis number, what each choice brings, what clashes, and why.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Database = Annotated[
    str | None,
    typer.Option("--database", help="Database address; else GRAFTBOOK_DATABASE_URL, else a file here."),
]
Chassis = Annotated[str | None, typer.Option(help="Chassis number, such as 24PL-018412.")]
Variant = Annotated[str | None, typer.Option(help="Variant; may be left out with a chassis number.")]
Build = Annotated[str | None, typer.Option(help="Name of a stored build.")]
Option = Annotated[list[str] | None, typer.Option("--option", help="An option the vehicle has. Repeatable.")]
Fitted = Annotated[
    list[str] | None,
    typer.Option(help="position=component that is fitted today; position= for empty. Repeatable."),
]
Bench = Annotated[list[str] | None, typer.Option("--on-the-bench", help="A component at hand. Repeatable.")]
Fit = Annotated[
    list[str] | None, typer.Option("--fit", help="Fit this: number or number@position. Repeatable.")
]
Remedy = Annotated[list[str] | None, typer.Option("--remedy", help="Remedy this known flaw. Repeatable.")]
RemedyAll = Annotated[
    str | None, typer.Option("--remedy-all", help="Remedy every known flaw from this severity up: severe, …")
]
Clear = Annotated[list[str] | None, typer.Option("--clear", help="Leave this position empty. Repeatable.")]
Keep = Annotated[list[str] | None, typer.Option("--keep", help="Keep this position as today. Repeatable.")]
KeepSection = Annotated[list[str] | None, typer.Option(help="Keep this section as today. Repeatable.")]
Refuse = Annotated[list[str] | None, typer.Option("--refuse", help="Do not fit this component. Repeatable.")]
Effort = Annotated[
    str,
    typer.Option(
        help="Most work: direct, 'with companions', machining, cutting. machining: can be put back."
    ),
]
Price = Annotated[str | None, typer.Option("--price-at-most", help="Ceiling on the parts.")]
Invisible = Annotated[bool, typer.Option("--nothing-visible", help="Nothing that shows may change.")]
Specification = Annotated[str | None, typer.Option(help="Stored specification: name or name@version.")]
Alternatives = Annotated[int, typer.Option(help="Further good sets to show.")]


@app.command()
def serve(
    database: Database = None,
    host: Annotated[str | None, typer.Option(help="Address to listen on.")] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on.")] = None,
    workers: Annotated[int, typer.Option(help="Processes.", min=1)] = 1,
) -> None:
    """Answer over HTTP. Without keys, changes are taken only from this machine."""
    import uvicorn

    settings = _settings(database, host=host, port=port)
    with _readable_errors():
        _ready(settings)
    os.environ |= {
        "GRAFTBOOK_DATABASE_URL": settings.database_url,
        "GRAFTBOOK_HOST": settings.host,
        "GRAFTBOOK_PORT": str(settings.port),
    }
    if settings.port:
        typer.echo(f"Graftbook answers at http://{settings.host}:{settings.port}/ (stop it with Ctrl-C)")
    uvicorn.run(
        "api.app:create_app",
        factory=True,
        host=settings.host,
        port=settings.port,
        workers=workers,
        server_header=False,
    )


@app.command()
def migrate(
    revision: Annotated[str, typer.Argument(help="head: newest; base: nothing; or a revision.")] = "head",
    database: Database = None,
) -> None:
    """Bring the database to the shape that this program needs."""
    from api import database as databases

    settings = _settings(database)
    with _readable_errors():
        databases.migrate(databases.make_engine(settings.database_url), revision)
    typer.echo(f"The database is at {revision}.")


@app.command()
def load(
    sources: Annotated[
        list[Path], typer.Argument(help="Sheets (.csv, .json) or folders of sheets.", exists=True)
    ],
    database: Database = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check everything, store nothing.")] = False,
    why: Annotated[str, typer.Option(help="Why, for the history.")] = "",
) -> None:
    """Load records, all or nothing; a record of a known name replaces it."""
    from api.catalogue.imports import load as load_records

    settings = _settings(database)
    with _readable_errors(), _counting("records read") as step:
        service = _ready(settings)
        report = load_records(
            service.engine, list(sources), dry_run=dry_run, progress=step, who=_who(), why=why
        )
    _show_mistakes(report)
    if not report.ok:
        raise typer.Exit(NO)
    kept = "would be stored" if dry_run else f"stored as revision {report.revision}"
    typer.echo(f"{report.records.total()} records {kept} in {report.seconds:.1f} s.")


@app.command()
def export(
    target: Annotated[
        Path | None, typer.Argument(help="File, or folder that exists; else the terminal.")
    ] = None,
    database: Database = None,
) -> None:
    """Write the whole catalogue as `load` reads it: one sheet, or a sheet a kind into a folder."""
    from api.catalogue.exports import export as write

    settings = _settings(database)
    with _readable_errors():
        engine = _ready(settings).engine
        if target is None or str(target) == "-":
            write(engine, sys.stdout)
            return
        with _counting("records written") as step:
            count = write(engine, target, step)
    typer.echo(f"{count} records written to {target}.")


@app.command()
def lint(
    database: Database = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
) -> None:
    """Look for contradictions in the catalogue: numbers in circles, parts that can never be fitted, …"""
    from api.catalogue.lint import lint as find

    settings = _settings(database)
    with _readable_errors(), _counting("findings") as step:
        service = _ready(settings)
        findings = []
        for finding in find(service.engine):
            findings.append(finding)
            step(len(findings))
    if as_json:
        _print_json([finding.document() for finding in findings])
    else:
        for finding in findings:
            typer.echo(str(finding))
        typer.echo(f"{len(findings)} findings.")
    if findings:
        raise typer.Exit(NO)


@app.command()
def closure(
    database: Database = None, chassis: Chassis = None, variant: Variant = None, build: Build = None,
    option: Option = None, fitted: Fitted = None, on_the_bench: Bench = None, fit: Fit = None,
    remedy: Remedy = None, remedy_all: RemedyAll = None, clear: Clear = None, keep: Keep = None,
    keep_section: KeepSection = None, refuse: Refuse = None, effort_at_most: Effort = "cutting",
    price_at_most: Price = None, nothing_visible: Invisible = False, specification: Specification = None,
    alternatives: Alternatives = 0,
    as_json: Annotated[bool, typer.Option("--json", help="The JSON that the API answers.")] = False,
) -> None:  # fmt: skip
    """The complete set that follows from a vehicle and some wishes, with reasons and order list."""
    from api.orders.answering import closure_and_order
    from api.wire.plain_answer import answer_lines
    from api.wire.plain_order import order_lines

    asked = _query(locals())
    with _readable_errors():
        document, wanted = closure_and_order(_ready(_settings(database)), asked.body())
    if as_json:
        _print_json(document)
    else:
        _print(answer_lines(document))
        if wanted:
            _print(["", *order_lines(wanted, document["currency"])])
    if document["set"] is None:
        raise typer.Exit(NO)


@app.command()
def order(
    database: Database = None, chassis: Chassis = None, variant: Variant = None, build: Build = None,
    option: Option = None, fitted: Fitted = None, on_the_bench: Bench = None, fit: Fit = None,
    remedy: Remedy = None, remedy_all: RemedyAll = None, clear: Clear = None, keep: Keep = None,
    keep_section: KeepSection = None, refuse: Refuse = None, effort_at_most: Effort = "cutting",
    price_at_most: Price = None, nothing_visible: Invisible = False, specification: Specification = None,
    form: Annotated[str, typer.Option("--format", help="text, csv or json.")] = "text",
) -> None:  # fmt: skip
    """The order list of the closure that the same options give."""
    from api.orders.answering import order_as
    from api.wire.plain_order import order_lines

    if form not in ("text", "csv", "json"):
        _stop(f"'{form}' is no form of an order list; use text, csv or json")
    asked = _query(locals())
    with _readable_errors():
        document, sheet = order_as(_ready(_settings(database)), asked.body())
    if form == "json":
        _print_json(document)
    elif form == "csv":
        sys.stdout.write(sheet)
    else:
        _print(order_lines(document, document["currency"]))


@app.command()
def demo(
    place: Annotated[
        Path | None, typer.Argument(help="Folder for the demo's database; else a temporary one.")
    ] = None,
    chassis: Annotated[str, typer.Option(help="Chassis number.")] = "24PL-018412",
    fit: Annotated[str, typer.Option(help="The component wished for: front disc brakes.")] = "QB-3310",
) -> None:
    """The main job on invented data: load the demo range, wish for front disc brakes, print the set."""
    from api.demo import run

    with _readable_errors():
        _print(run(place, chassis, fit, shlex.quote(sys.argv[0])))


def _query(given: dict[str, Any]) -> Any:
    from pydantic import ValidationError

    from api.wire.errors import problem_from_mistakes
    from api.wire.query import ClosureQuery

    fields = {k: v for k, v in given.items() if k in ClosureQuery.model_fields and v is not None}
    try:
        return ClosureQuery(**fields)
    except ValidationError as error:
        _stop(problem_from_mistakes(error.errors()).detail)


def _settings(database: str | None, **given: Any) -> Settings:
    from pydantic import ValidationError

    values = {"database_url": database, **given}
    try:
        return Settings(**{key: value for key, value in values.items() if value is not None})
    except ValidationError as error:
        _stop("; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors()))


def _ready(settings: Settings) -> Any:
    """The service's parts on a database of the right shape. Raises Unavailable."""
    from api.service import make_service
    from api.warm import migration_level

    service = make_service(settings)
    right, present, needed = migration_level(service.engine)
    if not right:
        raise Unavailable(
            f"the database is at {present}, the program needs {needed}: run `graftbook migrate`"
        )
    return service


@contextmanager
def _readable_errors() -> Iterator[None]:
    try:
        yield
    except ImportRefused as error:
        for mistake in error.fields.get("mistakes", []):
            typer.echo(
                f"{mistake['file']}:{mistake['line']}: {mistake['field']}: {mistake['message']}", err=True
            )
        _stop(error.detail, NO)
    except Unavailable as error:
        _stop(error.detail, NO_DATABASE)
    except Problem as error:
        _stop(error.detail)
    except DBAPIError as error:
        _stop(f"the database does not answer: {error.orig}", NO_DATABASE)
    except (OSError, ValueError) as error:
        _stop(str(error))


def _stop(message: str, code: int = WRONG_USE) -> Any:
    typer.echo(f"graftbook: {message}", err=True)
    raise typer.Exit(code)


@contextmanager
def _counting(what: str) -> Iterator[Any]:
    columns = (SpinnerColumn(), TextColumn("{task.completed:,} {task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=None)
        yield lambda done: progress.update(task, completed=done)


def _show_mistakes(report: Any) -> None:
    for mistake in report.mistakes:
        typer.echo(str(mistake), err=True)
    if report.mistakes:
        total = len(report.mistakes) + report.more_mistakes
        typer.echo(f"{total} mistakes; nothing was stored.", err=True)


def _who() -> str:
    return f"command line: {os.environ.get('USER', 'somebody')}"


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line.rstrip())


def _print_json(document: Any) -> None:
    sys.stdout.buffer.write(orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE))
    sys.stdout.flush()


def main() -> None:
    """The console script."""
    app()
