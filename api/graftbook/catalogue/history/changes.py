"""The history of the catalogue: what each edit changed, kept in the edit's own transaction.

For each record an edit keeps what stood before (`image_before`); what stood afterwards is what the
record's next change found, or what stands now. So an insert of a million records keeps a million
names and no text.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Literal

from sqlalchemy import (
    Connection,
    Integer,
    Select,
    Text,
    and_,
    bindparam,
    delete,
    func,
    insert,
    literal,
    not_,
    select,
    tuple_,
)

from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.history.snapshots import BEFORE, Fields, images, remembered, rows_in
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED
from graftbook.catalogue.store.tables import table
from graftbook.database import in_utc, listed
from graftbook.problems import TooFarBack
from graftbook.rulebook.units import chassis_number, chassis_parts


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit: its revision, when, who, why, and how many records it changed."""

    revision: int
    at: datetime
    who: str
    why: str
    ranges: tuple[str, ...]
    changes: int


WhatWord = Literal["added", "changed", "removed"]


@dataclass(frozen=True, slots=True)
class RecordChange:
    """One record that an edit changed; no rows before: it was new; none after: it was removed."""

    edit: Edit
    kind: str
    name: str
    before: list[Fields]
    after: list[Fields]

    @property
    def what(self) -> WhatWord:
        """`added`, `changed` or `removed`."""
        return "changed" if self.before and self.after else "added" if self.after else "removed"


def forget_unchanged(connection: Connection) -> None:
    """Drop from the edit at work the records that say what they said before."""
    for kind, before in remembered(connection):
        now = images(connection, kind, before)
        same = [name for name, image in before.items() if now.get(name) == image]
        if not same:
            continue
        of_stage = SPANS_OF if kind == "chassis_span" else kind
        names = listed(connection, same)
        connection.execute(delete(STAGED).where(STAGED.c.kind == of_stage, STAGED.c.name.in_(names)))
        connection.execute(delete(BEFORE).where(BEFORE.c.kind == kind, BEFORE.c.name.in_(names)))
        if kind == "chassis_span":
            _forget_spans(connection, same)


def _forget_spans(connection: Connection, variants: Iterable[str]) -> None:
    span = table("chassis_span")
    for row in connection.execute(select(span).where(span.c.variant.in_(listed(connection, variants)))):
        name = f"{row.variant} {chassis_number(row.prefix, row.first_serial, row.digits)}"
        connection.execute(delete(STAGED).where(STAGED.c.kind == "chassis_span", STAGED.c.name == name))


def changes_at_work(connection: Connection) -> int:
    """How many records the edit at work changes."""
    return connection.execute(select(func.count()).select_from(_staged_changes(0).subquery())).scalar_one()


def keep(connection: Connection, revision: int) -> None:
    """Write the history of the edit at work."""
    change = table("record_change")
    columns = ["kind", "name", "revision", "before"]
    connection.execute(insert(change).from_select(columns, _staged_changes(revision)))


def _staged_changes(revision: int) -> Select[Any]:
    kind = func.replace(STAGED.c.kind, SPANS_OF, "chassis_span")
    on = and_(BEFORE.c.kind == kind, BEFORE.c.name == STAGED.c.name)
    return (
        select(kind, STAGED.c.name, literal(revision), BEFORE.c.image)
        .select_from(STAGED.outerjoin(BEFORE, on))
        .where(STAGED.c.kind != "chassis_span", not_(STAGED.c.broken))
    )


def _edits() -> Select[Any]:
    revision, change = table("revision"), table("record_change")
    counted = select(func.count()).where(change.c.revision == revision.c.number).scalar_subquery()
    changes = func.coalesce(revision.c.changes, counted).label("changes")
    return select(*(c for c in revision.c if c.name != "changes"), changes)


def _edit(row: Any) -> Edit:
    ranges = tuple(name for name in row.touched.split("; ") if name)
    return Edit(row.number, in_utc(row.at), row.who, row.why, ranges, row.changes)


def edits(connection: Connection, before: int | None, limit: int) -> list[Edit]:
    """Edits with a smaller revision than `before`, the newest first."""
    revision = table("revision")
    query = _edits().order_by(revision.c.number.desc()).limit(limit)
    if before is not None:
        query = query.where(revision.c.number < before)
    return [_edit(row) for row in connection.execute(query)]


def edit_of(connection: Connection, revision: int) -> Edit | None:
    """One edit; None if there is none of this revision."""
    row = connection.execute(_edits().where(table("revision").c.number == revision)).first()
    return _edit(row) if row else None


