"""What the commands share: their options, how they begin, how they end, how they print.

Every command loads this, a mere question for help too: what takes long to load (the database, the service,
the questions) is imported where it is used.
"""

import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn, TypeVar

import typer

from graftbook.commands import completion
from graftbook.commands.exits import Ends, ends_with
from graftbook.problems import Problem, Unavailable

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from graftbook.catalogue.loading.load import LoadReport
    from graftbook.orders.question_schemas import OrderQuery
    from graftbook.process.service import Service
    from graftbook.questions.closures.query import ClosureQuery
    from graftbook.settings import Settings

Query = TypeVar("Query", bound="ClosureQuery")

NO, WRONG_USE, NO_DATABASE, REFUSED = Ends.NO, Ends.WRONG_USE, Ends.NO_DATABASE, Ends.REFUSED

_quiet = False

Database = Annotated[
    str | None,
    typer.Option("--database", help="Database address; else GRAFTBOOK_DATABASE_URL, else a file here."),
]
Chassis = Annotated[
    str | None,
    typer.Option(help="Chassis number, such as 24PL-018412.", autocompletion=completion.chassis_numbers),
]
Variant = Annotated[
    str | None,
    typer.Option(help="Variant; may be left out with a chassis number.", autocompletion=completion.variants),
]
Why = Annotated[str, typer.Option(help="Why, for the history.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Check everything, store nothing.")]
Build = Annotated[str | None, typer.Option(help="Name of a stored build.", autocompletion=completion.builds)]
Option = Annotated[list[str] | None, typer.Option("--option", help="An option the vehicle has. Repeatable.")]
Fitted = Annotated[
    list[str] | None,
    typer.Option(
        help="position=component that is fitted today; position= for empty. Repeatable.",
        autocompletion=completion.positions_with,
    ),
]
Bench = Annotated[
    list[str] | None,
    typer.Option(
        "--on-the-bench", help="A component at hand. Repeatable.", autocompletion=completion.components
    ),
]
Fit = Annotated[
    list[str] | None,
    typer.Option(
        "--fit",
        help="Fit this: number or number@position. Repeatable.",
        autocompletion=completion.components_at,
    ),
]
Upgrade = Annotated[
    list[str] | None, typer.Option("--upgrade", help="A named upgrade, such as front-discs. Repeatable.")
]
Remedy = Annotated[
    list[str] | None,
    typer.Option("--remedy", help="Remedy this known flaw. Repeatable.", autocompletion=completion.flaws),
]
RemedyAll = Annotated[
    str | None, typer.Option("--remedy-all", help="Remedy every known flaw from this severity up: severe, …")
]
Clear = Annotated[
    list[str] | None,
    typer.Option(
        "--clear", help="Leave this position empty. Repeatable.", autocompletion=completion.positions
    ),
]
Keep = Annotated[
    list[str] | None,
    typer.Option(
        "--keep", help="Keep this position as today. Repeatable.", autocompletion=completion.positions
    ),
]
KeepSection = Annotated[
    list[str] | None,
    typer.Option(help="Keep this section as today. Repeatable.", autocompletion=completion.sections),
]
Refuse = Annotated[
    list[str] | None,
    typer.Option(
        "--refuse", help="Do not fit this component. Repeatable.", autocompletion=completion.components
    ),
]
LeastEvidence = Annotated[
    str,
    typer.Option(
        "--evidence-at-least",
        help="Fit only what is worth at least: 'parts book', measured, 'trial fitted', 'built and driven'.",
    ),
]
Effort = Annotated[
    str,
    typer.Option(
        help="Most work: direct, 'with companions', machining, cutting. machining: can be put back."
    ),
]
Price = Annotated[str | None, typer.Option("--price-at-most", help="Ceiling on the parts.")]
Invisible = Annotated[bool, typer.Option("--nothing-visible", help="Nothing that shows may change.")]
Specification = Annotated[
    str | None,
    typer.Option(
        help="Stored specification: name or name@version.", autocompletion=completion.specifications
    ),
]
Rules = Annotated[
    str | None,
    typer.Option(
        help="Which rules bind: 'in service', or 'type approval' too; else as GRAFTBOOK_RULES says."
    ),
]
Summary = Annotated[
    bool, typer.Option("--summary", help="The summary as JSON, as the API answers with view=summary.")
]
Alternatives = Annotated[int, typer.Option(help="Further good sets to show.")]
Full = Annotated[
    bool,
    typer.Option("--full", help="Next bests, what stays, every flaw, claim and check too."),
]
AsJson = Annotated[bool, typer.Option("--json", help="The JSON that the API answers.")]

