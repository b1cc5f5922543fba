"""Compiling one variant's rule book: a small fixed number of set-based queries.

Every query starts at the variant's conditions, so the cost follows the book, not the catalogue.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields, replace
from functools import lru_cache
from operator import attrgetter
from types import MappingProxyType
from typing import Any

from sqlalchemy import Connection, Select, bindparam, exists, select
from sqlmodel import Session

from graftbook.catalogue.compiling import values as c
from graftbook.catalogue.history.revisions import chain_of, epoch_of
from graftbook.catalogue.store.conditions import when_of
from graftbook.catalogue.store.nearest import names_near
from graftbook.catalogue.store.reported import bearing, reports_by_claim
from graftbook.catalogue.store.tables import table
from graftbook.database import as_list, listed, listed_under
from graftbook.problems import UnknownVariant
from graftbook.rulebook import model as m
from graftbook.rulebook.index import retire
from graftbook.rulebook.units import Measure

_Stated = dict[str, Any]
_Wanted = Mapping[tuple[str, int], tuple[m.Wanted, ...]]
"""Wanted values by claim and slot."""

_name = attrgetter("name")


def book_revision(session: Session, variant: str) -> int | None:
    """The revision of a variant's rule book: that of the last edit that touched its range.

    None when there is no such variant.
    """
    return book_revisions(session, [variant]).get(variant)


def book_revisions(session: Session, variants: Iterable[str]) -> dict[str, int]:
    """The same of many variants at once; those that there are not are missing."""
    connection = session.connection()
    found = connection.execute(_revisions_of(connection.dialect.name), {"variants": as_list(variants)})
    return {one.name: one.revision for one in found}


@lru_cache
def _revisions_of(dialect: str) -> Select[Any]:
    row, ranges = table("variant"), table("range")
    query = select(row.c.name, ranges.c.revision).join(ranges, row.c.range == ranges.c.name)
    return query.where(row.c.name.in_(listed_under(dialect, "variants")))


def compile_book(session: Session, variant: str) -> m.RuleBook:
    """Everything that is known about one variant. Raises UnknownVariant."""
    connection, own, ranges = session.connection(), table("variant"), table("range")
    query = select(own, ranges.c.revision).join(ranges, own.c.range == ranges.c.name)
    row = connection.execute(query.where(own.c.name == variant)).one_or_none()
    if row is None:
        raise UnknownVariant(variant, names_near(connection, own.c.name, variant))
    return replace(_Compiler(connection, variant).book(row), epoch=epoch_of(connection))


def with_components(session: Session, book: m.RuleBook, numbers: Iterable[str]) -> m.RuleBook:
    """The book and, beside what its records name, further components of the catalogue.

    Somebody may wish for a part, or have one fitted, that no record of the variant names.
    """
    new = [number for number in dict.fromkeys(numbers) if number not in book.components]
    if not new:
        return book
    compiler = _Compiler(session.connection(), book.variant.name)
    components, supersessions = compiler.components(new)
    more = {s.name: s for s in (*book.supersessions, *supersessions)}
    return _for_one_question(
        replace(
            book,
            components=MappingProxyType(dict(sorted((components | dict(book.components)).items()))),
            supersessions=tuple(more[name] for name in sorted(more)),
        )
    )


class Strangers:
    """Components of the catalogue that records of other variants name, read once for many rule books."""

    def __init__(self, session: Session, numbers: Iterable[str]) -> None:
        compiler = _Compiler(session.connection(), "")
        self._components, self._supersessions = compiler.components(dict.fromkeys(numbers))
        self._tied = c.tied((s.old, s.new) for s in self._supersessions)
        self._alone: m.RuleBook | None = None

    def knows(self, book: m.RuleBook, number: str) -> bool:
        """Whether a record of the book names the number, or one that supersessions tie to it."""
        return any(one in book.components for one in self._tied.get(number, (number,)))

    def alone(self, book: m.RuleBook) -> m.RuleBook:
        """A book with nothing in it but these: what the book says of those that it does not know, at no cost.
        It is one for all books, since it knows of no position."""
        if self._alone is None:
            self._alone = _for_one_question(
                m.RuleBook(
                    book.variant,
                    book.revision,
                    epoch=book.epoch,
                    sections=book.sections,
                    kinds=book.kinds,
                    components=MappingProxyType(self._components),
                    supersessions=self._supersessions,
                )
            )
        return self._alone


def _for_one_question(book: m.RuleBook) -> m.RuleBook:
    """A book that nobody keeps: what will be worked out about it is forgotten again."""
    retire(book)
    return book


class _Compiler:
    def __init__(self, connection: Connection, variant: str) -> None:
        self.connection = connection
        self.variant = variant
        self.evidence: Mapping[str, tuple[m.Evidence, ...]] = {}
        self.whens: Mapping[int, m.When] = {}
        self.reports: Mapping[str, tuple[m.Report, ...]] = {}

    def book(self, own: Any) -> m.RuleBook:
        """The book of a variant's row, with the revision of its range."""
        condition, spelt = table("condition"), table("condition_variant")
        conditions = select(condition).join(spelt, spelt.c.condition_id == condition.c.id)
        rows = self.connection.execute(conditions.where(spelt.c.variant == self.variant)).mappings()
        self.whens = {row["id"]: when_of(row) for row in rows}
        self.evidence = self._evidence()
        self.reports = reports_by_claim(self.connection, _reports_of(), {"variant": self.variant}, self.whens)
        positions = self._positions()
        wanted = c.wanted_by_slot(self._of_claims("wanted", "companion", "conflict"))
        ways = self._alternatives(positions)
        asking = [row for row in self._speaking("companion", positions) if ways.get(row.claim) is not None]
        stating = self._stating(positions, wanted)
        components, supersessions = self.components(
            _components_of_claims(stating) | _components_in_companions(asking, ways)
        )
        return m.RuleBook(
            variant=self._variant(own),
            revision=own.revision,
            sections=self._sections(),
            kinds=self._kinds(),
            positions=positions,
            components=MappingProxyType(components),
            supersessions=supersessions,
            companions=self._companions(asking, ways, wanted, components),
            **stating,
        )

    def _companions(
        self,
        rows: Iterable[Any],
        ways: Mapping[str, Any],
        wanted: _Wanted,
        components: Mapping[str, m.Component],
    ) -> tuple[m.Companion, ...]:
        """The companions, their alternatives marked that are loose parts."""
        loose = {number for number, component in components.items() if component.loose}

        def alternatives(claim: str) -> Iterator[m.Alternative]:
            for way in ways[claim]:
                is_loose = way.component in loose and not way.position
                yield c.alternative_of(way, wanted.get((claim, way.slot), ()), is_loose)

        made = (c.companion_of(row, self._claim_head(row), alternatives(row.claim)) for row in rows)
        return tuple(sorted(made, key=_name))

    def _stating(self, positions: Mapping[str, m.Position], wanted: _Wanted) -> dict[str, Any]:
        """The claims of each kind but companions."""
        remedies = _by_column(self._of_claims("flaw_substitute", "flaw"), "substitute")
        add_ons = _by_column(self._of_claims("flaw_add_on", "flaw"), "component")
        also = _by_column(self._of_claims("flaw_also_of", "flaw"), "component")

        def flaw(row: Any, stated: _Stated) -> m.Flaw:
            others, parts = also.get(row.claim, ()), add_ons.get(row.claim, ())
            return c.flaw_of(row, stated, others, remedies.get(row.claim, ()), parts)

        fits = self._upgrade_fits()
        remedied = _by_column(self._of_claims("upgrade_flaw", "upgrade"), "flaw")

        def upgrade(row: Any, stated: _Stated) -> m.Upgrade:
            return c.upgrade_of(row, stated, fits.get(row.claim, ()), remedied.get(row.claim, ()))

        def conflict(row: Any, stated: _Stated) -> m.Conflict:
            return c.conflict_of(row, stated, wanted.get((row.claim, 0), ()), wanted.get((row.claim, 1), ()))

        return {
            "fitments": self._claims("fitment", c.fitment_of, positions),
            "substitutes": self._claims("substitute", c.substitute_of, positions),
            "flaws": self._claims("flaw", flaw, positions),
            "conflicts": self._claims("conflict", conflict, positions),
            "joints": self._claims("joint", c.joint_of, positions),
            "budgets": self._claims("budget", c.budget_of, positions),
            "precedences": self._claims("precedence", c.precedence_of, positions),
            "accesses": self._claims("access", c.access_of, positions),
            "tightenings": self._claims("tightening", c.tightening_of, positions),
            "upgrades": self._claims("upgrade", upgrade, positions),
        }

    def _upgrade_fits(self) -> dict[str, list[tuple[str, str]]]:
        found: dict[str, list[tuple[str, str]]] = defaultdict(list)
        for row in self._of_claims("upgrade_fit", "upgrade"):
            found[row.claim].append((row.component, row.position or ""))
        return found

    def _claims(
        self, kind: str, make: Callable[[Any, _Stated], Any], positions: Mapping[str, m.Position]
    ) -> tuple[Any, ...]:
        """The claims of one kind, in name order, that speak only of positions that the variant has."""
        made = [make(row, self._claim_head(row)) for row in self._speaking(kind, positions)]
        return tuple(sorted(made, key=_name))

    def _speaking(self, kind: str, positions: Mapping[str, m.Position]) -> list[Any]:
        """The rows of those."""
        rows, known = self._of_claims(kind, kind), {None, *positions}
        for place in ("position", "other_position"):
            if place in table(kind).c:
                rows = [row for row in rows if getattr(row, place) in known]
        return rows

    def _claim_head(self, row: Any) -> _Stated:
        """What every claim has."""
        claim = row.claim
        return {
            "name": claim,
            "when": self.whens[row.condition_id],
            "evidence": self.evidence.get(claim, ()),
            "note": row.claim_note,
            "reports": self.reports.get(claim, ()),
        }

    def _of_claims(self, name: str, *kinds: str) -> list[Any]:
        """Rows of a table that belong to claims of these kinds which may hold for the variant."""
        return list(self.connection.execute(_rows_of(name, kinds), {"variant": self.variant}).all())

    def _alternatives(self, positions: Mapping[str, m.Position]) -> dict[str, list[Any] | None]:
        """The rows of alternatives by companion, without those at positions that the variant lacks.

        None: nothing sits at a position that the variant lacks, so the rule asks for nothing.
        """
        found: dict[str, list[Any] | None] = {}
        for row in self._of_claims("companion_alternative", "companion"):
            so_far = found.setdefault(row.claim, [])
            if row.position is not None and row.position not in positions:
                found[row.claim] = None if row.empty else so_far
            elif so_far is not None:
                so_far.append(row)
        return found

    def _evidence(self) -> dict[str, tuple[m.Evidence, ...]]:
        """The evidence for each claim, in name order; a piece is read once, however many rest on it."""
        link, claim, spelt = table("claim_evidence"), table("claim"), table("condition_variant")
        query = (
            select(link.c.claim, link.c.evidence)
            .select_from(spelt)
            .join(claim, claim.c.condition_id == spelt.c.condition_id)
            .join(link, link.c.claim == claim.c.name)
            .where(spelt.c.variant == self.variant)
        )
        named: dict[str, list[str]] = defaultdict(list)
        for of, name in self.connection.execute(query).all():
            named[of].append(name)
        evidence = table("evidence")
        of_these = evidence.c.name.in_(listed(self.connection, sorted(set().union(*named.values()))))
        rows = self.connection.execute(select(evidence).where(of_these))
        pieces = {row.name: c.evidence_of(row) for row in rows}
        return {of: tuple([pieces[name] for name in sorted(names)]) for of, names in named.items()}

    def _positions(self) -> dict[str, m.Position]:
        position, spelt, section = table("position"), table("condition_variant"), table("section")
        query = (
            select(position)
            .join(spelt, spelt.c.condition_id == position.c.condition_id)
            .join(section, section.c.name == position.c.section)
            .where(spelt.c.variant == self.variant)
            .order_by(section.c.order, section.c.name, position.c.order, position.c.name)
        )
        return {row.name: c.position_of(row) for row in self.connection.execute(query)}

    def _variant(self, row: Any) -> m.Variant:
        span, fact = table("chassis_span"), table("characteristic")
        spans = (
            select(span).where(span.c.variant == self.variant).order_by(span.c.prefix, span.c.first_serial)
        )
        facts = self.connection.execute(
            select(fact).where(fact.c.variant == self.variant).order_by(fact.c.kind)
        )
        return c.variant_of(row, self.connection.execute(spans), {f.kind: c.measure_of(f) for f in facts})

    def _sections(self) -> dict[str, m.Section]:
        section = table("section")
        rows = self.connection.execute(select(section).order_by(section.c.order, section.c.name))
        return {row.name: m.Section(row.name, row.title, row.order) for row in rows}

    def _kinds(self) -> dict[str, m.Kind]:
        kind = table("characteristic_kind")
        rows = self.connection.execute(select(kind).order_by(kind.c.name))
        return {row.name: c.kind_of(row) for row in rows}

    def components(self, numbers: Iterable[str]) -> tuple[dict[str, m.Component], tuple[m.Supersession, ...]]:
        """These components and those tied to them, and the supersessions between them."""
        component, value, fitment = table("component"), table("characteristic"), table("fitment")
        tied = _tied_to(self.connection.dialect.name)
        named = list(self.connection.execute(tied, {"numbers": as_list(sorted(numbers))}).scalars())
        of_named = listed(self.connection, named)
        fits = exists().where(fitment.c.component == component.c.number).label("fits")
        rows = self.connection.execute(
            select(component, fits).where(component.c.number.in_(of_named)).order_by(component.c.number)
        ).all()
        values: dict[str, dict[str, Measure]] = defaultdict(dict)
        query = select(value).where(value.c.component.in_(of_named)).order_by(value.c.kind)
        for row in self.connection.execute(query).all():
            values[row.component][row.kind] = c.measure_of(row)
        supersessions = self._supersessions(named)
        groups = c.tied((s.old, s.new) for s in supersessions)
        fitted = {row.number for row in rows if row.fits}
        made = {
            row.number: c.component_of(
                row,
                values.get(row.number, {}),
                loose=not fitted & groups.get(row.number, frozenset({row.number})),
            )
            for row in rows
        }
        return made, supersessions

    def _supersessions(self, numbers: list[str]) -> tuple[m.Supersession, ...]:
        supersession, claim = table("supersession"), table("claim")
        link, evidence = table("claim_evidence"), table("evidence")
        of_these = supersession.c.old.in_(listed(self.connection, numbers))
        rows = self.connection.execute(
            select(supersession, claim.c.note)
            .join(claim, claim.c.name == supersession.c.claim)
            .where(of_these)
            .order_by(claim.c.name)
        ).all()
        proofs: dict[str, list[m.Evidence]] = defaultdict(list)
        pieces = (
            select(link.c.claim.label("proved"), evidence)
            .join(supersession, supersession.c.claim == link.c.claim)
            .join(evidence, evidence.c.name == link.c.evidence)
            .where(of_these)
            .order_by(link.c.claim, evidence.c.name)
        )
        for piece in self.connection.execute(pieces):
            proofs[piece.proved].append(c.evidence_of(piece))
        return tuple(
            c.supersession_of(
                row, {"name": row.claim, "note": row.note, "evidence": tuple(proofs[row.claim])}
            )
            for row in rows
        )


