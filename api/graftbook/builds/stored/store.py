"""The SQL of builds and specifications; each function works inside its caller's session."""

from collections.abc import Iterable
from datetime import UTC, date, datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from graftbook.builds.stored.tables import (
    BuildBenchRow,
    BuildFittingRow,
    BuildRow,
    SpecificationRow,
    SpecificationVersionRow,
)


def build_row(session: Session, name: str) -> BuildRow | None:
    """The build; None if there is none of this name."""
    return session.get(BuildRow, name)


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


def build_names(session: Session, limit: int = 2_000) -> list[str]:
    """Names to look for near matches in."""
    return list(session.exec(select(BuildRow.name).order_by(BuildRow.name).limit(limit)))


def put_parts(session: Session, name: str, fitted: dict[str, str | None], at_hand: Iterable[str]) -> None:
    """Replace what is fitted to a build and what is at hand for it."""
    session.exec(delete(BuildFittingRow).where(col(BuildFittingRow.build) == name))
    session.exec(delete(BuildBenchRow).where(col(BuildBenchRow.build) == name))
    session.flush()
    session.add_all(BuildFittingRow(build=name, position=p, component=c) for p, c in sorted(fitted.items()))
    session.add_all(BuildBenchRow(build=name, component=c) for c in sorted(set(at_hand)))


def change_build(session: Session, name: str, version: int, values: dict[str, str | date | None]) -> bool:
    """Change a build that still has this version, and raise it; False if it has another by now."""
    changed = session.exec(
        update(BuildRow)
        .where(col(BuildRow.name) == name, col(BuildRow.version) == version)
        .values(version=version + 1, changed=datetime.now(UTC), **values)
    )
    return changed.rowcount == 1


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


def specification_names(session: Session, limit: int = 2_000) -> list[str]:
    """Names to look for near matches in."""
    return list(session.exec(select(SpecificationRow.name).order_by(SpecificationRow.name).limit(limit)))


def raise_latest(session: Session, name: str, version: int, title: str) -> bool:
    """Make `version` + 1 the latest; False if `version` is not the latest any more."""
    changed = session.exec(
        update(SpecificationRow)
        .where(col(SpecificationRow.name) == name, col(SpecificationRow.latest) == version)
        .values(latest=version + 1, title=title)
    )
    return changed.rowcount == 1
