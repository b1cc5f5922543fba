"""Names that must match: a name that a record uses and that nothing bears, or that is another's misspelt.

A misspelt circuit would switch a budget off without a word, a misspelt option everything that asks
for it. So these are refused over the whole catalogue as it will be, whenever an edit touches one side.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Set

from sqlalchemy import Connection, Select, or_, select

from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.loading.references import place_of
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED
from graftbook.catalogue.store.conditions import DECIDED, split
from graftbook.catalogue.store.nearest import hint, likest, slip_of
from graftbook.catalogue.store.tables import table

_Named = dict[str, dict[str, list[str]]]
"""Range → name → the records that use it."""
_FEW = 12
"""Names that are few enough to be listed."""


def unmatched_names(connection: Connection, brought: Set[str]) -> Iterator[Mistake]:
    """Every name of a circuit, or of what a variant is or offers, that misses what it was to meet."""
    if brought & {"position", "budget"}:
        yield from _circuits(connection, broken=_broken(connection))
    if brought & {"variant", SPANS_OF}:
        yield from _words_of_variants(connection)


def circuits_of_positions(connection: Connection) -> _Named:
    """Range → circuit → the positions that bear it."""
    position, condition = table("position"), table("condition")
    query = (
        select(condition.c.range, position.c.circuit, position.c.name)
        .join(condition, condition.c.id == position.c.condition_id)
        .where(position.c.circuit != "")
    )
    return _grouped(connection, query)


def circuits_of_budgets(connection: Connection) -> _Named:
    """Range → circuit → the budgets that sum over it."""
    budget, claim, condition = table("budget"), table("claim"), table("condition")
    query = (
        select(condition.c.range, budget.c.circuit, budget.c.claim)
        .join(claim, claim.c.name == budget.c.claim)
        .join(condition, condition.c.id == claim.c.condition_id)
        .where(budget.c.circuit != "")
    )
    return _grouped(connection, query)


def options_of_variants(connection: Connection) -> _Named:
    """Range → option → the variants that offer it."""
    variant = table("variant")
    found: _Named = defaultdict(lambda: defaultdict(list))
    query = select(variant.c.range, variant.c.options, variant.c.name).order_by(variant.c.name)
    for row in connection.execute(query):
        for option in split(row.options):
            found[row.range][option].append(row.name)
    return found


def options_of_conditions(connection: Connection) -> dict[str, set[str]]:
    """Range → the options that conditions name."""
    found: dict[str, set[str]] = defaultdict(set)
    for (range_name, column), words in _asked_for(connection).items():
        if column == "options":
            found[range_name] |= words
    return found


def _grouped(connection: Connection, query: Select[str, str, str]) -> _Named:
    found: _Named = defaultdict(lambda: defaultdict(list))
    for range_name, used, record in connection.execute(query.order_by(query.selected_columns[2])):
        if range_name is not None:
            found[range_name][used].append(record)
    return found


def _broken(connection: Connection) -> set[str]:
    """The kinds of which the load brought a record with a mistake: what it bears is not known."""
    return set(connection.execute(select(STAGED.c.kind).where(STAGED.c.broken).distinct()).scalars())


def _circuits(connection: Connection, broken: set[str]) -> Iterator[Mistake]:
    of_positions, of_budgets = circuits_of_positions(connection), circuits_of_budgets(connection)
    if "position" not in broken:
        for range_name, budgets in of_budgets.items():
            here = of_positions[range_name]
            for circuit in set(budgets) - set(here):
                for budget in budgets[circuit]:
                    message = f"no position bears the circuit '{circuit}'{_instead(circuit, here)}"
                    yield _mistake(connection, "budget", budget, "circuit", message)
    if "budget" not in broken:
        for range_name, positions in of_positions.items():
            here = of_budgets[range_name]
            for circuit in set(positions) - set(here):
                if meant := slip_of(circuit, set(here) & set(positions)):
                    message = f"no budget names the circuit '{circuit}'; did you mean '{meant}'?"
                    for position in positions[circuit]:
                        yield _mistake(connection, "position", position, "circuit", message)


def _instead(name: str, known: Mapping[str, object]) -> str:
    near = likest(name, sorted(known))
    listed = f"; the circuits are {', '.join(sorted(known))}" if 0 < len(known) <= _FEW else ""
    return hint(near) or listed or "; give it to the positions that it is to sum over"


def _words_of_variants(connection: Connection) -> Iterator[Mistake]:
    """What a variant is or offers that no condition asks for, and that is misspelt for what one does."""
    asked = _asked_for(connection)
    variant = table("variant")
    for row in connection.execute(select(variant).order_by(variant.c.name)).mappings():
        for field, (column, what) in _OF_VARIANT.items():
            known = asked[row["range"], column]
            for word in split(row[column]) if column == "options" else (row[field],):
                if word not in known and (meant := slip_of(word, known)):
                    message = f"nothing asks for the {what} '{word}'; did you mean '{meant}'?"
                    yield _mistake(connection, "variant", row["name"], field, message)


_OF_VARIANT = {
    field: (column, field) for column, field in DECIDED.items() if field not in ("name", "market")
} | {"options": ("options", "option")}
"""A variant's field → the column of a condition that asks for it, and what one of it is called.

A market may be asked for by nobody but a supplier or a tax.
"""


def _asked_for(connection: Connection) -> dict[tuple[str, str], set[str]]:
    """(range, column of a condition) → the words that conditions ask for there."""
    condition = table("condition")
    columns = [condition.c[column] for column, _ in _OF_VARIANT.values()]
    query = select(condition.c.range, condition.c.without, *columns).distinct()
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in connection.execute(query.where(or_(*(c != "" for c in columns), condition.c.without != ""))):
        for column, _ in _OF_VARIANT.values():
            found[row.range, column].update(split(row._mapping[column]))
        found[row.range, "options"].update(split(row.without))
    return found


def _mistake(connection: Connection, kind: str, name: str, field: str, message: str) -> Mistake:
    return Mistake(place_of(connection, kind, name), kind, field, message, name)
