"""Builds and specifications: each function does one thing in one transaction."""

from typing import Any

import orjson
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from graftbook.builds.schemas import BuildIn, SpecificationIn
from graftbook.builds.stored import store
from graftbook.builds.stored.tables import BuildRow, SpecificationRow, SpecificationVersionRow
from graftbook.catalogue.compiling.book_names import near_names
from graftbook.database import in_utc, reading, writing
from graftbook.http.etags import document_etag, names
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.problems import AlreadyExists, PreconditionFailed, UnknownBuild, UnknownSpecification

Facts = dict[str, Any]


def _as_read(kind: str, document: Facts, if_match: str) -> None:
    """Raises PreconditionFailed unless this is what the asker read."""
    if not names(if_match, document_etag(kind, document)):
        raise PreconditionFailed(f"Read the {kind} again and change what you then see")


def build_document(engine: Engine, name: str) -> Facts:
    """A build as facts. Raises UnknownBuild."""
    with reading(engine) as session:
        return _build_in(session, name)


def _build_in(session: Session, name: str) -> Facts:
    row = store.build_row(session, name)
    if row is None:
        raise UnknownBuild(name, near_names(name, store.build_names(session)))
    return _build(row, store.fittings(session, name), store.bench(session, name))


def _build(row: BuildRow, fitted: dict[str, str | None], at_hand: list[str]) -> Facts:
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


def list_builds(engine: Engine, after: str, limit: int) -> list[Facts]:
    """A page of builds in name order, without their parts."""
    with reading(engine) as session:
        rows = store.builds_after(session, after, limit)
        return [
            {
                "name": r.name,
                "variant": r.variant,
                "chassis": r.chassis,
                "note": r.note,
                "version": r.version,
            }
            for r in rows
        ]


def _values(build: BuildIn) -> dict[str, Any]:
    return {
        "variant": build.variant or "",
        "chassis": build.chassis,
        "built": build.built,
        "options": "; ".join(sorted(build.options)),
        "decided": orjson.dumps([wish.model_dump(exclude_unset=True) for wish in build.decided]).decode(),
        "note": build.note,
    }


def create_build(engine: Engine, name: str, build: BuildIn, once: Once = EACH_TIME) -> Facts:
    """Store a new build, its names already settled. Raises AlreadyExists, and what `once` raises."""
    try:
        with writing(engine) as session:
            once.begin(session.connection())
            if store.build_row(session, name) is not None:
                raise AlreadyExists(f"There is a build '{name}' already", pointer="/name")
            session.add(BuildRow(name=name, **_values(build)))
            session.flush()
            store.put_parts(session, name, build.fitted, build.on_the_bench)
            session.flush()
            document = _build_in(session, name)
            once.keep(session.connection(), document)
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is a build '{name}' already", pointer="/name") from error


def replace_build(engine: Engine, name: str, if_match: str, build: BuildIn) -> Facts:
    """Replace a build that still has this ETag. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        before = _build_in(session, name)
        _as_read("build", before, if_match)
        if not store.change_build(session, name, before["version"], _values(build)):
            raise PreconditionFailed("Somebody changed the build at the same time; read it again")
        store.put_parts(session, name, build.fitted, build.on_the_bench)
        session.flush()
        session.expire_all()
        return _build_in(session, name)


def delete_build(engine: Engine, name: str, if_match: str) -> None:
    """Delete a build that still has this ETag. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        before = _build_in(session, name)
        _as_read("build", before, if_match)
        if not store.delete_build(session, name, before["version"]):
            raise PreconditionFailed("Somebody changed the build at the same time; read it again")


def specification_document(engine: Engine, name: str, version: int | None = None) -> Facts:
    """One version of a specification (the latest when None). Raises UnknownSpecification."""
    with reading(engine) as session:
        return _specification_in(session, name, version)


def _specification_in(session: Session, name: str, version: int | None = None) -> Facts:
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
        **orjson.loads(found.document),
    }


def list_specifications(engine: Engine, after: str, limit: int) -> list[Facts]:
    """A page of specifications in name order."""
    with reading(engine) as session:
        rows = store.specifications_after(session, after, limit)
        return [{"name": r.name, "title": r.title, "latest": r.latest} for r in rows]


def _version(name: str, number: int, body: SpecificationIn) -> SpecificationVersionRow:
    document = body.model_dump(mode="json", exclude={"note", "name"}, exclude_unset=True)
    document |= {"limits": body.limits.model_dump(mode="json"), "variants": body.variants}
    document |= {"preference": list(body.preference)}
    document["wishes"] = [wish.model_dump(exclude_unset=True) for wish in body.wishes]
    text = orjson.dumps(document).decode()
    return SpecificationVersionRow(specification=name, version=number, document=text, note=body.note)


def create_specification(engine: Engine, name: str, body: SpecificationIn, once: Once = EACH_TIME) -> Facts:
    """Store version 1. Raises AlreadyExists, and what `once` raises."""
    try:
        with writing(engine) as session:
            once.begin(session.connection())
            if store.specification_row(session, name) is not None:
                raise AlreadyExists(f"There is a specification '{name}' already", pointer="/name")
            session.add(SpecificationRow(name=name, title=body.title))
            session.flush()
            session.add(_version(name, 1, body))
            session.flush()
            document = _specification_in(session, name)
            once.keep(session.connection(), document)
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is a specification '{name}' already", pointer="/name") from error


def new_version(engine: Engine, name: str, if_match: str, body: SpecificationIn) -> Facts:
    """Store the version after the one whose ETag this is. Raises UnknownSpecification, PreconditionFailed."""
    with writing(engine) as session:
        before = _specification_in(session, name)
        _as_read("specification", before, if_match)
        if not store.raise_latest(session, name, before["latest"], body.title):
            raise PreconditionFailed("Somebody made a newer version; read it first")
        session.add(_version(name, before["latest"] + 1, body))
        session.flush()
        session.expire_all()
        return _specification_in(session, name)


def compare_versions(one: Facts, other: Facts) -> Facts:
    """What changed from one version of a specification to another."""
    before, after = ([_key(wish) for wish in version["wishes"]] for version in (one, other))
    fields = ("title", "variants", "preference", "limits")
    return {
        "wishes_added": [orjson.loads(wish) for wish in after if wish not in before],
        "wishes_removed": [orjson.loads(wish) for wish in before if wish not in after],
        "changed": {f: {"from": one[f], "to": other[f]} for f in fields if one[f] != other[f]},
    }


def _key(wish: Facts) -> bytes:
    return orjson.dumps(wish, option=orjson.OPT_SORT_KEYS)
