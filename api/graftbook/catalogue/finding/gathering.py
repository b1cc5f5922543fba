"""What the whole catalogue may have for some words: gathered by the index of words, ranked elsewhere.

A search reads a bounded number of rows, however large the catalogue is: of a common word the first so many
numbers. Both engines compare words by code point, so both gather the same.
"""

from collections import Counter
from collections.abc import Iterable, Sequence

from sqlalchemy import Connection, or_, select

from graftbook.catalogue.finding.ranking import NAME, PLACE, Entry, weights_of
from graftbook.catalogue.finding.speech import OtherWords, Term, forms, other_words
from graftbook.catalogue.loading.staging import listed, table
from graftbook.catalogue.store.conditions import split

MOST_OF_A_WORD = 2_000
MOST_RANKED = 400
MOST_LISTED = 2_000
_END = "\U0010ffff"


def said_in(connection: Connection) -> OtherWords:
    """The catalogue's list of other words."""
    rows = table("other_word")
    query = select(rows.c.said, rows.c.means).order_by(rows.c.said).limit(MOST_LISTED)
    return other_words((row.said, split(row.means)) for row in connection.execute(query))


def numbers_typed(connection: Connection, readings: Sequence[str], limit: int) -> list[str]:
    """The components whose number is one of these as typed, else those that begin as the first."""
    component = table("component")
    held = component.c.typed.in_(listed(connection, readings))
    exact = {
        row.typed: row.number
        for row in connection.execute(select(component.c.typed, component.c.number).where(held))
    }
    if readings and readings[0] in exact:
        return [exact[readings[0]]]
    found = [exact[reading] for reading in readings if reading in exact]
    if found or not readings:
        return found[:limit]
    begins = component.c.typed.between(readings[0], readings[0] + _END)
    query = select(component.c.number).where(begins).order_by(component.c.sort_key).limit(limit)
    return list(connection.execute(query).scalars())


def components_of(connection: Connection, terms: Iterable[Term]) -> list[Entry]:
    """Components that have the most of the words, a bounded number."""
    counts: Counter[str] = Counter()
    for term in terms:
        having: set[str] = set()
        for way in term.ways:
            each = [set(_having(connection, word, begun=term.begun)) for word in way]
            having |= set.intersection(*each) if each else set()
        counts.update(having)
    most = max(counts.values(), default=0)
    chosen = sorted(
        (number for number, count in counts.items() if count >= max(1, most - 1)),
        key=lambda n: (-counts[n], n),
    )
    return entries_of(connection, chosen[:MOST_RANKED])


def _having(connection: Connection, stem: str, *, begun: bool) -> list[str]:
    rows = table("component_word")
    words = rows.c.word.in_(sorted(forms(stem)))
    where = or_(words, rows.c.word.between(stem, stem + _END)) if begun else words
    query = select(rows.c.component).where(where).order_by(rows.c.word, rows.c.component)
    return list(connection.execute(query.limit(MOST_OF_A_WORD)).scalars())


def entries_of(connection: Connection, numbers: Sequence[str]) -> list[Entry]:
    """Components by their numbers, as entries."""
    component, section = table("component"), table("section")
    query = (
        select(component.c.number, component.c.name, component.c.section, section.c.title)
        .join(section, section.c.name == component.c.section)
        .where(component.c.number.in_(listed(connection, numbers)))
        .order_by(component.c.sort_key)
    )
    return [
        Entry(
            "component", row.number, row.name, row.section, weights=weights_of(row.name, (PLACE, [row.title]))
        )
        for row in connection.execute(query)
    ]


def upgrades_of(connection: Connection) -> list[Entry]:
    """The named upgrades, whatever they hold for."""
    rows, claim = table("upgrade"), table("claim")
    query = (
        select(rows.c.claim, rows.c.title, rows.c.called, claim.c.note)
        .join(claim, claim.c.name == rows.c.claim)
        .order_by(rows.c.claim)
        .limit(MOST_LISTED)
    )
    return [
        Entry(
            "upgrade",
            row.claim,
            row.title,
            detail=row.note,
            weights=weights_of(row.title, (4.0, split(row.called))),
        )
        for row in connection.execute(query)
    ]


def flaws_of(connection: Connection, terms: Iterable[Term]) -> list[Entry]:
    """Known flaws whose symptom has one of the words, a bounded number."""
    rows = table("flaw")
    words = {way[0] for term in terms for way in term.ways if len(way[0]) > 2}
    if not words:
        return []
    has = or_(*(rows.c.symptom.icontains(word, autoescape=True) for word in sorted(words)))
    query = select(rows.c.claim, rows.c.symptom, rows.c.component).where(has).order_by(rows.c.claim)
    return [
        Entry(
            "flaw",
            row.claim,
            row.symptom,
            detail=row.component,
            weights=weights_of("", (NAME, [row.symptom])),
        )
        for row in connection.execute(query.limit(MOST_RANKED))
    ]
