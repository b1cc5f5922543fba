"""Builds and specifications: each function does one thing in one transaction."""

from typing import Any, Literal

import orjson
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from graftbook.builds.schemas import BuildIn, ComparisonOut, SpecificationIn
from graftbook.builds.stored import store
from graftbook.builds.stored.documents import (
    BuildLineOut,
    BuildOut,
    SpecificationLineOut,
    SpecificationOut,
    build_in,
    specification_in,
)
from graftbook.builds.stored.tables import BuildRow, SpecificationRow, SpecificationVersionRow
from graftbook.database import Source, reading, writing
from graftbook.events.told import Kind, tell
from graftbook.http.etags import document_etag, names
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.problems import AlreadyExists, PreconditionFailed
from graftbook.process.state import Service
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import name_vehicle

_Compared = Literal["title", "variants", "preference", "limits"]


def _as_read(kind: str, document: BuildOut | SpecificationOut, if_match: str) -> None:
    """Raises PreconditionFailed unless this is what the asker read."""
    if not names(if_match, document_etag(kind, document)):
        raise PreconditionFailed(f"Read the {kind} again and change what you then see")


def settled(service: Service, build: BuildIn) -> BuildIn:
    """The build with every name as the catalogue writes it.

    Raises the problem of the first name that is not known, pointing at its field. Nobody who stores a build
    waits for a rule book to be compiled.
    """
    given = build.model_dump(include=set(VehicleIn.model_fields) - {"build"}, exclude_unset=True)
    asked = name_vehicle(service, VehicleIn(**given), pointer="")
    asked.names.wishes(build.decided, "/decided")
    return build.model_copy(
        update={
            "chassis": asked.chassis,
            "variant": asked.vehicle.variant,
            "options": sorted(asked.vehicle.options),
            "fitted": asked.fitted,
            "on_the_bench": sorted(asked.on_the_bench),
        }
    )


def list_builds(engine: Source, after: str, limit: int) -> list[BuildLineOut]:
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


def create_build(engine: Engine, name: str, build: BuildIn, once: Once = EACH_TIME) -> BuildOut:
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
            document = build_in(session, name)
            once.keep(session.connection(), document)
            _tell(session, "build.created", document)
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is a build '{name}' already", pointer="/name") from error


def replace_build(engine: Engine, name: str, if_match: str, build: BuildIn) -> BuildOut:
    """Replace a build that still has this ETag. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        before = build_in(session, name)
        _as_read("build", before, if_match)
        if not store.change_build(session, name, before["version"], _values(build)):
            raise PreconditionFailed("Somebody changed the build at the same time; read it again")
        store.put_parts(session, name, build.fitted, build.on_the_bench)
        session.flush()
        session.expire_all()
        document = build_in(session, name)
        _tell(session, "build.changed", document)
        return document


def delete_build(engine: Engine, name: str, if_match: str) -> None:
    """Delete a build that still has this ETag. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        before = build_in(session, name)
        _as_read("build", before, if_match)
        if not store.delete_build(session, name, before["version"]):
            raise PreconditionFailed("Somebody changed the build at the same time; read it again")
        _tell(session, "build.removed", before)


def _tell(session: Session, kind: Kind, build: BuildOut) -> None:
    data = {
        "name": build["name"],
        "variant": build["variant"],
        "chassis": build["chassis"],
        "version": build["version"],
    }
    tell(session.connection(), kind, data)


def list_specifications(engine: Source, after: str, limit: int) -> list[SpecificationLineOut]:
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


def create_specification(
    engine: Engine, name: str, body: SpecificationIn, once: Once = EACH_TIME
) -> SpecificationOut:
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
            document = specification_in(session, name)
            once.keep(session.connection(), document)
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is a specification '{name}' already", pointer="/name") from error


def new_version(engine: Engine, name: str, if_match: str, body: SpecificationIn) -> SpecificationOut:
    """Store the version after the one whose ETag this is. Raises UnknownSpecification, PreconditionFailed."""
    with writing(engine) as session:
        before = specification_in(session, name)
        _as_read("specification", before, if_match)
        if not store.raise_latest(session, name, before["latest"], body.title):
            raise PreconditionFailed("Somebody made a newer version; read it first")
        session.add(_version(name, before["latest"] + 1, body))
        session.flush()
        session.expire_all()
        return specification_in(session, name)


def compare_versions(one: SpecificationOut, other: SpecificationOut) -> ComparisonOut:
    """What changed from one version of a specification to another."""
    before, after = (
        [orjson.dumps(wish, option=orjson.OPT_SORT_KEYS) for wish in wishes]
        for wishes in (one["wishes"], other["wishes"])
    )
    fields: tuple[_Compared, ...] = ("title", "variants", "preference", "limits")
    return {
        "name": one["name"],
        "from_version": one["version"],
        "to_version": other["version"],
        "wishes_added": [orjson.loads(wish) for wish in after if wish not in before],
        "wishes_removed": [orjson.loads(wish) for wish in before if wish not in after],
        "changed": {f: {"from": one[f], "to": other[f]} for f in fields if one[f] != other[f]},
    }
