"""What a picture looks like in JSON, and what names it."""

from typing import Annotated, Literal

from fastapi import Path
from pydantic import Field

from graftbook.catalogue.format.fields import SAID_PATTERN
from graftbook.catalogue.format.records import KindWord
from graftbook.document import Document, MomentOut
from graftbook.pictures.image import MediaType

Kind = Annotated[
    KindWord | Literal["build"],
    Path(description="kind of record, or `build`", examples=["component"]),
]
Name = Annotated[
    str,
    Path(
        min_length=1,
        max_length=300,
        pattern=SAID_PATTERN,
        description="stable name of the record or build; a component's number",
        examples=["QB-3310"],
    ),
]
Digest = Annotated[
    str, Path(pattern="^[0-9a-f]{64}$", description="digest of the picture, as the list has it")
]
LONGEST_CAPTION = 200


class PictureOut(Document):
    """A picture of a record or build, without its pixels."""

    digest: Annotated[str, Field(description="SHA-256 of its bytes")]
    kind: str
    name: str
    media_type: MediaType
    width: Annotated[int, Field(description="pixels")]
    height: Annotated[int, Field(description="pixels")]
    caption: str
    who: Annotated[str, Field(description="who attached it: the label of the key, and its id")]
    at: MomentOut
    address: Annotated[str, Field(description="where its pixels are")]
    small: Annotated[str, Field(description="where a small one of it is, at most 320 pixels long")]


class PicturesOut(Document):
    """The pictures of one thing, in the order in which they were attached."""

    items: list[PictureOut]
