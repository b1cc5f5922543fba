"""Pictures of records and builds: each function does one thing in one transaction."""

from collections import defaultdict
from collections.abc import Collection

from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from graftbook.builds.stored.documents import build_in
from graftbook.catalogue.history.snapshots import images
from graftbook.database import Source, in_utc, reading, writing
from graftbook.pictures import store
from graftbook.pictures.image import MEDIA_TYPES, KeptPicture, MediaType
from graftbook.pictures.schemas import PictureOut
from graftbook.pictures.store import Size
from graftbook.pictures.tables import MOST_OF_ONE, PictureRow
from graftbook.problems import InvalidRequest, NothingHere, UnknownRecord

BUILD = "build"
Thing = tuple[str, str]
"""What a picture is of: a kind of record, or `build`, and its name."""
_WORDS: dict[str, MediaType] = {media: media for media in MEDIA_TYPES}


def pictures_of(source: Source, kind: str, name: str) -> list[PictureOut]:
    """The pictures of a record or build, in their order; none of what does not exist."""
    return pictures_of_each(source, [(kind, name)]).get((kind, name), [])


def pictures_of_each(source: Source, things: Collection[Thing]) -> dict[Thing, list[PictureOut]]:
    """The pictures of several things; those without any are left out."""
    found: dict[Thing, list[PictureOut]] = defaultdict(list)
    with reading(source) as session:
        for row in store.of_some(session, things):
            found[row.kind, row.name].append(_document(row))
    return dict(found)


def require(source: Source, kind: str, name: str) -> None:
    """Raises UnknownRecord or UnknownBuild unless there is something that a picture can be of."""
    with reading(source) as session:
        _require(session, kind, name)


def attach(
    engine: Engine, thing: Thing, kept: KeptPicture, caption: str, who: str
) -> tuple[PictureOut, bool]:
    """Attach a picture, and say whether it is new there; the same one again only takes the new caption.

    Raises UnknownRecord, UnknownBuild, and InvalidRequest when there is room for no further one.
    """
    while True:
        try:
            return _attach(engine, thing, kept, caption, who)
        except IntegrityError:
            continue  # somebody took the same place meanwhile; there are twelve


def _attach(
    engine: Engine, thing: Thing, kept: KeptPicture, caption: str, who: str
) -> tuple[PictureOut, bool]:
    kind, name = thing
    with writing(engine) as session:
        _require(session, kind, name)
        there = store.of_one(session, kind, name)
        row = next((row for row in there if row.digest == kept.digest), None)
        if known := row is not None:
            row.caption = caption
        else:
            row = _row(thing, kept, caption, who, [row.place for row in there])
            session.add(row)
        session.flush()
        return _document(row), not known


def _row(thing: Thing, kept: KeptPicture, caption: str, who: str, taken: list[int]) -> PictureRow:
    kind, name = thing
    place = store.free_place(taken, MOST_OF_ONE)
    if place is None:
        raise InvalidRequest(f"There are {MOST_OF_ONE} pictures already, the most; take one away first")
    return PictureRow(
        kind=kind,
        name=name,
        place=place,
        build=name if kind == BUILD else None,
        digest=kept.digest,
        media_type=kept.media_type,
        width=kept.width,
        height=kept.height,
        content=kept.content,
        small=kept.small,
        caption=caption,
        who=who,
    )


def take_away(engine: Engine, thing: Thing, digest: str) -> None:
    """Take a picture from a thing. Raises NothingHere when it has no such picture."""
    with writing(engine) as session:
        if not store.remove(session, *thing, digest):
            raise NothingHere("It has no such picture; somebody may have taken it away")


def pixels_of(source: Source, digest: str, size: Size) -> tuple[str, bytes]:
    """Media type and bytes of a picture. Raises NothingHere."""
    with reading(source) as session:
        found = store.content(session, digest, size)
    if found is None:
        raise NothingHere("There is no such picture")
    return found


def _require(session: Session, kind: str, name: str) -> None:
    if kind == BUILD:
        build_in(session, name)
    elif name not in images(session.connection(), kind, [name]):
        words = kind.replace("_", " ")
        raise UnknownRecord(f"{kind} '{name}'", detail=f"There is no {words} '{name}'")


def _document(row: PictureRow) -> PictureOut:
    address = f"/v1/pictures/{row.digest}"
    return {
        "digest": row.digest,
        "kind": row.kind,
        "name": row.name,
        "media_type": _WORDS[row.media_type],
        "width": row.width,
        "height": row.height,
        "caption": row.caption,
        "who": row.who,
        "at": in_utc(row.at).isoformat(),
        "address": address,
        "small": f"{address}?size=small",
    }
