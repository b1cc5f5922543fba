"""What the whole catalogue may have for some words: gathered by the index of words, ranked elsewhere.

A search reads a bounded number of rows, however large the catalogue is: of a common word the first so many
numbers. Both engines compare words by code point, so both gather the same.
"""

from collections import Counter, OrderedDict, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType

from sqlalchemy import Connection, func, or_, select

from graftbook.catalogue.finding.of_book import SECTION, flaw_entry, upgrade_entry
from graftbook.catalogue.finding.ranking import Entry, head_of, recorded, sizes_in, weights_of
from graftbook.catalogue.finding.speech import OtherWords, Term, forms, other_words, shown, stem
from graftbook.catalogue.format.names import END
from graftbook.catalogue.history.revisions import epoch_of
from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.nearest import starting
from graftbook.catalogue.store.tables import table
from graftbook.database import listed

MOST_OF_A_WORD = 2_000
MOST_RANKED = 400
MOST_LISTED = 2_000
MOST_STEPS = 500
MOST_TURNS = 6
MOST_LIKE = 24

Sizes = Mapping[str, Sequence[tuple[str, float, float]]]
"""Number → what is measured of it: (quantity, SI value, weight)."""
_NO_SIZES: Sizes = MappingProxyType({})

_SAID: OrderedDict[tuple[str, int], OtherWords] = OrderedDict()
"""The lists of the states of the catalogue that were asked last, by epoch and revision."""
_MOST_KEPT = 8


def said_in(connection: Connection, revision: int) -> OtherWords:
    """The catalogue's list of other words; `revision` is the connection's own, of which it is kept."""
    state = (epoch_of(connection), revision)
    found = _SAID.get(state)
    if found is None:
        found = _SAID[state] = _read_said(connection)
        if len(_SAID) > _MOST_KEPT:
            _SAID.popitem(last=False)
    return found


def _read_said(connection: Connection) -> OtherWords:
    rows = table("other_word")
    query = select(rows.c.said, rows.c.means).order_by(rows.c.said).limit(MOST_LISTED)
    return other_words((row.said, split(row.means)) for row in connection.execute(query))


def numbers_of(connection: Connection, typed: Sequence[str]) -> dict[str, str]:
    """Those of some numbers, as typed, that a component has: as typed → as the catalogue writes it."""
    if not typed:
        return {}
    component = table("component")
    held = component.c.typed.in_(listed(connection, typed))
    query = select(component.c.typed, component.c.number).where(held)
    found = {row.typed: row.number for row in connection.execute(query)}
    return {each: found[each] for each in typed if each in found}


def numbers_beginning(connection: Connection, typed: str, limit: int) -> list[str]:
    """The numbers that begin so, in the order of a parts book; those with such a word in them after them.

    Of very many the first of the index are put into that order: a key that is typed reads no more of them.
    """
    component = table("component")
    begins = starting(component.c.typed, typed)
    first = select(component.c.number, component.c.sort_key).where(begins)
    some = first.order_by(component.c.typed).limit(MOST_RANKED).subquery()
    query = select(some.c.number).order_by(some.c.sort_key).limit(limit)
    found = list(connection.execute(query).scalars())
    return found or _having(connection, {typed.lower()})[:limit]


def successors_of(connection: Connection, numbers: Sequence[str]) -> dict[str, str]:
    """The numbers that take the place of some, and of those in their turn: new → old; in their order."""
    rows = table("supersession")
    found: dict[str, str] = {}
    old = list(numbers)
    for _ in range(MOST_TURNS):
        if not old:
            break
        query = select(rows.c.old, rows.c.new).where(rows.c.old.in_(old)).order_by(rows.c.old, rows.c.new)
        step = {row.new: row.old for row in connection.execute(query.limit(MOST_RANKED))}
        old = [new for new in step if new not in found and new not in numbers]
        found |= {new: step[new] for new in old}
    return found


def known_words(connection: Connection, wanted: Iterable[str]) -> dict[str, str]:
    """Those of some roots that the name of a component has: root → a word of it."""
    words = {form: each for each in wanted for form in forms(each)}
    if not words:
        return {}
    rows = table("component_word")
    held = rows.c.word.in_(listed(connection, sorted(words)))
    found = sorted(connection.execute(select(rows.c.word).where(held).distinct()).scalars())
    return {words[word]: stem(word) for word in reversed(found)}


