"""Kept builds and specifications as documents: below the questions, which start from them."""

from typing import Annotated, NotRequired

import orjson
from pydantic import Field
from sqlmodel import Session

from graftbook.builds.stored import store
from graftbook.builds.stored.tables import BuildRow
from graftbook.catalogue.compiling.book_names import near_names
from graftbook.database import Source, in_utc, reading
from graftbook.document import DayOut, Document, MomentOut
from graftbook.problems import UnknownBuild, UnknownSpecification
from graftbook.rulebook.model import SeverityWord


class KeptWishOut(Document):
    """A wish as it was sent; what was left out is left out."""

    upgrade: NotRequired[Annotated[str, Field(description="everything that this named upgrade wishes")]]
    fit: NotRequired[Annotated[str, Field(description="fit this component")]]
    position: NotRequired[Annotated[str, Field(description="with `fit`: at this position")]]
    quantity: NotRequired[Annotated[int, Field(description="with `fit` of a loose part: pieces")]]
    remedy: NotRequired[Annotated[str, Field(description="remedy this known flaw")]]
    remedy_all: NotRequired[
        Annotated[SeverityWord, Field(description="remedy every known flaw from this severity up")]
    ]
    section: NotRequired[Annotated[str, Field(description="with `remedy_all`: in this section only")]]
    clear: NotRequired[Annotated[str, Field(description="leave this position empty")]]


class KeptLimitsOut(Document):
    """What an answer may not do."""

    keep: Annotated[list[str], Field(description="positions that stay as today")]
    keep_sections: Annotated[list[str], Field(description="sections that stay as today")]
    refuse: Annotated[list[str], Field(description="components not to be fitted")]
    effort_at_most: Annotated[str, Field(description="`machining`: nothing that cannot be put back")]
    price_at_most: Annotated[
        str | None, Field(description="ceiling on the parts, an exact decimal; null: none")
    ]
    nothing_visible: Annotated[bool, Field(description="nothing that shows may change")]


class BuildLineOut(Document):
    """A build in a list."""

    name: str
    variant: str
    chassis: str
    note: Annotated[str, Field(description="anything worth knowing; may be empty")]
    version: Annotated[int, Field(description="goes up with each change of the build")]


class BuildOut(BuildLineOut):
    """One real vehicle: what is fitted to it today, what is decided for it."""

    built: Annotated[
        DayOut | None, Field(description="the day it was built; null: estimated from the chassis number")
    ]
    options: list[str]
    fitted: Annotated[
        dict[str, str | None],
        Field(description="position → component fitted instead of the original; null: empty"),
    ]
    on_the_bench: list[str]
    decided: Annotated[list[KeptWishOut], Field(description="wishes that are decided for it")]


class SpecificationLineOut(Document):
    """A specification in a list."""

    name: str
    title: str
    latest: int


class SpecificationOut(SpecificationLineOut):
    """One version of a specification."""

    version: Annotated[int, Field(description="number of this version")]
    note: Annotated[str, Field(description="why this version")]
    at: Annotated[MomentOut, Field(description="when this version was stored")]
    variants: Annotated[list[str], Field(description="variants that it is for; empty: every variant")]
    wishes: list[KeptWishOut]
    limits: KeptLimitsOut
    preference: list[str]


def build_document(engine: Source, name: str) -> BuildOut:
    """A build as facts. Raises UnknownBuild."""
    with reading(engine) as session:
        return build_in(session, name)


def build_in(session: Session, name: str) -> BuildOut:
    """A build as facts, as this session sees it. Raises UnknownBuild."""
    row = store.build_row(session, name)
    if row is None:
        raise UnknownBuild(name, near_names(name, store.build_names(session)))
    return _build(row, store.fittings(session, name), store.bench(session, name))


def _build(row: BuildRow, fitted: dict[str, str | None], at_hand: list[str]) -> BuildOut:
    return {
        "name": row.name,
        "variant": row.variant,
        "chassis": row.chassis,
        "built": row.built.isoformat() if row.built else None,
        "options": [option for option in row.options.split("; ") if option],
        "fitted": fitted,
        "on_the_bench": at_hand,
        "decided": orjson.loads(row.decided),
        "note": row.note,
        "version": row.version,
    }


def specification_document(engine: Source, name: str, version: int | None = None) -> SpecificationOut:
    """One version of a specification (the latest when None). Raises UnknownSpecification."""
    with reading(engine) as session:
        return specification_in(session, name, version)


def specification_in(session: Session, name: str, version: int | None = None) -> SpecificationOut:
    """One version of a specification, as this session sees it. Raises UnknownSpecification."""
    row = store.specification_row(session, name)
    if row is None:
        raise UnknownSpecification(name, near_names(name, store.specification_names(session)))
    found = store.version_row(session, name, version or row.latest)
    if found is None:
        raise UnknownSpecification(f"{name}@{version}", [f"{name}@{row.latest}"])
    return {
        "name": name,
        "version": found.version,
        "latest": row.latest,
        "note": found.note,
        "at": in_utc(found.at).isoformat(),
        **_kept(found.document),
    }


def _kept(text: str) -> SpecificationOut:
    """A version as it was stored: what was sent, without what the rows beside it say."""
    document: SpecificationOut = orjson.loads(text)
    return document
