"""Where records come from: a sheet, a workbook, a folder of them, JSON, a stream, a request."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import orjson

from graftbook.catalogue.format.grid import NotASheet
from graftbook.catalogue.format.names import SaidTwice, each_once
from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sheets import (
    A_FLAT_LIST,
    Mistake,
    Place,
    Placed,
    kind_named,
    near,
    nearest,
    read_rows,
    read_sheet,
    shown,
    validate,
)
from graftbook.catalogue.format.workbooks import WORKBOOK_ENDINGS, sheets_in

LARGEST_JSON = 64_000_000
"""Bytes of a file of JSON records; it is read whole. A sheet may be of any size."""

SHEETS = (".csv", ".tsv", *WORKBOOK_ENDINGS)
"""The endings of what is read of a folder."""

REQUEST = "request"
"""The file's name in places of records that came as JSON."""


@dataclass(frozen=True, slots=True)
class SentSheet:
    """Bytes of a sheet or a workbook, under the name that the places of its mistakes carry."""

    name: str
    content: IO[bytes]


def records_in(source: Any, reading: SheetReading | None = None) -> Iterator[Placed | Mistake]:
    """Every record of a source in its order, and every mistake where it stands.

    A folder's sheets and workbooks are read in name order. `reading` settles what can be read in two ways,
    and is told what was taken for granted. Raises FileNotFoundError when a folder has none.
    """
    reading = reading or SheetReading()
    if isinstance(source, str | Path):
        yield from _from_path(Path(source), reading)
    elif isinstance(source, SentSheet):
        yield from _from_content(source.content, source.name, reading)
    elif hasattr(source, "read"):
        yield from read_sheet(source, str(getattr(source, "name", REQUEST)), reading)
    elif source and all(isinstance(item, Mapping) for item in source):
        yield from from_objects(source)
    else:
        for one in source:
            yield from records_in(one, reading)


def _from_path(path: Path, reading: SheetReading) -> Iterator[Placed | Mistake]:
    if path.is_dir():
        files = sorted(p for p in path.iterdir() if p.suffix.lower() in SHEETS and p.name[0] not in "~.")
        if not files:
            raise FileNotFoundError(f"there is no sheet in {path}: none of {', '.join(SHEETS)}")
        for file in files:
            yield from _from_path(file, reading)
    elif path.suffix == ".json":
        yield from _from_json(path)
    else:
        with path.open("rb") as content:
            yield from _from_content(content, path.name, reading)


def _from_content(content: IO[bytes], name: str, reading: SheetReading) -> Iterator[Placed | Mistake]:
    nothing = True
    try:
        for sheet in sheets_in(content, encoding=reading.encoding):
            nothing = nothing and bool(sheet.name) and kind_named(sheet.name) is None
            for item in read_rows(sheet, name, reading):
                nothing = False
                yield item
    except NotASheet as error:
        nothing = False
        yield Mistake(Place(name, error.line), "", "", str(error))
    if nothing:
        kinds = ", ".join(KIND_BY_WORD)
        message = f"no sheet is named like a kind of record; use one of: {kinds}; {A_FLAT_LIST}"
        yield Mistake(Place(name, 0), "", "", message)


def _from_json(path: Path) -> Iterator[Placed | Mistake]:
    if path.stat().st_size > LARGEST_JSON:
        message = f"a file of JSON records has at most {LARGEST_JSON} bytes; write it as a sheet"
        yield Mistake(Place(path.name, 1), "", "", message)
        return
    content = path.read_bytes()
    try:
        objects = orjson.loads(content)
        json.loads(content, object_pairs_hook=each_once)
    except orjson.JSONDecodeError as error:
        yield Mistake(Place(path.name, error.lineno), "", "", f"this is no JSON: {error.msg}")
        return
    except SaidTwice as error:
        yield Mistake(Place(path.name, 1), "", "", f"this can be read in two ways: {error}")
        return
    except RecursionError:
        yield Mistake(Place(path.name, 1), "", "", "this is nested too deep to be read")
        return
    if not isinstance(objects, list):
        yield Mistake(Place(path.name, 1), "", "", "a list of records is expected")
        return
    yield from from_objects(objects, path.name)


def from_objects(objects: Iterable[Any], file: str = REQUEST) -> Iterator[Placed | Mistake]:
    """Records as JSON gives them: objects whose `record` is the kind, a member a field.

    The line of a place is the object's number, from 1.
    """
    for number, fields in enumerate(objects, start=1):
        place = Place(file, number)
        if not isinstance(fields, Mapping):
            yield Mistake(place, "", "", "a record is an object")
            continue
        word = shown(fields.get("record", ""))
        kind = KIND_BY_WORD.get(word)
        if kind is None:
            hint = near(word, KIND_BY_WORD) or f"; use one of: {', '.join(KIND_BY_WORD)}"
            message = f"there is no such kind of record{hint}"
            yield Mistake(place, word, "record", message, hides=nearest(word, KIND_BY_WORD))
            continue
        record, mistakes = validate(kind, {k: v for k, v in fields.items() if k != "record"}, place)
        if record is not None:
            yield Placed(place, record)
        yield from mistakes