By = Annotated[str | None, typer.Option(help="Everything must be there by this day, such as 2026-12-24.")]
BuyFrom = Annotated[list[str] | None, typer.Option(help="Buy this number there, number=supplier.")]
AtMostSuppliers = Annotated[int | None, typer.Option(help="No more suppliers than this.")]
Fastest = Annotated[bool, typer.Option("--fastest", help="As early as can be, then the cheapest.")]


def day(text: str) -> date:
    """A day as ISO 8601 writes it; `typer.BadParameter` for anything else."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no day; write year-month-day, such as 2026-10-31.") from None


def query_from(given: dict[str, Any]) -> "ClosureQuery":
    """The question that a command's options ask; ends the command when they cannot be one."""
    from graftbook.questions.closures.query import ClosureQuery

    return _from_options(ClosureQuery, given)


def order_query_from(given: dict[str, Any]) -> "OrderQuery":
    """The same with how to buy."""
    from graftbook.orders.question_schemas import OrderQuery

    return _from_options(OrderQuery, given)


def _from_options(query: type[Query], given: dict[str, Any]) -> Query:
    from pydantic import ValidationError

    fields = {k: v for k, v in given.items() if k in query.model_fields and v is not None}
    try:
        return query(**fields)
    except ValidationError as error:
        from graftbook.http.errors import problem_from_mistakes

        stop(problem_from_mistakes(error.errors()).detail)


