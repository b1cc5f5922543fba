"""`graftbook keys`: who owns the database administers it, so no key is asked for here."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from graftbook.access.scopes import Scope
from graftbook.commands import console as c
from graftbook.commands.group import Commands

if TYPE_CHECKING:
    from sqlalchemy import Engine

keys = Commands(help="Keys for the API and the pages.")

AsJson = Annotated[bool, typer.Option("--json", help="As JSON.")]
MOST_LISTED = 100_000


@contextmanager
def _database(database: str | None) -> Iterator["Engine"]:
    """The database for one command; what goes wrong ends it with a readable line."""
    with c.readable_errors():
        engine = c.engine_for(c.settings_for(database))
        try:
            yield engine
        finally:
            engine.dispose()


@keys.command()
def create(
    label: Annotated[str, typer.Option(help="Whose key it is, or what for.")],
    scope: Annotated[Scope, typer.Option(help="What it may do; each includes those before it.")],
    expires: Annotated[
        str | None, typer.Option(help="90d, or the last day as 2027-01-31; else never.")
    ] = None,
    database: c.Database = None,
    as_json: AsJson = False,
) -> None:
    """Make a key and show it, this once: it is stored as a digest only."""
    from graftbook.access import service as access
    from graftbook.access.principal import Caller

    with _database(database) as engine:
        until = access.read_expiry(expires, access.moment()) if expires else None
        made = access.create_key(engine, label, scope, until, Caller(who=c.who()))
    if as_json:
        c.print_json(made.document())
        return
    typer.echo(made.text)
    ends = f"until {until:%Y-%m-%d %H:%M} UTC" if until else "until it is revoked"
    c.say(f"Key {made.row.id} for {made.row.label} may {scope}, {ends}. Keep it now.")


@keys.command(name="list")
def list_(database: c.Database = None, as_json: AsJson = False) -> None:
    """The keys, oldest first, without their secrets."""
    from graftbook.access import service as access

    with _database(database) as engine:
        rows = access.list_keys(engine, None, MOST_LISTED)
    if as_json:
        c.print_json(rows)
        return
    for row in rows:
        state = "revoked" if row["revoked"] else "usable" if row["usable"] else "expired"
        used = f"last used {row['last_used'][:16]}" if row["last_used"] else "never used"
        until = f"until {row['expires'][:16]}" if row["expires"] else "no end"
        typer.echo(f"{row['id']}  {row['scope']:<10}  {state:<7}  {until:<22}  {used:<26}  {row['label']}")


@keys.command()
def revoke(
    key: Annotated[str, typer.Argument(metavar="ID", help="The key's id, as `keys list` shows it.")],
    database: c.Database = None,
    as_json: AsJson = False,
) -> None:
    """From now on the key opens nothing, in no process."""
    from graftbook.access import service as access
    from graftbook.access.principal import Caller

    with _database(database) as engine:
        access.revoke_key(engine, key, Caller(who=c.who()))
    if as_json:
        c.print_json({"id": key, "revoked": True})
    else:
        c.say(f"Key {key} opens nothing any more.")
