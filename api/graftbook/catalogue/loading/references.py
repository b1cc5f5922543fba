"""Whether what a load brought refers to what exists: one indexed query a reference, of the kinds brought."""

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

from sqlalchemy import Connection, Select, and_, select

from graftbook.catalogue.format.fields import Conditional
from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sheets import CATALOGUE, Mistake, Place
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED
from graftbook.catalogue.store.nearest import components_near, hint, names_near
from graftbook.catalogue.store.tables import CLAIMS, table
from graftbook.database import listed
from graftbook.rulebook.units import chassis_number

MOST = 200
"""Mistakes that one kind of reference reports; the rest are alike."""


SPAN = "chassis_span"


@dataclass(frozen=True, slots=True)
class Reference:
    """Column `column` of `table` (rows belong to the record named in `owner`) names a `to`.

    `field` is what the format calls the column.
    """

    kind: str
    table: str
    column: str
    to: str
    field: str = ""
    owner: str = "claim"


TARGETS = {
    "range": "name",
    "section": "name",
    "variant": "name",
    "position": "name",
    "component": "number",
    "evidence": "name",
    "characteristic_kind": "name",
    "substitute": "claim",
    "flaw": "claim",
    "supplier": "name",
    "claim": "name",
}

REFERENCES: tuple[Reference, ...] = (
    Reference("variant", "variant", "range", "range", owner="name"),
    Reference("position", "position", "section", "section", owner="name"),
    Reference("component", "component", "section", "section", owner="number"),
    Reference("component", "component", "twin", "component", owner="number"),
    Reference("characteristic", "characteristic", "component", "component"),
    Reference("characteristic", "characteristic", "variant", "variant"),
    Reference("characteristic", "characteristic", "kind", "characteristic_kind"),
    Reference("fitment", "fitment", "component", "component"),
    Reference("fitment", "fitment", "position", "position"),
    Reference("substitute", "substitute", "original", "component"),
    Reference("substitute", "substitute", "component", "component"),
    Reference("substitute", "substitute", "position", "position"),
    Reference("flaw", "flaw", "component", "component"),
    Reference("flaw", "flaw_also_of", "component", "component", "also_of"),
    Reference("flaw", "flaw_substitute", "substitute", "substitute", "substitutes"),
    Reference("flaw", "flaw_add_on", "component", "component", "add_ons"),
    Reference("companion", "companion", "component", "component"),
    Reference("companion", "companion", "position", "position"),
    Reference("companion", "companion_alternative", "component", "component", "fit"),
    Reference("companion", "companion_alternative", "position", "position", "at"),
    Reference("companion", "companion_alternative", "goes_in", "position"),
    Reference("companion", "wanted", "kind", "characteristic_kind", "having"),
    Reference("conflict", "conflict", "component", "component"),
    Reference("conflict", "conflict", "position", "position"),
    Reference("conflict", "conflict", "other_component", "component"),
    Reference("conflict", "conflict", "other_position", "position"),
    Reference("conflict", "wanted", "kind", "characteristic_kind", "having"),
    Reference("joint", "joint", "position", "position"),
    Reference("joint", "joint", "other_position", "position"),
    Reference("joint", "joint", "kind", "characteristic_kind", "characteristic"),
    Reference("joint", "joint", "other_kind", "characteristic_kind", "other_characteristic"),
    Reference("budget", "budget", "supply", "characteristic_kind"),
    Reference("budget", "budget", "demand", "characteristic_kind"),
    Reference("supersession", "supersession", "old", "component"),
    Reference("supersession", "supersession", "new", "component"),
    Reference("precedence", "precedence", "position", "position", "first"),
    Reference("precedence", "precedence", "other_position", "position", "then"),
    Reference("access", "access", "position", "position"),
    Reference("access", "access", "component", "component"),
    Reference("access", "access", "other_position", "position"),
    Reference("access", "access", "other_component", "component"),
    Reference("tightening", "tightening", "position", "position"),
    Reference("tightening", "tightening", "component", "component"),
    Reference("upgrade", "upgrade_fit", "component", "component", "fit"),
    Reference("upgrade", "upgrade_fit", "position", "position", "fit"),
    Reference("upgrade", "upgrade_flaw", "flaw", "flaw", "remedy"),
    Reference("outline", "outline", "range", "range", owner="name"),
    Reference("mark", "mark", "position", "position", owner="name"),
    Reference("mark", "mark", "range", "range", owner="name"),
    Reference("report", "report", "component", "component", owner="name"),
    Reference("report", "report", "position", "position", owner="name"),
    Reference("report", "report", "claim", "claim", owner="name"),
    Reference("offer", "offer", "supplier", "supplier", owner="name"),
    Reference("offer", "offer", "component", "component", owner="name"),
    Reference("tax", "tax", "section", "section", owner="name"),
    *(Reference(kind, "claim_evidence", "evidence", "evidence") for kind in CLAIMS),
)


def broken_references(
    connection: Connection, brought: Container[str], unread: Container[str]
) -> Iterator[Mistake]:
    """Every reference of the load's records, whose kinds are `brought`, to a name that nobody has.

    A name whose own record stands in the load with a mistake of its own is not reported again, nor one of
    a kind of which records were `unread`.
    """
    for reference in (one for one in REFERENCES if one.kind in brought and one.to not in unread):
        for row in connection.execute(_missing(reference)):
            yield Mistake(
                Place(row.file, row.line, row.sheet),
                reference.kind,
                reference.field or reference.column,
                _nobody_has(connection, reference.to, row.wanted),
                row.name,
            )
    if (SPANS_OF in brought or "variant" in brought) and "variant" not in unread:
        yield from _spans_without_variant(connection)


