"""The catalogue as it was: what a question may name, copied into memory, with every later edit undone there.

What an edit changed is in the history with what stood before, so undoing is loading that. The catalogue
itself is only read, in one transaction: nobody waits. The cost grows with the ranges that the question names
and with the records of theirs that were changed since, not with the catalogue.

First the part of the catalogue that a question about the past can ask for, and what is to be undone in it.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import orjson
from sqlalchemy import Connection, Select, and_, or_, select, update
from sqlmodel import SQLModel

from graftbook.catalogue.format.fields import Conditional
from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.format.sources import from_objects
from graftbook.catalogue.history.changes import Edit, changed_since_at_most, require_kept, undoing
from graftbook.catalogue.history.revisions import chain_of, current_revision, revision_of_range
from graftbook.catalogue.history.snapshots import Fields, objects_in, rows_in
from graftbook.catalogue.loading.load import Load, LoadReport
from graftbook.catalogue.loading.removing import remove_dependents
from graftbook.catalogue.loading.scratch import put, scratch
from graftbook.catalogue.store.lookup import CANDIDATES, flaw_names, readings
from graftbook.catalogue.store.tables import CLAIMS, FitmentRow, table
from graftbook.database import Source, listed, listed_numbers, reading
from graftbook.problems import ChangedAgain, TooFarBack, UnknownRevision
from graftbook.rulebook.units import chassis_parts

_BUYING = ("supplier", "offer", "tax", "exchange_rate", "other_word", "outline", "mark")
"""What no rule book holds: an order is bought, people speak, and a vehicle is drawn as it is today."""
_OF_COMPONENTS = ("component", "characteristic", "supersession")
_NAMED = {
    "build": (
        ("build", "name"),
        ("build_fitting", "build"),
        ("build_bench", "build"),
        ("build_event", "build"),
    ),
    "specification": (("specification", "name"), ("specification_version", "specification")),
}
"""What has no history: it is as it is, and may be named by the question."""


class PartThen:
    """What `words` can ask for, copied from `now` to `then`, and what is otherwise there.

    `changed`: (kind, name, image) of the records that say something else `then`; None: there is none.
    `ranges`: further ones that are whole there.
    """

    def __init__(
        self,
        now: Connection,
        then: Connection,
        revision: int,
        words: Iterable[str],
        changed: Iterable[tuple[str, str, str | None]],
        ranges: Iterable[str] = (),
    ) -> None:
        self._now, self._then, self._revision = now, then, revision
        self._words = {word for word in words if _can_be_stored(word)}
        self._changed: dict[str, dict[str, list[Fields]]] = defaultdict(dict)
        """Kind → name → the rows that stood there then; none: there was no such record."""
        self._images: dict[tuple[str, str], str] = {}
        for kind, name, image in changed:
            self._changed[kind][name] = rows_in(image)
            if image is not None:
                self._images[kind, name] = image
        self._ranges: set[str] = set(ranges)
        self._variants: set[str] = set()
        self._numbers: set[str] = set()
        self._prefixes: set[str] = set()
        self._strings: set[str] = set()
        """Whatever the records that are put back name."""
        self._proofs: set[str] = set()

    def copy(self) -> None:
        """Fill `then` with the rows of the present."""
        self._copy_named()
        self._find_ranges()
        self._copy_ranges()
        self._find_numbers()
        self._copy_components()
        self._copy_proofs()

    def undoing(self) -> tuple[list[tuple[str, str]], dict[str, list[str]]]:
        """(kind, image) of what is put back, kinds in the order of a load; names of what goes, by kind."""
        objects: list[tuple[str, str]] = []
        removals: dict[str, list[str]] = {}
        for kind, some in self._changed.items():
            back = [name for name, rows in some.items() if rows and self._concerns(kind, name, rows)]
            objects += [(kind, self._images[kind, name]) for name in back]
            if gone := self._names_then(kind, set(some) - set(back)):
                removals[kind] = gone
        return objects, removals

    def finish(self) -> None:
        """What is told of components beside the records of the ranges, and the revisions as they were."""
        known = set(self._then.execute(select(table("fitment").c.claim)).scalars())
        for rows in self._fitted_elsewhere():
            put(self._then, "fitment", [row for row in rows if row["claim"] not in known])
        self._add_named_flaws()
        self._add_like_spans()
        ranges = table("range")
        for name in list(self._then.execute(select(ranges.c.name)).scalars()):
            number = revision_of_range(self._now, name, self._revision)
            self._then.execute(update(ranges).where(ranges.c.name == name).values(revision=number))

    def _add_named_flaws(self) -> None:
        """Flaws of other ranges that the question names: known by name, though nothing here has them."""
        claim = table("claim")
        names = {name for word in self._words for name in flaw_names(word)} - self._changed["flaw"].keys()
        self._copy("claim", and_(claim.c.kind == "flaw", claim.c.name.in_(listed(self._now, names))))

    def _add_like_spans(self) -> None:
        """Chassis spans of other ranges, by which a number that nobody has is told what is like it."""
        rows = self._rows(
            select(table("chassis_span")).order_by(table("chassis_span").c.prefix).limit(CANDIDATES)
        )
        known = self._variants | self._changed["chassis_span"].keys()
        put(self._then, "chassis_span", [row for row in rows if row["variant"] not in known])

    def _copy_reports(self, claims: Select[Any]) -> None:
        """What was reported of the vehicles of the ranges, at their positions and of their claims."""
        report, position = table("report"), table("position")
        here = list(self._then.execute(select(position.c.name)).scalars())
        of = or_(report.c.claim.in_(claims), report.c.position.in_(listed(self._now, here)))
        rows = self._copy("report", and_(report.c.prefix.in_(listed(self._now, self._prefixes)), of))
        self._numbers |= {row["component"] for row in rows if row["component"]}

    def _copy_named(self) -> None:
        tables = SQLModel.metadata.tables
        for owner, parts in _NAMED.items():
            names = {word.partition("@")[0] for word in self._words}
            for name, column in parts if owner in tables else ():
                rows = self._copy(name, tables[name].c[column].in_(listed(self._now, names)))
                self._words |= {text for row in rows for text in texts_in(dict(row))}
        put(self._then, "epoch", self._rows(select(tables["epoch"])))
        revision = tables["revision"]
        self._copy("revision", revision.c.number == self._revision)

    def _find_ranges(self) -> None:
        """The ranges of the chassis numbers that are named, as they are and as they were."""
        prefixes = {prefix for word in self._words for prefix, _serial in readings(word)}
        span, variant = table("chassis_span"), table("variant")
        named = select(span.c.variant).where(span.c.prefix.in_(listed(self._now, prefixes)))
        variants = set(self._now.execute(named.distinct()).scalars())
        variants |= {
            name
            for name, rows in self._changed["chassis_span"].items()
            if any(chassis_parts(row["first"])[0] in prefixes for row in rows)
        }
        ranges = select(variant.c.range).where(variant.c.name.in_(listed(self._now, variants)))
        self._ranges |= set(self._now.execute(ranges.distinct()).scalars())
        self._ranges |= {row["range"] for name in variants for row in self._changed["variant"].get(name, ())}
        within = select(variant.c.name).where(variant.c.range.in_(listed(self._now, self._ranges)))
        self._variants = set(self._now.execute(within).scalars())
        self._variants |= {
            name
            for name, rows in self._changed["variant"].items()
            if any(row["range"] in self._ranges for row in rows)
        }

    def _copy_ranges(self) -> None:
        """Whatever holds in the ranges."""
        now = self._now
        ranges, variants = listed(now, self._ranges), listed(now, self._variants)
        span, condition, claim = table("chassis_span"), table("condition"), table("claim")
        self._copy("range", table("range").c.name.in_(ranges))
        self._copy("variant", table("variant").c.name.in_(variants))
        spans = self._copy("chassis_span", span.c.variant.in_(variants))
        self._prefixes = {row["prefix"] for row in spans}
        for name in ("section", "characteristic_kind"):
            put(self._then, name, self._rows(select(table(name))))
        ids = listed_numbers(
            now, [row["id"] for row in self._copy("condition", condition.c.range.in_(ranges))]
        )
        for name in ("condition_variant", "position"):
            self._copy(name, table(name).c.condition_id.in_(ids))
        claims = [row["name"] for row in self._copy("claim", claim.c.condition_id.in_(ids))]
        self._copy_reports(listed(now, claims))
        for holder in SQLModel.metadata.sorted_tables:
            if holder.name in CLAIMS or holder.name in _PARTS:
                rows = self._copy(holder.name, holder.c.claim.in_(listed(now, claims)))
                self._numbers |= {row[c] for c in _naming_components(holder) for row in rows if row[c]}

    def _find_numbers(self) -> None:
        """The components that the question or a record may mean, and those tied to them, now or then."""
        component, now = table("component"), self._now
        wanted = {as_typed(word) for word in self._words} - {""}
        typed = select(component.c.number).where(component.c.typed.in_(listed(now, wanted)))
        self._numbers |= set(now.execute(typed).scalars())
        self._numbers |= {name for name in self._changed["component"] if as_typed(name) in wanted}
        for kind, some in self._changed.items():
            for name, rows in some.items():
                if kind not in _OF_COMPONENTS and self._concerns(kind, name, rows):
                    self._strings |= {text for row in rows for text in texts_in(row)}
        held = select(component.c.number).where(component.c.number.in_(listed(now, self._strings)))
        self._numbers |= set(now.execute(held).scalars())
        self._numbers |= self._strings & self._changed["component"].keys()
        self._numbers |= {row["component"] for row in self._facts_then() if row.get("component") is not None}
        before: set[str] = set()
        while before != self._numbers:
            before = set(self._numbers)
            chain = chain_of(now.dialect.name, listed(now, before))
            self._numbers |= set(now.execute(select(chain.columns[0])).scalars())
            self._numbers |= {there for here, there in self._ties_then() if here in self._numbers}

    def _facts_then(self) -> Iterator[Fields]:
        return (
            row
            for rows in self._changed["characteristic"].values()
            for row in rows
            if row.get("variant") in self._variants
        )

    def _ties_then(self) -> Iterator[tuple[str, str]]:
        for rows in self._changed["component"].values():
            for row in rows:
                if row.get("twin"):
                    yield row["number"], row["twin"]
        for rows in self._changed["supersession"].values():
            for row in rows:
                yield row["old"], row["new"]
                yield row["new"], row["old"]

    def _copy_components(self) -> None:
        numbers, variants = listed(self._now, self._numbers), listed(self._now, self._variants)
        fact, tie = table("characteristic"), table("supersession")
        self._copy("component", table("component").c.number.in_(numbers))
        facts = self._copy("characteristic", or_(fact.c.component.in_(numbers), fact.c.variant.in_(variants)))
        ties = self._copy("supersession", or_(tie.c.old.in_(numbers), tie.c.new.in_(numbers)))
        claims = [row["claim"] for row in (*facts, *ties)]
        self._copy("claim", table("claim").c.name.in_(listed(self._now, claims)))

    def _copy_proofs(self) -> None:
        link = table("claim_evidence")
        claims = list(self._then.execute(select(table("claim").c.name)).scalars())
        rows = self._copy("claim_evidence", link.c.claim.in_(listed(self._now, claims)))
        for kind in _OF_COMPONENTS:
            for name, was in self._changed[kind].items():
                if self._concerns(kind, name, was):
                    self._strings |= {text for row in was for text in texts_in(row)}
        self._proofs = {row["evidence"] for row in rows} | self._strings
        self._copy("evidence", table("evidence").c.name.in_(listed(self._now, self._proofs)))

    def _concerns(self, kind: str, name: str, rows: list[Fields]) -> bool:
        """Whether what stood there then belongs to the part."""
        if kind == "range":
            return name in self._ranges
        if kind == "chassis_span":
            return name in self._variants
        if kind in _OF_COMPONENTS:
            named = {row.get(field) for row in rows for field in ("number", "component", "old", "new")}
            return bool(named & self._numbers or {row.get("variant") for row in rows} & self._variants)
        if kind == "report":
            return any(chassis_parts(row["chassis"])[0] in self._prefixes for row in rows)
        if kind == "evidence":
            return name in self._proofs
        if kind == "variant" or issubclass(KIND_BY_WORD[kind], Conditional):
            return any(row.get("range") in self._ranges for row in rows)
        return True

    def _names_then(self, kind: str, names: set[str]) -> list[str]:
        """Those of the names that `then` has a record of."""
        if not names:
            return []
        if kind in CLAIMS:
            claim = table("claim")
            query = select(claim.c.name).where(claim.c.kind == kind)
            query = query.where(claim.c.name.in_(listed(self._then, names)))
        else:
            key = table(kind).c.variant if kind == "chassis_span" else next(iter(table(kind).primary_key))
            query = select(key).where(key.in_(listed(self._then, names))).distinct()
        return sorted(self._then.execute(query).scalars())

    def _fitted_elsewhere(self) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        """Fitments of the components in whatever range: by one of them a component is no loose part."""
        fitment, changed = table("fitment"), self._changed["fitment"]
        rows = self._rows(select(fitment).where(fitment.c.component.in_(listed(self._now, self._numbers))))
        same = [row for row in rows if row["claim"] not in changed]
        was = [
            FitmentRow(claim=name, component=row["component"], position=row["position"]).model_dump()
            for name, old in changed.items()
            for row in old
            if row["component"] in self._numbers
        ]
        return same, was

    def _copy(self, name: str, where: Any) -> list[dict[str, Any]]:
        rows = self._rows(select(table(name)).where(where))
        put(self._then, name, rows)
        return rows

    def _rows(self, query: Select[Any]) -> list[dict[str, Any]]:
        found = self._now.execute(query)
        names = tuple(found.keys())
        return [dict(zip(names, row, strict=True)) for row in found.all()]


_PARTS = (
    "wanted", "flaw_also_of", "flaw_substitute", "flaw_add_on", "companion_alternative", "upgrade_fit",
    "upgrade_flaw",
)  # fmt: skip


def _naming_components(holder: Any) -> list[str]:
    component = table("component")
    return [k.parent.name for k in holder.foreign_keys if k.column.table is component]


def _can_be_stored(word: str) -> bool:
    """Whether it is a text at all: no record's name holds half a character."""
    return not any("\ud800" <= letter <= "\udfff" for letter in word)


