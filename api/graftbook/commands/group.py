"""What every command takes beside its own: `--quiet`, and `-h` for help."""

import functools
import inspect
from collections.abc import Callable
from typing import Annotated, Any

import typer

from graftbook.commands import console as c

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
