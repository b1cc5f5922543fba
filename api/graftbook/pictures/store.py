"""The SQL of pictures; each function works inside its caller's session. Lists never read the pixels."""

from collections.abc import Collection, Iterable
from typing import Literal

from sqlalchemy import delete, inspect, tuple_
from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from graftbook.pictures.tables import PictureRow

Size = Literal["whole", "small"]
_AT_ONCE = 200
_NO_PIXELS = tuple(
    defer(inspect(PictureRow).attrs[column].class_attribute, raiseload=True)
    for column in ("content", "small")
)


def of_one(session: Session, kind: str, name: str) -> list[PictureRow]:
    """The pictures of one thing, in their order."""
    return of_some(session, [(kind, name)])


def of_some(session: Session, things: Collection[tuple[str, str]]) -> list[PictureRow]:
    """The pictures of several things, each a kind and a name; by thing, each in its order."""
    found: list[PictureRow] = []
    ordered = sorted(things)
    for start in range(0, len(ordered), _AT_ONCE):
        some = ordered[start : start + _AT_ONCE]
        query = select(PictureRow).where(tuple_(col(PictureRow.kind), col(PictureRow.name)).in_(some))
        query = query.order_by(col(PictureRow.kind), col(PictureRow.name), col(PictureRow.place))
        found += session.exec(query.options(*_NO_PIXELS))
    return found


def content(session: Session, digest: str, size: Size) -> tuple[str, bytes] | None:
    """Media type and bytes of a picture; None if there is none of this digest."""
    bytes_of = PictureRow.small if size == "small" else PictureRow.content
    query = select(PictureRow.media_type, bytes_of).where(PictureRow.digest == digest).limit(1)
    return session.exec(query).first()


def free_place(taken: Iterable[int], most: int) -> int | None:
    """The first number that no picture of a thing has; None when all are taken."""
    known = set(taken)
    return next((place for place in range(1, most + 1) if place not in known), None)


def remove(session: Session, kind: str, name: str, digest: str) -> bool:
    """Take a picture from a thing; False if it has none of this digest."""
    gone = session.exec(
        delete(PictureRow).where(
            col(PictureRow.kind) == kind, col(PictureRow.name) == name, col(PictureRow.digest) == digest
        )
    )
    return gone.rowcount == 1
