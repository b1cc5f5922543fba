"""Writing the catalogue in the format that `load` reads, in an order that nothing but content decides."""

from collections.abc import Callable, Iterator
from io import StringIO
from itertools import islice
from pathlib import Path
from typing import Any, TextIO

from pydantic.json_schema import models_json_schema
from sqlalchemy import Connection, Engine

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.sheets import write_table
from graftbook.catalogue.store.from_rows import records_of
from graftbook.database import reading

PIECE = 500
"""Records in one piece of a streamed export."""


def export(engine: Engine, target: TextIO | Path | str, progress: Callable[[int], None] | None = None) -> int:
    """Write the whole catalogue; returns how many records were written.

    To a stream or a file: one sheet. To a folder that exists: a sheet for each kind of record, in
    an order in which their names sort. `progress` is called with the number of records so far.
    """
    with reading(engine) as session:
        connection = session.connection()
        if isinstance(target, str | Path):
            path = Path(target)
            if path.is_dir():
                return _to_folder(connection, path, progress)
            with path.open("w", encoding="utf-8", newline="") as stream:
                return _to_stream(connection, stream, progress)
        return _to_stream(connection, target, progress)


def export_text(engine: Engine) -> Iterator[str]:
    """The whole catalogue as one sheet, piece by piece; memory does not grow with it."""
    with reading(engine) as session:
        connection = session.connection()
        for kind in r.KINDS:
            records = records_of(connection, kind)
            first = True
            while some := list(islice(records, PIECE)):
                piece = StringIO()
                write_table(piece, kind, some, begin=first, end=False)
                first = False
                yield piece.getvalue()
            if not first:
                yield "\n"


def _to_stream(connection: Connection, stream: TextIO, progress: Callable[[int], None] | None) -> int:
    written = 0
    for kind in r.KINDS:
        written += write_table(stream, kind, records_of(connection, kind))
        if progress:
            progress(written)
    return written


def _to_folder(connection: Connection, folder: Path, progress: Callable[[int], None] | None) -> int:
    written = 0
    for number, kind in enumerate(r.KINDS, start=1):
        path = folder / f"{number:02d}-{kind.kind_of_record.replace('_', '-')}.csv"
        with path.open("w", encoding="utf-8", newline="") as stream:
            count = write_table(stream, kind, records_of(connection, kind))
        if not count:
            path.unlink()
        written += count
        if progress:
            progress(written)
    return written


def json_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the format: a list of records, each one of the kinds."""
    _, definitions = models_json_schema([(kind, "validation") for kind in r.KINDS], by_alias=False)
    for kind in r.KINDS:
        schema = definitions["$defs"][kind.__name__]
        schema["title"] = kind.kind_of_record
        schema["properties"] = {"record": {"const": kind.kind_of_record}, **schema["properties"]}
        schema["required"] = ["record", *schema.get("required", [])]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A catalogue in the text format",
        "type": "array",
        "items": {"oneOf": [{"$ref": f"#/$defs/{kind.__name__}"} for kind in r.KINDS]},
        **definitions,
    }