def broken_references_beside(
    connection: Connection, mistakes: Iterable[Mistake], unread: Container[str]
) -> list[Mistake]:
    """Every name that nobody has in a row with another mistake, which is not in the tables: so that whoever
    mends a sheet is told all that is wrong at once."""
    wrong: dict[Place, set[str]] = defaultdict(set)
    rows: dict[Place, Mistake] = {}
    for mistake in mistakes:
        wrong[mistake.place].add(mistake.field)
        if mistake.said:
            rows.setdefault(mistake.place, mistake)
    named = [
        (to, word, field, row)
        for row in rows.values()
        for field, to in _targets(row.kind).items()
        if field not in wrong[row.place] and to not in unread
        for word in _words(row.said.get(field))
    ]
    known = {
        to: _names_on_record(connection, to, {word for kind, word, *_ in named if kind == to})
        for to, *_ in named
    }
    return [
        replace(row, field=field, message=_nobody_has(connection, to, word), said={})
        for to, word, field, row in named
        if word not in known[to]
    ]


@cache
def _targets(kind: str) -> dict[str, str]:
    """Column → kind of record that it names, where it names one kind and nothing else."""
    targets: dict[str, set[str]] = defaultdict(set)
    for one in REFERENCES:
        if one.kind == kind and one.table != "wanted":
            targets[one.field or one.column].add(one.to)
    if kind == SPAN:
        targets["variant"].add("variant")
    if issubclass(KIND_BY_WORD[kind], Conditional):
        targets |= {"range": {"range"}, "variants": {"variant"}}
    return {field: to.pop() for field, to in targets.items() if len(to) == 1}


def _words(said: object) -> list[str]:
    """The names in a cell: one, or several."""
    return [word for word in (said if isinstance(said, list) else [said]) if word and isinstance(word, str)]


def _names_on_record(connection: Connection, to: str, words: Iterable[str]) -> set[str]:
    """Those names that a record has, or that stand in the load with a mistake."""
    column, asked = table(to).c[TARGETS[to]], listed(connection, words)
    broken = select(STAGED.c.name).where(STAGED.c.kind == to, STAGED.c.broken, STAGED.c.name.in_(asked))
    return set(connection.execute(select(column).where(column.in_(asked)).union(broken)).scalars())


def _nobody_has(connection: Connection, to: str, word: str) -> str:
    return f"there is no {to.replace('_', ' ')} '{word}'{hint(_near(connection, to, word))}"


@cache  # a load asks for each; putting one together takes longer than a small sheet's answer
def _missing(reference: Reference) -> Select[tuple[str, int, str, str]]:
    rows, target = table(reference.table), table(reference.to).alias("target")
    place, broken = STAGED.alias("place"), STAGED.alias("broken")
    wanted = rows.c[reference.column]
    of_record = and_(place.c.name == rows.c[reference.owner], place.c.kind == reference.kind)
    with_mistake = and_(broken.c.name == wanted, broken.c.kind == reference.to, broken.c.broken)
    return (
        select(place.c.file, place.c.line, place.c.sheet, place.c.name, wanted.label("wanted"))
        .select_from(place.join(rows, of_record).outerjoin(target, target.c[TARGETS[reference.to]] == wanted))
        .where(wanted.is_not(None), target.c[TARGETS[reference.to]].is_(None))
        .where(~select(broken.c.name).where(with_mistake).exists())
        .order_by(place.c.file, place.c.sheet, place.c.line)
        .limit(MOST)
    )


def _spans_without_variant(connection: Connection) -> Iterator[Mistake]:
    span, variant = table("chassis_span"), table("variant")
    query = (
        select(span.c.variant, span.c.prefix, span.c.first_serial, span.c.digits)
        .select_from(span.outerjoin(variant, variant.c.name == span.c.variant))
        .where(variant.c.name.is_(None))
        .limit(MOST)
    )
    for row in connection.execute(query).all():
        name = f"{row.variant} {chassis_number(row.prefix, row.first_serial, row.digits)}"
        if is_broken(connection, "variant", row.variant):
            continue
        place, message = place_of(connection, SPAN, name), _nobody_has(connection, "variant", row.variant)
        yield Mistake(place, SPAN, "variant", message, name)


def is_broken(connection: Connection, kind: str, name: str) -> bool:
    """Whether the load brought that record, with a mistake in it."""
    query = select(STAGED.c.name).where(STAGED.c.kind == kind, STAGED.c.name == name, STAGED.c.broken)
    return connection.execute(query).first() is not None


def place_of(connection: Connection, kind: str, name: str) -> Place:
    """Where the load brought that record; the catalogue itself when it was there before."""
    query = select(STAGED.c.file, STAGED.c.line, STAGED.c.sheet).where(
        STAGED.c.kind == kind, STAGED.c.name == name
    )
    row = connection.execute(query).first()
    return Place(row.file, row.line, row.sheet) if row else CATALOGUE


def _near(connection: Connection, kind: str, word: str) -> list[str]:
    target = table(kind)
    column = target.c[TARGETS[kind]]
    if kind == "component":
        return components_near(connection, column, target.c.typed, word)
    return names_near(connection, column, word)
