"""Builds and specifications: each function does one thing in one transaction."""

from typing import Any

import orjson
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError

from api.builds import store
from api.builds.schemas import BuildIn, SpecificationIn
from api.builds.tables import BuildRow, SpecificationRow, SpecificationVersionRow
from api.database import reading, writing
from api.problems import AlreadyExists, PreconditionFailed, UnknownBuild, UnknownSpecification
from api.wire.names import near_names

Facts = dict[str, Any]


def build_etag(version: int) -> str:
    """The strong ETag of a build at a version."""
    return f'"build-{version}"'


def version_in(etag: str, kind: str) -> int:
    """The version that an If-Match header names; 0 (which no version is) when it names none of ours."""
    mark = etag.strip().strip('"').removeprefix(f"{kind}-")
    return int(mark) if mark.isascii() and mark.isdigit() and len(mark) < 10 else 0


def build_document(engine: Engine, name: str) -> Facts:
    """A build as facts. Raises UnknownBuild."""
    with reading(engine) as session:
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


def create_build(engine: Engine, name: str, build: BuildIn) -> None:
    """Store a new build, its names already settled. Raises AlreadyExists."""
    try:
        with writing(engine) as session:
            if store.build_row(session, name) is not None:
                raise AlreadyExists(f"There is a build '{name}' already", pointer="/name")
            session.add(BuildRow(name=name, **_values(build)))
            session.flush()
            store.put_parts(session, name, build.fitted, build.on_the_bench)
    except IntegrityError as error:
        raise AlreadyExists(f"There is a build '{name}' already", pointer="/name") from error


def replace_build(engine: Engine, name: str, version: int, build: BuildIn) -> None:
    """Replace a build that still has this version. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        if store.build_row(session, name) is None:
            raise UnknownBuild(name)
        if not store.change_build(session, name, version, _values(build)):
            raise PreconditionFailed("Read the build again and change what you then see")
        store.put_parts(session, name, build.fitted, build.on_the_bench)


def delete_build(engine: Engine, name: str, version: int) -> None:
    """Delete a build that still has this version. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        if store.build_row(session, name) is None:
            raise UnknownBuild(name)
        if not store.delete_build(session, name, version):
            raise PreconditionFailed("Read the build again before you delete it")


def specification_document(engine: Engine, name: str, version: int | None = None) -> Facts:
    """One version of a specification (the latest when None). Raises UnknownSpecification."""
    with reading(engine) as session:
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
            "at": found.at.isoformat(),
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


def create_specification(engine: Engine, name: str, body: SpecificationIn) -> None:
    """Store version 1. Raises AlreadyExists."""
    try:
        with writing(engine) as session:
            if store.specification_row(session, name) is not None:
                raise AlreadyExists(f"There is a specification '{name}' already", pointer="/name")
            session.add(SpecificationRow(name=name, title=body.title))
            session.flush()
            session.add(_version(name, 1, body))
    except IntegrityError as error:
        raise AlreadyExists(f"There is a specification '{name}' already", pointer="/name") from error


def new_version(engine: Engine, name: str, latest: int, body: SpecificationIn) -> int:
    """Store the version after `latest`. Raises UnknownSpecification, PreconditionFailed."""
    with writing(engine) as session:
        if store.specification_row(session, name) is None:
            raise UnknownSpecification(name)
        if not store.raise_latest(session, name, latest, body.title):
            raise PreconditionFailed("Somebody made a newer version; read it first")
        session.add(_version(name, latest + 1, body))
        return latest + 1


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
