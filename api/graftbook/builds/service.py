"""Builds and specifications: each function does one thing in one transaction."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from types import MappingProxyType
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
    row_of,
    specification_in,
)
from graftbook.builds.stored.events import EventWord, state_of
from graftbook.builds.stored.tables import BuildRow, SpecificationRow, SpecificationVersionRow
from graftbook.catalogue.store.lookup import numbers_meant
from graftbook.database import Source, reading, writing
from graftbook.events.outbox import Kind, record_event
from graftbook.http.preconditions import document_etag, require_match
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.problems import AlreadyExists, InvalidRequest, PreconditionFailed
from graftbook.process.service import Service
from graftbook.questions.schemas import VehicleIn, WishIn
from graftbook.questions.vehicles.service import name_vehicle

_Compared = Literal["title", "variants", "preference", "limits"]


def _require_match(if_match: str, kind: str, document: BuildOut | SpecificationOut) -> None:
    """Raises PreconditionFailed unless this is what the asker read."""
    require_match(if_match, document_etag(kind, document), f"the {kind}")


NOTHING_TOLD: Mapping[str, str | None] = MappingProxyType({})


def settled(service: Service, build: BuildIn) -> BuildIn:
    """The build with every name as the catalogue writes it.

    Raises the problem of the first name that is not known, pointing at its field. Nobody who stores a build
    waits for a rule book to be compiled.
    """
    given = build.model_dump(include=set(VehicleIn.model_fields) - {"build"}, exclude_unset=True)
    asked = name_vehicle(service, VehicleIn(**given))
    asked.names.wishes(build.decided, "/decided")
    written = {wish.fit: asked.names.component(wish.fit, "/decided") for wish in build.decided if wish.fit}
    return build.model_copy(
        update={
            "chassis": asked.chassis,
            "variant": asked.vehicle.variant,
            "options": sorted(asked.vehicle.options),
            "fitted": asked.fitted,
            "on_the_bench": sorted(asked.on_the_bench),
            "decided": with_numbers(build.decided, written),
        }
    )


def with_numbers(wishes: Iterable[WishIn], written: Mapping[str, str]) -> list[WishIn]:
    """Wishes, each once, with their numbers as they are written."""
    numbered = [w.model_copy(update={"fit": written.get(w.fit, w.fit)}) if w.fit else w for w in wishes]
    return [wish for at, wish in enumerate(numbered) if wish not in numbered[:at]]


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


def today() -> date:
    """The day by the shop's calendar: of the time zone that the machine is set to."""
    return date.today()


def create_build(
    engine: Engine, name: str, build: BuildIn, who: str = "", once: Once = EACH_TIME, on: date | None = None
) -> BuildOut:
    """Take in a build, its names already settled; its life begins on the day `on`, else today.

    Raises AlreadyExists, InvalidRequest for a day to come, and what `once` raises.
    """
    day = on or today()
    require_past(day, "/taken_in")
    stated = build.stated()
    try:
        with writing(engine) as session:
            once.begin(session.connection())
            if store.build_row(session, name) is not None:
                raise AlreadyExists(f"There is a build '{name}' already", pointer="/name")
            session.add(
                BuildRow(name=name, variant=stated["variant"], chassis=stated["chassis"], taken_in=day)
            )
            session.flush()
            store.add_event(session, name, day, who, "stated", stated)
            _write_state(session, name)
            document = build_in(session, name)
            once.keep(session.connection(), document)
            _tell(session, "build.created", document)
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is a build '{name}' already", pointer="/name") from error


def require_past(day: date, pointer: str) -> None:
    """Raises InvalidRequest for a day that has not come: only what was so can be recorded."""
    if day > today():
        raise InvalidRequest(f"{day} has not come yet: record what was so", pointer=pointer)


def _write_state(session: Session, name: str) -> None:
    """Write what follows from all that is recorded of a build into its rows, for questions to read."""
    state = state_of(store.events_of(session, name))
    if state is None:
        raise InvalidRequest(f"'{name}' would have no beginning: what it was taken in with counts no more")
    stated = state.stated
    store.set_build(
        session,
        name,
        variant=stated["variant"],
        chassis=stated["chassis"],
        built=date.fromisoformat(stated["built"]) if stated["built"] else None,
        options="; ".join(stated["options"]),
        decided=orjson.dumps(list(state.decided)).decode(),
        note=stated["note"],
        taken_in=state.taken_in,
        built_to=state.built_to,
    )
    store.put_parts(session, name, state.fitted, stated["on_the_bench"])
    session.flush()
    session.expire_all()


