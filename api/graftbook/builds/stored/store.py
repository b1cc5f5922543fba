"""The SQL of builds and specifications; each function works inside its caller's session."""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any, get_args

import orjson
from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from graftbook.builds.stored.events import BuildEvent, EventWord
from graftbook.builds.stored.tables import (
    BuildBenchRow,
    BuildEventRow,
    BuildFittingRow,
    BuildRow,
    HouseSpecificationRow,
    SpecificationRow,
    SpecificationVersionRow,
)
from graftbook.database import in_utc

_WORDS: dict[str, EventWord] = {word: word for word in get_args(EventWord)}


def build_row(session: Session, name: str, *, alone: bool = False) -> BuildRow | None:
    """The build; None if there is none of this name. `alone`: nobody else changes it meanwhile."""
    return session.get(BuildRow, name, with_for_update=alone or None)


def add_event(
    session: Session, build: str, day: date, who: str, what: EventWord, detail: Mapping[str, Any]
) -> None:
    """Write down what was so of a build on a day."""
    text = orjson.dumps(detail).decode()
    session.add(BuildEventRow(build=build, day=day, who=who, what=what, detail=text))
    session.flush()


def events_of(session: Session, build: str) -> list[BuildEvent]:
    """All that was recorded of a build, in the order in which it was written down."""
    rows = session.exec(
        select(BuildEventRow).where(BuildEventRow.build == build).order_by(col(BuildEventRow.id))
    )
    return [
        BuildEvent(row.id or 0, row.day, in_utc(row.at), row.who, _WORDS[row.what], orjson.loads(row.detail))
        for row in rows
    ]


def fittings(session: Session, name: str) -> dict[str, str | None]:
    """Position → component of a build, in name order."""
    rows = session.exec(
        select(BuildFittingRow.position, BuildFittingRow.component)
        .where(BuildFittingRow.build == name)
        .order_by(BuildFittingRow.position)
    )
    return dict(rows.all())


def bench(session: Session, name: str) -> list[str]:
    """The components at hand for a build, in number order."""
    return list(
        session.exec(
            select(BuildBenchRow.component)
            .where(BuildBenchRow.build == name)
            .order_by(BuildBenchRow.component)
        )
    )


def builds_after(session: Session, after: str, limit: int) -> list[BuildRow]:
    """Builds behind the name `after`, in name order."""
    return list(
        session.exec(select(BuildRow).where(col(BuildRow.name) > after).order_by(BuildRow.name).limit(limit))
    )


def build_names(session: Session) -> list[str]:
    """Names to look for near matches in."""
    return list(session.exec(select(BuildRow.name).order_by(BuildRow.name).limit(2_000)))


def put_parts(session: Session, name: str, fitted: dict[str, str | None], at_hand: Iterable[str]) -> None:
    """Replace what is fitted to a build and what is at hand for it."""
    session.exec(delete(BuildFittingRow).where(col(BuildFittingRow.build) == name))
    session.exec(delete(BuildBenchRow).where(col(BuildBenchRow.build) == name))
    session.flush()
    session.add_all(BuildFittingRow(build=name, position=p, component=c) for p, c in sorted(fitted.items()))
    session.add_all(BuildBenchRow(build=name, component=c) for c in sorted(set(at_hand)))


def change_build(session: Session, name: str, version: int) -> bool:
    """Raise the version of a build that still has this one; False if it has another by now."""
    changed = session.exec(
        update(BuildRow)
        .where(col(BuildRow.name) == name, col(BuildRow.version) == version)
        .values(version=version + 1, changed=datetime.now(UTC))
    )
    return changed.rowcount == 1


def set_build(session: Session, name: str, **values: str | date | None) -> None:
    """Write what a build is, in its own row."""
    session.exec(update(BuildRow).where(col(BuildRow.name) == name).values(**values))


def delete_build(session: Session, name: str, version: int) -> bool:
    """Delete a build that still has this version; False if it has another by now."""
    gone = session.exec(delete(BuildRow).where(col(BuildRow.name) == name, col(BuildRow.version) == version))
    return gone.rowcount == 1


def specification_row(session: Session, name: str) -> SpecificationRow | None:
    """The specification; None if there is none of this name."""
    return session.get(SpecificationRow, name)


def version_row(session: Session, name: str, version: int) -> SpecificationVersionRow | None:
    """One version; None if there is none of this number."""
    return session.get(SpecificationVersionRow, (name, version))


def specifications_after(session: Session, after: str, limit: int) -> list[SpecificationRow]:
    """Specifications behind the name `after`, in name order."""
    query = select(SpecificationRow).where(col(SpecificationRow.name) > after)
    return list(session.exec(query.order_by(SpecificationRow.name).limit(limit)))


def specification_names(session: Session) -> list[str]:
    """Names to look for near matches in."""
    return list(session.exec(select(SpecificationRow.name).order_by(SpecificationRow.name).limit(2_000)))


def raise_latest(session: Session, name: str, version: int, title: str) -> bool:
    """Make `version` + 1 the latest; False if `version` is not the latest any more."""
    changed = session.exec(
        update(SpecificationRow)
        .where(col(SpecificationRow.name) == name, col(SpecificationRow.latest) == version)
        .values(latest=version + 1, title=title)
    )
    return changed.rowcount == 1


def present_specification(session: Session) -> HouseSpecificationRow | None:
    """The version that the house builds to at present; None while there is none."""
    return session.get(HouseSpecificationRow, 1)


def put_present_specification(session: Session, name: str, version: int, who: str) -> None:
    """Make a version the house's present one, in place of the one before."""
    row = session.get(HouseSpecificationRow, 1, with_for_update=True) or HouseSpecificationRow(
        specification=name, version=version
    )
    row.specification, row.version, row.who, row.since = name, version, who, datetime.now(UTC)
    session.add(row)
    session.flush()


def builds_to(session: Session, built_to: str, limit: int) -> list[str]:
    """The names of the builds that were built to a version, `name@version`."""
    query = select(BuildRow.name).where(col(BuildRow.built_to) == built_to)
    return list(session.exec(query.order_by(BuildRow.name).limit(limit)))