@lru_cache(maxsize=64)
def _rows_of(name: str, kinds: tuple[str, ...]) -> Select[Any]:
    """The query of `_of_claims`; made once, since making it takes longer than asking it."""
    rows, claim, spelt = table(name), table("claim"), table("condition_variant")
    return (
        select(rows, claim.c.condition_id, claim.c.note.label("claim_note"))
        .select_from(spelt)
        .join(claim, claim.c.condition_id == spelt.c.condition_id)
        .join(rows, rows.c.claim == claim.c.name)
        .where(spelt.c.variant == bindparam("variant"), claim.c.kind.in_(kinds))
        .order_by(*rows.primary_key)
    )


@lru_cache
def _tied_to(dialect: str) -> Select[Any]:
    """The query of `numbers` and all that twins and supersessions tie to them."""
    return select(chain_of(dialect, listed_under(dialect, "numbers")).columns[0])


@lru_cache
def _reports_of() -> Select[Any]:
    """The query of a variant's reports."""
    claim, spelt = table("claim"), table("condition_variant")
    names = select(claim.c.name).join(spelt, spelt.c.condition_id == claim.c.condition_id)
    return bearing(names.where(spelt.c.variant == bindparam("variant")))


def _by_column(rows: Iterable[Any], column: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        found[row.claim].append(getattr(row, column))
    return found


def _components_of_claims(stating: Mapping[str, Iterable[Any]]) -> set[str]:
    """Every component that the claims name."""
    names: set[str] = set()
    for kind in stating.values():
        claims = tuple(kind)
        has = {field.name for claim in claims[:1] for field in fields(claim)}
        for field in has & {"component", "original", "other_component"}:
            names.update(map(attrgetter(field), claims))
        for field in has & {"add_ons", "also_of"}:
            names.update(number for claim in claims for number in getattr(claim, field))
        for field in has & {"one", "other"}:
            names.update(getattr(claim, field).component for claim in claims)
        for field in has & {"fits"}:
            names.update(number for claim in claims for number, _position in getattr(claim, field))
    return names - {""}


def _components_in_companions(rows: Iterable[Any], ways: Mapping[str, Any]) -> set[str]:
    """Every component that companions name, and their alternatives."""
    asked = [(row.component, *[way.component for way in ways[row.claim]]) for row in rows]
    return set().union(*asked) - {None}