def words_beginning(connection: Connection, start: str) -> list[str]:
    """Words in the names of components that begin so, a bounded number; each is one step in the index."""
    rows = table("component_word")
    least = select(func.min(rows.c.word)).where(rows.c.word >= start).scalar_subquery()
    walk = select(least.label("word")).cte("walk", recursive=True)
    after = select(func.min(rows.c.word)).where(rows.c.word > walk.c.word).scalar_subquery()
    walk = walk.union_all(select(after).where(walk.c.word < start + END))
    found = connection.execute(select(walk.c.word).limit(MOST_STEPS)).scalars()
    return [word for word in found if word and word.startswith(start)]


def words_near(connection: Connection, word: str) -> dict[str, str]:
    """Words in the names of components that begin as a word does: root → the word."""
    return shown(words_beginning(connection, word[:2])) if len(word) > 2 else {}


def components_of(connection: Connection, terms: Sequence[Term]) -> list[Entry]:
    """Components that have the most of the words, a bounded number; what a size is asked of, with its own."""
    counts: Counter[str] = Counter()
    for term in terms:
        having: set[str] = set()
        for way in term.ways:
            each = [set(_having(connection, forms(word), word if term.begun else "")) for word in way]
            having |= set.intersection(*each) if each else set()
        counts.update(having)
    most = max(counts.values(), default=0)
    chosen = sorted(
        (number for number, count in counts.items() if count >= max(1, most - 1)),
        key=lambda n: (-counts[n], n),
    )
    chosen = chosen[:MOST_RANKED]
    sizes = _sizes_of(connection, chosen) if any(term.measures for term in terms) else {}
    return entries_of(connection, chosen, sizes)


def _sizes_of(connection: Connection, numbers: Sequence[str]) -> Sizes:
    own, kind = table("characteristic"), table("characteristic_kind")
    query = (
        select(own.c.component, kind.c.quantity, own.c.low)
        .join(kind, kind.c.name == own.c.kind)
        .where(own.c.component.in_(listed(connection, numbers)), own.c.low == own.c.high)
    )
    found: defaultdict[str, list[tuple[str, float, float]]] = defaultdict(list)
    for row in connection.execute(query):
        found[row.component].append(recorded(row.quantity, row.low))
    return found


def _having(connection: Connection, words: Collection[str], begun: str = "") -> list[str]:
    rows = table("component_word")
    among = rows.c.word.in_(sorted(words))
    where = or_(among, starting(rows.c.word, begun)) if begun else among
    query = select(rows.c.component).where(where).order_by(rows.c.word, rows.c.component)
    return list(connection.execute(query.limit(MOST_OF_A_WORD)).scalars())


def entries_of(connection: Connection, numbers: Sequence[str], sizes: Sizes = _NO_SIZES) -> list[Entry]:
    """Components by their numbers, as entries; `sizes` that are recorded of some."""
    component, section = table("component"), table("section")
    query = (
        select(component.c.number, component.c.name, component.c.section, section.c.title)
        .join(section, section.c.name == component.c.section)
        .where(component.c.number.in_(listed(connection, numbers)))
        .order_by(component.c.sort_key)
    )
    return [
        Entry(
            "component",
            row.number,
            row.name,
            row.section,
            weights=weights_of(row.name, (SECTION, [row.title])),
            head=head_of(row.name),
            sizes=(*sizes_in(row.name), *sizes.get(row.number, ())),
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
        upgrade_entry(row.claim, row.title, split(row.called), row.note) for row in connection.execute(query)
    ]


def flaws_of(connection: Connection, terms: Iterable[Term]) -> list[Entry]:
    """Known flaws whose symptom has one of the words, a bounded number."""
    rows = table("flaw")
    words = {word for term in terms for way in term.ways for word in way if len(word) > 2}
    if not words:
        return []
    columns = (rows.c.symptom, rows.c.claim)
    has = or_(
        *(column.icontains(word, autoescape=True) for word in sorted(words)[:MOST_LIKE] for column in columns)
    )
    component = table("component")
    query = (
        select(rows.c.claim, rows.c.symptom, rows.c.component, rows.c.appears_when, component.c.name)
        .join(component, component.c.number == rows.c.component)
        .where(has)
        .order_by(rows.c.claim)
    )
    return [
        flaw_entry(row.claim, row.component, (row.symptom, row.appears_when), [row.name])
        for row in connection.execute(query.limit(MOST_RANKED))
    ]