def settings_for(database: str | None, **given: Any) -> "Settings":
    """The settings of the environment with a command's options over them."""
    from pydantic import ValidationError

    from graftbook.settings import Settings

    values = {"database_url": database, **given}
    try:
        return Settings(**{key: value for key, value in values.items() if value is not None})
    except ValidationError as error:
        stop("; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors()))


def service_for(settings: "Settings") -> "Service":
    """The service's parts on a database of the right shape. Raises Unavailable."""
    from graftbook.process.service import make_service

    require_file(settings)
    service = make_service(settings)
    _require_shape(service.engine)
    return service


def engine_for(settings: "Settings") -> "Engine":
    """The database alone, of the right shape, for what needs no question answered. Raises Unavailable."""
    from graftbook.database import make_engine

    require_file(settings)
    engine = make_engine(settings.database_url, settings.pool_size)
    _require_shape(engine)
    return engine


def engine_to_edit(settings: "Settings") -> "Engine":
    """The same for an edit of the catalogue: with the tables of all who name its records, so that nothing
    that a build, an order list or the store needs seems free to go."""
    import graftbook.builds.stored.tables
    import graftbook.orders.tables  # noqa: F401  (both define tables that refer to the catalogue's)

    return engine_for(settings)


def require_file(settings: "Settings") -> None:
    """A file that is not there is not made: its address was misspelt, or nothing was ever loaded."""
    from graftbook.database import file_of

    path = file_of(settings.database_url)
    if path is not None and not path.is_file():
        raise Unavailable(
            f"there is no database {path}: see whether its address is spelt right, or make it with "
            "`graftbook migrate`"
        )


def _require_shape(engine: "Engine") -> None:
    from graftbook.database import level_needed, level_of

    needed = level_needed()
    with engine.connect() as connection:
        present = level_of(connection)
    if present != needed:
        engine.dispose()
        raise Unavailable(
            f"the database is at {present or 'nothing'}, the program needs {needed}: run `graftbook migrate`"
        )


@contextmanager
def readable_errors() -> Iterator[None]:
    """Ends the command with one readable line and the right exit code when something goes wrong inside."""
    try:
        yield
    except Problem as error:
        stop(error.detail, ends_with(error))
    except BrokenPipeError:
        raise  # whoever read the output went away; `commands.entry` ends the command
    except OSError as error:
        stop(f"{error.filename}: {error.strerror}" if error.filename and error.strerror else str(error))
    except ValueError as error:
        stop(str(error))
    except Exception as error:
        # Loaded here, since most commands end well; one that came this far has loaded it itself.
        from sqlalchemy.exc import DBAPIError

        from graftbook.closure.search.deadline import OutOfTime
        from graftbook.database_faults import GONE, in_words

        if isinstance(error, OutOfTime):
            stop("this was not worked out in the time there is; ask for less at once", Ends.NOT_IN_TIME)
        if not isinstance(error, DBAPIError) or (words := in_words(error)) is None:
            raise
        complaint = "the database does not answer" if words == GONE else words
        stop(f"{complaint} ({error.orig})", NO_DATABASE)


def stop(message: str, code: int = WRONG_USE) -> NoReturn:
    """End the command with a message."""
    typer.echo(f"graftbook: {message}", err=True)
    raise typer.Exit(code)


def require_empty(folder: Path) -> None:
    """End the command unless a folder to be written is still to be made, or is empty."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        stop(f"{folder} is there and not empty; name another folder")


def be_quiet(quiet: bool) -> None:
    """Whether this command says what it did, beside what it prints and what went wrong."""
    global _quiet
    _quiet = quiet


def say(words: str) -> None:
    """What was done, for whoever looks on: never among the data, and not with --quiet."""
    if not _quiet:
        typer.echo(words, err=True)


@contextmanager
def counting(what: str) -> Iterator[Callable[[int], None]]:
    """Shows on the terminal how many are done; call what it gives with the number so far."""
    if _quiet or not sys.stderr.isatty():
        yield lambda done: None
        return
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.completed:,} {task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=None)
        yield lambda done: progress.update(task, completed=done)


def show_mistakes(report: "LoadReport") -> None:
    """Every mistake of a load with its file and line."""
    for mistake in report.mistakes:
        typer.echo(str(mistake), err=True)
    if report.mistakes:
        typer.echo(
            f"{report.mistake_count[0].upper()}{report.mistake_count[1:]}; nothing was stored.", err=True
        )


def who() -> str:
    """Who edits, for the history."""
    return f"command line: {os.environ.get('USER', 'somebody')}"


def print_lines(lines: Iterable[str]) -> None:
    """Lines on the standard output, all at once: who ends the command gets them whole or not at all."""
    if text := "".join(f"{line.rstrip()}\n" for line in lines):
        typer.echo(text, nl=False)


def counted(number: int, one: str) -> str:
    """`1 row`, `2 rows`."""
    from graftbook.http.values import counted as in_words

    return in_words(number, one)


def print_json(document: Any) -> None:
    """A document on the standard output, indented."""
    import orjson

    sys.stdout.buffer.write(orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE))
    sys.stdout.flush()


def print_items(items: Sequence[Mapping[str, Any]], lines: Iterable[str], as_json: bool) -> None:
    """A list as `{"items": […]}`, or as its lines."""
    if as_json:
        print_json({"items": items})
    else:
        print_lines(lines)


@contextmanager
def enough_time() -> Iterator[None]:
    """Ends the command with one readable line when no set was found in time, or too much hangs together."""
    from graftbook.closure.search.deadline import OutOfTime
    from graftbook.rulebook.scope import ScopeTooLarge

    try:
        yield
    except OutOfTime:
        stop(
            "no set was found in time; ask for less at once, or raise GRAFTBOOK_SECONDS_TO_REASON",
            Ends.NOT_IN_TIME,
        )
    except ScopeTooLarge:
        stop("this hangs together with too much to be reasoned over; ask for less at once", Ends.NOT_IN_TIME)
