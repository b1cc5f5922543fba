"""What Tab offers: names that are in the database. When something goes wrong it offers and says nothing."""

import os
from collections.abc import Callable

import typer

Offered = list[tuple[str, str]]
Complete = Callable[[typer.Context, str], Offered]
DEFAULT = "sqlite:///graftbook.sqlite3"


def _of(what: str) -> Complete:
    def complete(ctx: typer.Context, incomplete: str) -> Offered:
        return _completions(ctx, what, incomplete)

    return complete


def _completions(ctx: typer.Context, what: str, start: str, before: str = "") -> Offered:
    try:
        from graftbook.catalogue.store.completions import completions

        url = ctx.params.get("database") or os.environ.get("GRAFTBOOK_DATABASE_URL") or DEFAULT
        return [(f"{before}{name}", about) for name, about in completions(url, what, start)]
    except Exception:
        return []


chassis_numbers = _of("chassis")
components = _of("component")
flaws = _of("flaw")
positions = _of("position")
sections = _of("section")
variants = _of("variant")
builds = _of("build")
specifications = _of("specification")


def components_at(ctx: typer.Context, incomplete: str) -> Offered:
    """`number` or `number@position`."""
    number, at, position = incomplete.partition("@")
    return _completions(ctx, "position", position, f"{number}@") if at else components(ctx, incomplete)


def positions_with(ctx: typer.Context, incomplete: str) -> Offered:
    """`position=component`."""
    position, equals, number = incomplete.partition("=")
    if equals:
        return _completions(ctx, "component", number, f"{position}=")
    return [(f"{name}=", about) for name, about in positions(ctx, incomplete)]


def kinds(incomplete: str) -> list[str]:
    """Kinds of record."""
    from graftbook.catalogue.format.records import KIND_BY_WORD

    return [word for word in KIND_BY_WORD if word.startswith(incomplete)]


def names_of_kind(ctx: typer.Context, incomplete: str) -> Offered:
    """Names of records of the kind that stands before, where there is a list of them."""
    kind = ctx.params.get("kind")
    return _completions(ctx, kind, incomplete) if isinstance(kind, str) else []