def changes_of_edit(
    connection: Connection, revision: int, after: tuple[str, str], limit: int
) -> list[RecordChange]:
    """What an edit changed, by kind and name, behind the kind and name `after`."""
    change = table("record_change")
    behind = tuple_(change.c.kind, change.c.name) > tuple_(*after)
    query = select(change).where(change.c.revision == revision, behind)
    return _changes(connection, query.order_by(change.c.kind, change.c.name).limit(limit))


def before_edit(connection: Connection, revision: int, limit: int) -> list[tuple[str, str, list[Fields]]]:
    """(kind, name, rows that stood before; none: it was new) of what an edit changed."""
    change = table("record_change")
    query = select(change.c.kind, change.c.name, change.c.before).where(change.c.revision == revision)
    rows = connection.execute(query.order_by(change.c.kind, change.c.name).limit(limit))
    return [(row.kind, row.name, rows_in(row.before)) for row in rows]


def touched_since(
    connection: Connection, revision: int, records: Collection[tuple[str, str]]
) -> list[tuple[str, str]]:
    """Those of the records, (kind, name), that an edit after the revision touched, whatever they say now."""
    change = table("record_change")
    later = select(change.c.kind, change.c.name).where(change.c.revision > revision).distinct()
    return sorted({(row.kind, row.name) for row in connection.execute(later)}.intersection(records))


def touched_again(connection: Connection, revision: int) -> list[tuple[str, str]]:
    """(kind, name) of what an edit changed and a later one touched, whatever it says by now."""
    change, later = table("record_change"), table("record_change").alias("later")
    same = and_(later.c.kind == change.c.kind, later.c.name == change.c.name, later.c.revision > revision)
    query = select(change.c.kind, change.c.name).where(change.c.revision == revision)
    query = query.where(select(later.c.name).where(same).exists())
    return [(row.kind, row.name) for row in connection.execute(query.order_by(change.c.kind, change.c.name))]


def changes_of_record(
    connection: Connection, kind: str, name: str, before: int | None, limit: int
) -> list[RecordChange]:
    """The history of one record, the newest change first."""
    change = table("record_change")
    query = select(change).where(change.c.kind == kind, change.c.name == name)
    if before is not None:
        query = query.where(change.c.revision < before)
    return _changes(connection, query.order_by(change.c.revision.desc()).limit(limit))


def _changes(connection: Connection, query: Select[Any]) -> list[RecordChange]:
    rows = connection.execute(query).all()
    numbers = sorted({row.revision for row in rows})
    of = table("revision").c.number.in_(numbers)
    known = {edit.revision: edit for edit in map(_edit, connection.execute(_edits().where(of)))}
    after = images_at(connection, [(row.kind, row.name, row.revision) for row in rows])
    return [
        RecordChange(known[row.revision], row.kind, row.name, rows_in(row.before), rows_in(image))
        for row, image in zip(rows, after, strict=True)
    ]


def images_at(connection: Connection, wanted: list[tuple[str, str, int]]) -> list[str | None]:
    """What each record (kind, name) said as of a revision; None where there was no such record."""
    then: dict[tuple[str, str, int], str | None] = {}
    for kind in {kind for kind, _, _ in wanted}:
        asked = [(name, revision) for of, name, revision in wanted if of == kind]
        names = {name for name, _ in asked}
        later = _changes_since(connection, kind, names, min(revision for _, revision in asked))
        now = images(connection, kind, names)
        for name, revision in asked:
            before = (before for since, before in later[name] if since > revision)
            then[kind, name, revision] = next(before, now.get(name))
    return [then[each] for each in wanted]


def _changes_since(
    connection: Connection, kind: str, names: Iterable[str], revision: int
) -> dict[str, list[tuple[int, str | None]]]:
    """By name the later changes of records of a kind, (revision, what stood before), the first one first."""
    change = table("record_change")
    query = select(change.c.name, change.c.revision, change.c.before).where(
        change.c.kind == kind, change.c.name.in_(listed(connection, names)), change.c.revision > revision
    )
    found: dict[str, list[tuple[int, str | None]]] = defaultdict(list)
    for name, since, before in connection.execute(query.order_by(change.c.revision)):
        found[name].append((since, before))
    return found


