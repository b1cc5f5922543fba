"""What a search answers."""

from typing import Annotated, Literal

from pydantic import Field

from graftbook.document import Document

FoundKind = Literal["upgrade", "component", "flaw"]


class FoundOut(Document):
    """Something that answers to what was searched for."""

    kind: Annotated[FoundKind, Field(description="what it is")]
    name: Annotated[str, Field(description="the part number, or the name of the upgrade or the flaw")]
    title: Annotated[str, Field(description="in words")]
    detail: Annotated[str, Field(description="an upgrade's note, a flaw's component; else empty")]
    section: str
    fits: Annotated[bool | None, Field(description="the vehicle in hand; null: none was named")]
    matched: Annotated[list[str], Field(description="which of the terms it answers to")]


class UnderstoodTermOut(Document):
    """A term of the search, and the catalogue's words for it."""

    said: Annotated[str, Field(description="as it is looked for: singular, one spelling, slips mended")]
    also: Annotated[list[str], Field(description="the catalogue's words for it")]


class SearchOut(Document):
    """What was understood and what was found."""

    text: Annotated[str, Field(description="what was searched for")]
    terms: Annotated[list[UnderstoodTermOut], Field(description="what the text was taken to say")]
    read_as: Annotated[list[str], Field(description="part numbers that the text may be a slip of")]
    items: list[FoundOut]
    sentence: Annotated[str, Field(description="what was found, or what was tried and what is near")]
    near: Annotated[
        list[str], Field(description="where nothing was found: words of the catalogue like these")
    ]
    catalogue_revision: int
