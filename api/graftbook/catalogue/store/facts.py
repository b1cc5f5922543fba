"""Everything that the catalogue says of one component."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, or_, select, union
from sqlmodel import Session

from graftbook.catalogue.format import records as r
from graftbook.catalogue.history.revisions import chain_of
from graftbook.catalogue.store.from_rows import records_named
from graftbook.catalogue.store.lookup import find_components
from graftbook.catalogue.store.tables import table
from graftbook.database import listed

MOST = 1000
"""Records of one kind that the facts list; `more` says where there are others."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of one component, as records of the text format.

    `needs` are the companion rules that it brings, `needed_by` those that it may satisfy; both have
    a row for each alternative. `replaces` and `replaced_by` are substitutes, `remedies` the flaws
    that it mends as an add-on or a substitute, `offers` those of every supplier, whenever they hold.
    `chain` holds the supersessions of its number, older and newer; `current` the numbers that stand
    for it today. `more` names the lists that were cut.
    """

    component: r.ComponentRecord
    section_title: str
    characteristics: Sequence[r.CharacteristicRecord]
    fitments: Sequence[r.FitmentRecord]
    replaces: Sequence[r.SubstituteRecord]
    replaced_by: Sequence[r.SubstituteRecord]
    needs: Sequence[r.CompanionRecord]
    needed_by: Sequence[r.CompanionRecord]
    conflicts: Sequence[r.ConflictRecord]
    flaws: Sequence[r.FlawRecord]
    remedies: Sequence[r.FlawRecord]
    offers: Sequence[r.OfferRecord]
    chain: Sequence[r.SupersessionRecord]
    current: tuple[str, ...]
    evidence: Sequence[r.EvidenceRecord]
    more: tuple[str, ...]


def component_facts(session: Session, number: str) -> Facts:
    """The facts of a component by its number as typed. Raises UnknownComponent."""
    found = find_components(session, number)[0]
    return _Reader(session.connection(), found).facts()


class _Reader:
    def __init__(self, connection: Connection, number: str) -> None:
        self.connection = connection
        self.number = number
        self.more: list[str] = []

    def facts(self) -> Facts:
        (component,) = records_named(
            self.connection, r.ComponentRecord, listed(self.connection, [self.number]), 1
        )
        chain = self._chain()
        lists: dict[str, Any] = {
            name: self._records(name, kind, self._claims(*columns)) for name, kind, columns in _LISTS
        }
        offer = table("offer")
        bought = select(offer.c.name).where(offer.c.component == self.number)
        lists["offers"] = self._records("offers", r.OfferRecord, bought)
        substitutes = union(self._claims(("flaw_add_on", "component")), self._remedies())
        lists["remedies"] = self._records("remedies", r.FlawRecord, substitutes)
        section = table("section")
        title = select(section.c.title).where(section.c.name == component.section)
        return Facts(
            component=component,
            section_title=self.connection.execute(title).scalar() or "",
            chain=chain,
            current=self._current(chain),
            evidence=self._evidence([*chain, *(record for some in lists.values() for record in some)]),
            more=tuple(self.more),
            **lists,
        )

    def _records(self, name: str, kind: type[r.Record], claims: Any) -> list[Any]:
        if self.connection.execute(claims.limit(1).offset(MOST)).first():
            self.more.append(name)
        return records_named(self.connection, kind, claims, MOST)

    def _claims(self, *columns: tuple[str, str]) -> Any:
        """The claims that name the component in one of these columns."""
        queries = [
            select(table(name).c.claim).where(table(name).c[column] == self.number)
            for name, column in columns
        ]
        return union(*queries) if len(queries) > 1 else queries[0]

    def _remedies(self) -> Any:
        remedy, substitute = table("flaw_substitute"), table("substitute")
        return (
            select(remedy.c.claim)
            .join(substitute, substitute.c.claim == remedy.c.substitute)
            .where(substitute.c.component == self.number)
        )

    def _chain(self) -> list[Any]:
        supersession = table("supersession")
        tied = chain_of(self.connection.dialect.name, listed(self.connection, [self.number]), twins=False)
        numbers = select(tied.columns[0])
        claims = select(supersession.c.claim).where(
            or_(supersession.c.old.in_(numbers), supersession.c.new.in_(numbers))
        )
        return self._records("chain", r.SupersessionRecord, claims)

    def _current(self, chain: Sequence[r.SupersessionRecord]) -> tuple[str, ...]:
        """The numbers that stand for this one today: itself while current, else its successors that are."""
        component = table("component")
        names = {self.number} | {name for record in chain for name in (record.old, record.new)}
        query = select(component.c.number).where(
            component.c.number.in_(listed(self.connection, sorted(names))), component.c.supply == "current"
        )
        supplied = set(self.connection.execute(query).scalars())
        seen, waiting = {self.number}, [self.number]
        current: set[str] = set()
        while waiting:
            number = waiting.pop()
            if number in supplied:
                current.add(number)
                continue
            newer = {s.new for s in chain if s.old == number} | {
                s.old for s in chain if s.both_ways and s.new == number
            }
            waiting += newer - seen
            seen |= newer
        return tuple(sorted(current))

    def _evidence(self, records: Sequence[Any]) -> list[Any]:
        names = sorted({name for record in records for name in getattr(record, "evidence", ())})
        return records_named(
            self.connection, r.EvidenceRecord, listed(self.connection, names), len(names) or 1
        )


_LISTS: tuple[tuple[str, type[r.Record], tuple[tuple[str, str], ...]], ...] = (
    ("characteristics", r.CharacteristicRecord, (("characteristic", "component"),)),
    ("fitments", r.FitmentRecord, (("fitment", "component"),)),
    ("replaces", r.SubstituteRecord, (("substitute", "component"),)),
    ("replaced_by", r.SubstituteRecord, (("substitute", "original"),)),
    ("needs", r.CompanionRecord, (("companion", "component"),)),
    ("needed_by", r.CompanionRecord, (("companion_alternative", "component"),)),
    ("conflicts", r.ConflictRecord, (("conflict", "component"), ("conflict", "other_component"))),
    ("flaws", r.FlawRecord, (("flaw", "component"), ("flaw_also_of", "component"))),
)
