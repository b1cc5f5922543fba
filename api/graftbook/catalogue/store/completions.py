"""Names that begin so, for the shell that completes what somebody types.

Asked of the driver itself: a Tab waits for it, and an ORM takes longer to load than to answer. Each is one
step in an index, reads so many rows at most, and writes nothing.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from graftbook.rulebook.units import chassis_number

MOST = 60
MOST_SECONDS = 1
_END = "\U0010ffff"
_BETWEEN = "BETWEEN ? AND ?"

_ASKED = {
    "chassis": [
        f"SELECT DISTINCT chassis, name FROM build WHERE chassis {_BETWEEN} ORDER BY chassis",
        "SELECT prefix, first_serial, digits, variant FROM chassis_span "
        f"WHERE prefix {_BETWEEN} ORDER BY prefix, first_serial",
    ],
    "component": [f"SELECT number, name FROM component WHERE number {_BETWEEN} ORDER BY number"],
    "flaw": [f"SELECT claim, component FROM flaw WHERE claim {_BETWEEN} ORDER BY claim"],
    "upgrade": [f"SELECT claim, title FROM upgrade WHERE claim {_BETWEEN} ORDER BY claim"],
    "position": [f"SELECT name, title FROM position WHERE name {_BETWEEN} ORDER BY name"],
    "section": [f"SELECT name, title FROM section WHERE name {_BETWEEN} ORDER BY name"],
    "variant": [f"SELECT name, title FROM variant WHERE name {_BETWEEN} ORDER BY name"],
    "build": [f"SELECT name, chassis FROM build WHERE name {_BETWEEN} ORDER BY name"],
    "specification": [f"SELECT name, '' FROM specification WHERE name {_BETWEEN} ORDER BY name"],
}


def completions(url: str, what: str, start: str) -> list[tuple[str, str]]:
    """Names of one sort (`_ASKED`) that begin so, each with what it is; at most `MOST`.

    Raises whatever the driver raises.
    """
    found: list[tuple[str, str]] = []
    with _raw_connection(url) as (connection, mark):
        for query in _ASKED[what]:
            with closing(connection.cursor()) as cursor:
                cursor.execute(
                    f"{query} LIMIT {MOST}".replace("?", mark), (_first(query, start), start + _END)
                )
                found += [_completion(row) for row in cursor.fetchall()]
    return list(dict(found).items())[:MOST]


def _first(query: str, start: str) -> str:
    """Of a chassis number only the part before the dash stands with its span."""
    return start.partition("-")[0] if "chassis_span" in query else start


def _completion(row: tuple[Any, ...]) -> tuple[str, str]:
    if len(row) == 4:
        prefix, serial, digits, variant = row
        return chassis_number(prefix, serial, digits), f"the first {variant}"
    return row[0], row[1]


@contextmanager
def _raw_connection(url: str) -> Iterator[tuple[Any, str]]:
    """The driver's own connection, to read from, and how it marks a parameter."""
    if url.startswith("sqlite"):
        path = Path(unquote(url.partition("///")[2].partition("?")[0]))
        address = f"{path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, timeout=MOST_SECONDS, uri=True)) as connection:
            yield connection, "?"
        return
    import psycopg

    plain = f"postgresql://{url.partition('://')[2]}"
    with psycopg.connect(plain, connect_timeout=MOST_SECONDS) as connection:
        connection.execute(f"SET statement_timeout = {MOST_SECONDS * 1000}")
        yield connection, "%s"