def texts_in(value: Any) -> Iterator[str]:
    """Every text in a value, whatever it is nested in; JSON in a text is read."""
    if isinstance(value, str):
        yield value
        if value[:1] in ("[", "{"):
            try:
                yield from texts_in(orjson.loads(value))
            except orjson.JSONDecodeError:
                return
    elif isinstance(value, dict):
        yield from texts_in(list(value.values()))
        yield from (key for key in value if isinstance(key, str))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from texts_in(one)


MOST_CHANGES = 50_000


@contextmanager
def as_of(engine: Source, revision: int, words: Iterable[str]) -> Iterator[Connection]:
    """A connection that sees the catalogue as of a revision, as far as these words can ask for it.

    `words`: every text of the question. The ranges of the chassis numbers among them are whole there, and
    so are the components that any of them may mean, the builds and the specifications of these names.
    Raises UnknownRevision for a revision that is not reached yet, TooFarBack for one before the history, or
    with more than `MOST_CHANGES` changes since.
    """
    with scratch() as then:
        with reading(engine) as session:
            now = session.connection()
            _within_reach(now, revision)
            kinds = [kind for kind in KIND_BY_WORD if kind not in _BUYING]
            part = PartThen(now, then, revision, words, undoing(now, revision, kinds))
            if mistakes := _put_back(then, part):
                sentence = f"This version of the program cannot read revision {revision}: {mistakes[0]}"
                raise TooFarBack(sentence)
        yield then


