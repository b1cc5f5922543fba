"""What every command takes beside its own: `--quiet`, and `-h` for help."""

import functools
import inspect
from collections.abc import Callable
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from graftbook.commands import console as c

BY_USE = {
    "Ask": {
        "demo": "the main job on invented data",
        "find": "parts, upgrades and flaws by what people say",
        "fits": "does this number fit that chassis?",
        "check": "is this list complete, does it work together?",
        "closure": "the complete set that follows from wishes",
        "order": "what to buy for it, and from whom",
        "build": "how a build stands, what is still open",
        "specification": "what a specification makes of each variant",
        "stock": "the shop's own store",
    },
    "Keep the catalogue": {
        "new": "a small range, to put your own in its place",
        "columns": "what stands in each column of each kind of record",
        "load": "take records, all or nothing",
        "flat": "take a parts list in columns of its own",
        "sheets": "the catalogue as workbooks with pick lists",
        "export": "the whole catalogue, as `load` reads it",
        "lint": "what contradicts itself",
        "history": "who changed what, when and why",
        "compare": "what differs between two revisions",
        "take-back": "undo one edit by a new one",
        "remove": "take a record out",
    },
    "Run it": {
        "serve": "answer over HTTP",
        "migrate": "bring the database to this program's shape",
        "backup": "copy the whole database into a file",
        "restore": "put a backup in its place",
        "keys": "keys for the API and the pages",
        "guide": "the guide, page by page",
    },
}
"""What stands of each command in the list of them."""


class ByUse(TyperGroup):
    """Lists the commands by what they are for."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """As the framework does, under a title for each use."""
        for title, commands in BY_USE.items():
            with formatter.section(title):
                formatter.write_dl(
                    [(name, words) for name, words in commands.items() if name in self.commands]
                )


Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing but what was asked for.")]


class Commands(typer.Typer):
    """A group of commands, each of which takes what every command takes."""

    def __init__(self, **given: Any) -> None:
        super().__init__(
            no_args_is_help=True,
            rich_markup_mode=None,
            pretty_exceptions_enable=False,
            context_settings={"help_option_names": ["-h", "--help"]},
            **given,
        )

    def command(self, name: str | None = None, **given: Any) -> Callable[[Any], Any]:
        """As the framework's own."""
        registered = super().command(name, **given)

        def register(function: Callable[..., Any]) -> Callable[..., Any]:
            registered(_quietly(function))
            return function

        return register


def _quietly(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function with one option more; what it does itself stays as it is."""

    @functools.wraps(function)
    def command(*given: Any, quiet: bool, **options: Any) -> Any:
        c.be_quiet(quiet)
        return function(*given, **options)

    own = inspect.signature(function)
    quiet = inspect.Parameter("quiet", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=Quiet)
    vars(command)["__signature__"] = own.replace(parameters=[*own.parameters.values(), quiet])
    command.__annotations__ = {**function.__annotations__, "quiet": Quiet}
    return command
