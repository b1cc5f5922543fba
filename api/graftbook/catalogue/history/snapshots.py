"""Images: what a record says, as JSON; a record has the same image whenever it says the same.

The history keeps images of what stood before each change. The chassis spans of a variant are one
image under the variant's name, since a load gives them anew together. A companion's image holds a
row for each of its alternatives.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import orjson
from sqlalchemy import Column, Connection, MetaData, String, Table, Text, func, select

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.loading.bulk import OnClash, put
from graftbook.catalogue.loading.staging import forget, make_room
from graftbook.catalogue.store.columns import CLAIM_NAME
from graftbook.catalogue.store.from_rows import records_named, spans_of
from graftbook.catalogue.store.tables import table
from graftbook.database import listed

BATCH = 1000

BEFORE = Table(
    "image_before",
    MetaData(),
    Column("kind", String(40), primary_key=True),
    Column("name", CLAIM_NAME, primary_key=True),
    Column("image", Text, nullable=False),
    prefixes=["TEMPORARY"],
    postgresql_on_commit="DELETE ROWS",
)
"""What stood under the names that the edit at work replaces or removes."""

Fields = dict[str, Any]


def images(connection: Connection, kind: str, names: Iterable[str]) -> dict[str, str]:
    """The images of those records of a kind that exist, by name."""
    wanted = listed(connection, list(names))
    if kind == "chassis_span":
        records = spans_of(connection, wanted)
    else:
        records = records_named(connection, r.KIND_BY_WORD[kind], wanted)
    return images_of(records)


def images_of(records: Iterable[r.Record]) -> dict[str, str]:
    """The images of records, by name: of a variant's chassis spans, and of a companion's rows, together."""
    rows: dict[str, list[Fields]] = defaultdict(list)
    for record in records:
        name = record.variant if isinstance(record, r.ChassisSpanRecord) else name_of(record)
        rows[name].append(_fields(record))
    return {name: orjson.dumps(some, option=orjson.OPT_SORT_KEYS).decode() for name, some in rows.items()}


def _fields(record: r.Record) -> Fields:
    checked = type(record).model_validate(record.model_dump())
    return checked.model_dump(mode="json", exclude_defaults=True)


def rows_in(image: str | None) -> list[Fields]:
    """The rows of an image; none of no image."""
    return orjson.loads(image) if image else []


def objects_in(kind: str, image: str) -> Iterator[Fields]:
    """An image as the records that `load` reads as JSON."""
    for row in rows_in(image):
        yield {"record": kind, **row}


def begin_images(connection: Connection) -> None:
    """Make room for the images of an edit."""
    make_room(connection, BEFORE)


def end_images(connection: Connection) -> None:
    """Forget them."""
    forget(connection, BEFORE)


def remember(connection: Connection, kind: str, names: Iterable[str]) -> None:
    """Keep what stands under these names before it is replaced or removed."""
    keep_images(connection, kind, images(connection, kind, names))


def keep_images(connection: Connection, kind: str, before: Mapping[str, str]) -> None:
    """Keep these images, by name, of records that are about to be replaced or removed."""
    rows = [{"kind": kind, "name": name, "image": image} for name, image in before.items()]
    put(connection, BEFORE, rows, OnClash.none)


def remembered(connection: Connection) -> Iterator[tuple[str, dict[str, str]]]:
    """What was kept: a kind and some of its images by name, again and again."""
    for kind in connection.execute(select(BEFORE.c.kind).distinct().order_by(BEFORE.c.kind)).scalars().all():
        last, full = "", True
        while full:
            query = (
                select(BEFORE.c.name, BEFORE.c.image)
                .where(BEFORE.c.kind == kind, BEFORE.c.name > last)
                .order_by(BEFORE.c.name)
                .limit(BATCH)
            )
            some = {row.name: row.image for row in connection.execute(query)}
            full = len(some) == BATCH
            if some:
                yield kind, some
                last = max(some)


def names_with(connection: Connection, kind: str, text: str, most: int) -> list[str]:
    """Names of records of a kind that hold a text, the text itself first, then by name."""
    key = key_of(kind)
    same = select(key).where(key == text)
    like = select(key).where(func.lower(key).contains(text.lower(), autoescape=True))
    found: dict[str, None] = {}
    for query in (same, like.distinct().order_by(key).limit(most)):
        found |= dict.fromkeys(connection.execute(query).scalars())
    return list(found)


def key_of(kind: str) -> Any:
    """The column under which records of a kind have their name."""
    if kind == "chassis_span":
        return table("chassis_span").c.variant
    (key,) = table(kind).primary_key
    return key