@contextmanager
def with_edit(
    engine: Source, edit: Edit, changed: Iterable[tuple[str, str, str | None]], words: Iterable[str]
) -> Iterator[tuple[Connection, Connection]]:
    """Two connections: to the catalogue as it is, and to what these words can ask for with an edit in it.

    `changed`: (kind, name, image) of what the edit leaves; None: nothing. The ranges that it touches are
    whole there. Raises ChangedAgain where others edited something that it cannot stand beside.
    """
    with scratch() as then, reading(engine) as session:
        now = session.connection()
        ours = [change for change in changed if change[0] not in _BUYING]
        if _put_back(then, PartThen(now, then, current_revision(now), words, ours, edit.ranges)):
            raise ChangedAgain("Somebody edited the same meanwhile; look at the effect again")
        ranges = table("range")
        touched = update(ranges).where(ranges.c.name.in_(listed(then, edit.ranges)))
        then.execute(touched.values(revision=edit.revision))
        yield now, then


def _within_reach(connection: Connection, revision: int) -> None:
    present = current_revision(connection)
    if not 0 <= revision <= present:
        raise UnknownRevision(str(revision), [str(present)])
    require_kept(connection, revision, present)
    if changed_since_at_most(connection, revision, MOST_CHANGES + 1) > MOST_CHANGES:
        raise TooFarBack(
            f"More than {MOST_CHANGES} records were changed since; that is too much to undo here"
        )


def _put_back(then: Connection, part: PartThen) -> list[Mistake]:
    part.copy()
    objects, removals = part.undoing()
    report = LoadReport()
    load = Load(then, report, keeps_images=False)
    remove_dependents(then, removals)
    load.run(from_objects(o for kind, image in objects for o in objects_in(kind, image)), removals)
    if not report.mistakes:
        part.finish()
    return report.mistakes