def changed_between(connection: Connection, old: int, new: int, after: tuple[str, str], limit: int) -> Any:
    """(kind, name, rows as of `old`, rows as of `new`) of the records that differ, by kind and name.

    `old` and `new` are revisions, `old` the smaller. Looks at `limit` candidates; the last one looked
    at is returned beside what differs, None when there are no more.
    """
    change = table("record_change")
    behind = tuple_(change.c.kind, change.c.name) > tuple_(*after)
    query = (
        select(change.c.kind, change.c.name)
        .where(change.c.revision > old, change.c.revision <= new, behind)
        .distinct()
        .order_by(change.c.kind, change.c.name)
        .limit(limit)
    )
    looked_at = connection.execute(query).all()
    both_images = [
        images_at(connection, [(kind, name, revision) for kind, name in looked_at]) for revision in (old, new)
    ]
    differing = [
        (kind, name, rows_in(was), rows_in(became))
        for (kind, name), was, became in zip(looked_at, *both_images, strict=True)
        if was != became
    ]
    return differing, (tuple(looked_at[-1]) if len(looked_at) == limit else None)


def require_kept(connection: Connection, revision: int, present: int) -> None:
    """Raises TooFarBack unless every change between a revision and the present one is in the history."""
    earliest = connection.execute(select(func.min(table("record_change").c.revision))).scalar()
    first = (earliest or present + 1) - 1
    if revision < first:
        raise TooFarBack(f"The history begins after revision {first}", first=first)


def undoing(
    connection: Connection, revision: int, kinds: Iterable[str]
) -> Iterator[tuple[str, str, str | None]]:
    """(kind, name, image as of the revision) of every record changed since, kinds in the order given."""
    for kind in kinds:
        for row in connection.execute(_undoing_one(), {"kind": kind, "since": revision}):
            yield kind, row.name, row.before


@cache
def _undoing_one() -> Select[Any]:
    """Of one kind; every question about the past asks it for each."""
    change, kind = table("record_change"), bindparam("kind", type_=Text())
    since = and_(change.c.revision > bindparam("since", type_=Integer()), change.c.kind == kind)
    first = select(change.c.name, func.min(change.c.revision).label("revision")).where(since)
    earliest = first.group_by(change.c.name).subquery()
    same = and_(earliest.c.name == change.c.name, earliest.c.revision == change.c.revision)
    names = select(change.c.name, change.c.before).join(earliest, same)
    return names.where(change.c.kind == kind).order_by(change.c.name)


def changed_since_at_most(connection: Connection, revision: int, most: int) -> int:
    """How many changes were made after a revision, counted no further than `most`."""
    change = table("record_change")
    some = select(change.c.revision).where(change.c.revision > revision).limit(most).subquery()
    return connection.execute(select(func.count()).select_from(some)).scalar_one()


def components_changed_since(connection: Connection, numbers: Iterable[str], revision: int) -> bool:
    """Whether an edit after a revision changed a component that one of these, as typed, may mean."""
    change = table("record_change")
    query = select(change.c.name).where(change.c.revision > revision, change.c.kind == "component")
    wanted = {as_typed(number) for number in numbers}
    return any(as_typed(name) in wanted for name in connection.execute(query).scalars())


def spoken_of_before(connection: Connection) -> tuple[set[str], set[str]]:
    """The ranges and the components that the records of the edit at work spoke of before."""
    ranges: set[str] = set()
    numbers: set[str] = set()
    variants: set[str] = set()
    prefixes: set[str] = set()
    for kind, some in remembered(connection):
        for row in (row for image in some.values() for row in rows_in(image)):
            ranges.add(row.get("range", ""))
            ranges |= {row["name"]} if kind == "range" else set()
            variants |= {row["variant"]} if "variant" in row else set()
            prefixes |= {chassis_parts(row["chassis"])[0]} if kind == "report" else set()
            numbers |= {row[field] for field in _COMPONENTS.get(kind, ()) if row.get(field)}
    variant, span = table("variant"), table("chassis_span")
    if prefixes:
        reported = select(span.c.variant).where(span.c.prefix.in_(listed(connection, prefixes)))
        variants |= set(connection.execute(reported).scalars())
    of = select(variant.c.range).where(variant.c.name.in_(listed(connection, variants)))
    return ranges - {""} | set(connection.execute(of).scalars()), numbers


_COMPONENTS = {
    "component": ("number", "twin"),
    "characteristic": ("component",),
    "supersession": ("old", "new"),
    "fitment": ("component",),
}


def ranges_of_variants_before(connection: Connection) -> set[str]:
    """The ranges of the variants that the edit at work replaces or removes."""
    found: set[str] = set()
    for kind, some in remembered(connection):
        if kind == "variant":
            found |= {row["range"] for image in some.values() for row in rows_in(image)}
    return found
