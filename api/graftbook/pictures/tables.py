"""The table of pictures. They are no part of the catalogue's text format and of no rule book."""

from datetime import UTC, datetime

from sqlalchemy import CheckConstraint, Column, DateTime, LargeBinary, String, UniqueConstraint
from sqlmodel import Field, SQLModel

from graftbook.catalogue.store.columns import CLAIM_NAME, one_of, refers, words
from graftbook.pictures.image import MEDIA_TYPES

MOST_OF_ONE = 12
"""So many pictures stand with one thing."""


class PictureRow(SQLModel, table=True):
    """A picture of the record or build (`kind`, `name`); `place` is its number there.

    `build` is the name once more where it is one of a build, so that they go together.
    """

    __tablename__ = "picture"
    __table_args__ = (
        CheckConstraint(f"place >= 1 AND place <= {MOST_OF_ONE}", name="place"),
        one_of("media_type", "media_type", MEDIA_TYPES),
        UniqueConstraint("kind", "name", "digest"),
    )
    kind: str = Field(sa_column=Column(String(40), primary_key=True))
    name: str = Field(sa_column=Column(CLAIM_NAME, primary_key=True))
    place: int = Field(primary_key=True)
    build: str | None = refers("build.name", optional=True, cascade=True)
    digest: str = Field(sa_column=Column(String(64), nullable=False, index=True))
    media_type: str = Field(sa_column=Column(String(10), nullable=False))
    width: int
    height: int
    content: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    small: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    caption: str = words()
    who: str = words()
    at: datetime = Field(
        default_factory=lambda: datetime.now(UTC), sa_column=Column(DateTime(timezone=True), nullable=False)
    )
