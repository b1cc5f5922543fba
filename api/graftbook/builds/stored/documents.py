"""Kept builds and specifications as documents: below the questions, which start from them."""

from datetime import date
from typing import Annotated, Any, NotRequired

import orjson
from pydantic import Field
from sqlmodel import Session

from graftbook.builds.stored import store
from graftbook.builds.stored.events import BuildState, state_of
from graftbook.builds.stored.tables import BuildRow
from graftbook.catalogue.compiling.book_names import near_names
from graftbook.database import Source, in_utc, reading
from graftbook.document import DayOut, Document, MomentOut
from graftbook.problems import InvalidRequest, UnknownBuild, UnknownSpecification
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
    evidence_at_least: NotRequired[
        Annotated[str, Field(description="nothing is fitted on a claim that is worth less")]
    ]


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
    taken_in: Annotated[
        DayOut | None, Field(description="the day from which on its records tell of it; null: before them")
    ]
    built_to: Annotated[str | None, Field(description="the specification it was built to, `name@version`")]


class SpecificationLineOut(Document):
    """A specification in a list."""

    name: str
    title: str
    latest: int
    present: Annotated[
        int | None, Field(description="the version that is the house's present one; null: none of these")
    ]


class SpecificationOut(SpecificationLineOut):
    """One version of a specification."""

    version: Annotated[int, Field(description="number of this version")]
    note: Annotated[str, Field(description="why this version")]
    at: Annotated[MomentOut, Field(description="when this version was stored")]
    variants: Annotated[list[str], Field(description="variants that it is for; empty: every variant")]
    wishes: list[KeptWishOut]
    limits: KeptLimitsOut
    preference: list[str]


def build_document(engine: Source, name: str, on: date | None = None) -> BuildOut:
    """A build as facts, as it is or as it was on a day.

    Raises UnknownBuild, and InvalidRequest for a day before it was taken in.
    """
    with reading(engine) as session:
        if on is None:
            return build_in(session, name)
        return build_on(row_of(session, name), state_on(session, name, on))


def row_of(session: Session, name: str, *, alone: bool = False) -> BuildRow:
    """The build's own row. Raises UnknownBuild."""
    row = store.build_row(session, name, alone=alone)
    if row is None:
        raise UnknownBuild(name, near_names(name, store.build_names(session)))
    return row


def build_in(session: Session, name: str) -> BuildOut:
    """A build as facts, as this session sees it. Raises UnknownBuild."""
    row = row_of(session, name)
    return _build(row, store.fittings(session, name), store.bench(session, name))


def state_on(session: Session, name: str, on: date) -> BuildState:
    """The state of a build on a day. Raises InvalidRequest for a day before it was taken in."""
    state = state_of(store.events_of(session, name), on)
    if state is None:
        taken_in = row_of(session, name).taken_in
        since = f"it was taken in on {taken_in}" if taken_in else "nothing is recorded of its life"
        raise InvalidRequest(f"Nothing is known of '{name}' on {on}: {since}")
    return state


def build_on(row: BuildRow, state: BuildState) -> BuildOut:
    """A build as facts, as it was in a state."""
    stated = state.stated
    decided: Any = [dict(wish) for wish in state.decided]  # as the form that sent them was looked at
    return {
        "name": row.name,
        "variant": stated["variant"],
        "chassis": stated["chassis"],
        "built": stated["built"],
        "options": list(stated["options"]),
        "fitted": state.fitted,
        "on_the_bench": list(stated["on_the_bench"]),
        "decided": decided,
        "note": stated["note"],
        "version": row.version,
        "taken_in": state.taken_in.isoformat(),
        "built_to": state.built_to,
    }


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
        "taken_in": row.taken_in.isoformat() if row.taken_in else None,
        "built_to": row.built_to,
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
        "present": present_of(session, name),
        "note": found.note,
        "at": in_utc(found.at).isoformat(),
        **_version_document(found.document),
    }


def present_of(session: Session, name: str) -> int | None:
    """Which version of a specification is the house's present one; None: none of them."""
    present = store.present_specification(session)
    return present.version if present and present.specification == name else None


def _version_document(text: str) -> SpecificationOut:
    """A version as it was stored: what was sent, without what the rows beside it say."""
    document: SpecificationOut = orjson.loads(text)
    return document