Recorded = tuple[EventWord, date, Mapping[str, Any]]
"""What was so, on which day, and what there is to say of it."""


def record(engine: Engine, name: str, events: Sequence[Recorded], who: str, once: Once) -> BuildOut:
    """Record what was so of a build, all of it or nothing; its names already settled.

    Raises UnknownBuild, InvalidRequest for a day before it was taken in or to come, and what `once` raises.
    """
    with writing(engine) as session:
        once.begin(session.connection())
        row = row_of(session, name, alone=True)
        for place, (_, day, _) in enumerate(events):
            require_past(day, f"/events/{place}/day")
            if row.taken_in and day < row.taken_in:
                message = f"'{name}' was taken in on {row.taken_in}; nothing is recorded of it before that"
                raise InvalidRequest(message, pointer=f"/events/{place}/day")
        for what, day, detail in events:
            store.add_event(session, name, day, who, what, detail)
        store.change_build(session, name, row.version)
        _write_state(session, name)
        document = build_in(session, name)
        _tell(session, "build.changed", document)
        once.keep(session.connection(), document)
        return document


def replace_build(
    engine: Engine,
    name: str,
    if_match: str,
    build: BuildIn,
    who: str,
    told: Mapping[str, str | None] = NOTHING_TOLD,
) -> BuildOut:
    """From today on a build that still has this ETag is as said; `told`: what its records tell, as it was
    read. Raises UnknownBuild, PreconditionFailed, InvalidRequest where that is not so."""
    with writing(engine) as session:
        row = row_of(session, name, alone=True)
        before = build_in(session, name)
        _require_match(if_match, "build", before)
        for field, value in told.items():
            if value != before.get(field):
                message = "This follows from its records: send it as it was read, and record what was so"
                raise InvalidRequest(message, pointer=f"/{field}")
        store.add_event(session, name, max(today(), row.taken_in or today()), who, "stated", build.stated())
        if not store.change_build(session, name, row.version):
            raise PreconditionFailed("Somebody changed the build at the same time; read it again")
        _write_state(session, name)
        document = build_in(session, name)
        _tell(session, "build.changed", document)
        return document


def delete_build(engine: Engine, name: str, if_match: str) -> None:
    """Delete a build that still has this ETag. Raises UnknownBuild, PreconditionFailed."""
    with writing(engine) as session:
        before = build_in(session, name)
        _require_match(if_match, "build", before)
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
    record_event(session.connection(), kind, data)


def list_specifications(engine: Source, after: str, limit: int) -> list[SpecificationLineOut]:
    """A page of specifications in name order."""
    with reading(engine) as session:
        rows = store.specifications_after(session, after, limit)
        present = store.present_specification(session)
        mine = {present.specification: present.version} if present else {}
        return [
            {"name": r.name, "title": r.title, "latest": r.latest, "present": mine.get(r.name)} for r in rows
        ]


def _version(session: Session, name: str, number: int, body: SpecificationIn) -> SpecificationVersionRow:
    """The row of a version. Numbers that the catalogue has are kept as it writes them."""
    numbers = [*(wish.fit for wish in body.wishes if wish.fit), *body.limits.refuse]
    meant = numbers_meant(session, numbers)
    written = {typed: found[0] if len(found) == 1 else typed for typed, found in meant.items()}
    refuse = list(dict.fromkeys(written.get(typed, typed) for typed in body.limits.refuse))
    document = body.model_dump(mode="json", exclude={"note", "name"}, exclude_unset=True)
    limits = body.limits.model_dump(mode="json") | {"refuse": refuse}
    document |= {"limits": limits, "variants": body.variants}
    document |= {"preference": list(body.preference)}
    document["wishes"] = [wish.model_dump(exclude_unset=True) for wish in with_numbers(body.wishes, written)]
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
            session.add(_version(session, name, 1, body))
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
        _require_match(if_match, "specification", before)
        if not store.raise_latest(session, name, before["latest"], body.title):
            raise PreconditionFailed("Somebody made a newer version; read it first")
        session.add(_version(session, name, before["latest"] + 1, body))
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
