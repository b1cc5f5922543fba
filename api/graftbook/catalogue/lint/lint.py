"""Looking for contradictions in the catalogue. The findings are data; nothing is changed.

Which variants of a range have the same rule book but for their names: one of them is looked at for all.
"""

from collections import defaultdict
from collections.abc import Container, Hashable, Iterable, Iterator, Sequence
from itertools import chain, groupby
from typing import NamedTuple

from sqlalchemy import Connection, and_, or_, select
from sqlmodel import Session

from graftbook.catalogue.compiling.queries import compile_book
from graftbook.catalogue.compiling.values import tied
from graftbook.catalogue.lint.buying import offer_findings
from graftbook.catalogue.lint.circles import circles_in
from graftbook.catalogue.lint.claims import claim_findings
from graftbook.catalogue.lint.closure import FITTED, FROM_NEW, Survey
from graftbook.catalogue.lint.equipment import equipment_findings, figure_findings
from graftbook.catalogue.lint.finding import LintFinding, Wrong
from graftbook.catalogue.lint.rules import Key, RuleLint, upgrade_findings
from graftbook.catalogue.lint.sequence import sequence_findings
from graftbook.catalogue.lint.vehicles import from_new_findings
from graftbook.catalogue.loading.matching_names import (
    circuits_of_budgets,
    circuits_of_positions,
    options_of_conditions,
    options_of_variants,
)
from graftbook.catalogue.store.conditions import conditions_of, when_of
from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.rulebook.model import ALWAYS


def alike_variants(connection: Connection, variants: Sequence[str]) -> list[list[str]]:
    """The variants in groups, each in the order given, the groups in that of their first ones.

    Those are alike that hold under the same conditions and have the same characteristics. Where a
    condition asks for chassis numbers, days or options, the vehicles of each variant decide, so that
    it is a group by itself; so is one without chassis numbers, of which there is no vehicle.
    """
    conditions = _conditions(connection, variants)
    bound = _bound_to_one(connection, frozenset[int]().union(*conditions.values()))
    facts, built = _facts(connection, variants), _built(connection, variants)
    groups: dict[Hashable, list[str]] = {}
    for variant in variants:
        holding = conditions[variant]
        shared = variant in built and not holding & bound
        groups.setdefault((holding, facts[variant]) if shared else variant, []).append(variant)
    return list(groups.values())


def _conditions(connection: Connection, variants: Sequence[str]) -> dict[str, frozenset[int]]:
    spelt = table("condition_variant")
    found: dict[str, set[int]] = {variant: set() for variant in variants}
    query = select(spelt.c.variant, spelt.c.condition_id)
    for row in connection.execute(query.where(spelt.c.variant.in_(listed(connection, variants)))):
        found[row.variant].add(row.condition_id)
    return {variant: frozenset(held) for variant, held in found.items()}


def _bound_to_one(connection: Connection, ids: frozenset[int]) -> set[int]:
    """Those of the conditions that the single vehicle decides."""
    return {row["id"] for row in conditions_of(connection, ids) if when_of(row) is not ALWAYS}


def _facts(connection: Connection, variants: Sequence[str]) -> dict[str, frozenset[Hashable]]:
    fact = table("characteristic")
    found: dict[str, set[Hashable]] = defaultdict(set)
    query = select(fact.c.variant, fact.c.kind, fact.c.low, fact.c.high, fact.c.text)
    for variant, *fields in connection.execute(query.where(fact.c.variant.in_(listed(connection, variants)))):
        found[variant].add(tuple(fields))
    return {variant: frozenset(found[variant]) for variant in variants}


def _built(connection: Connection, variants: Sequence[str]) -> set[str]:
    """Those that have chassis numbers."""
    span = table("chassis_span")
    query = select(span.c.variant).where(span.c.variant.in_(listed(connection, variants)))
    return set(connection.execute(query).scalars())


_Key = tuple[Wrong, tuple[str, ...]]


def ranges_of(connection: Connection) -> list[tuple[str, list[str]]]:
    """The ranges that have variants, each with these, in name order."""
    variant = table("variant")
    query = select(variant.c.range, variant.c.name).order_by(variant.c.range, variant.c.name)
    grouped = groupby(connection.execute(query).all(), key=lambda row: row.range)
    return [(range_name, [row.name for row in group]) for range_name, group in grouped]


def of_records(connection: Connection, currency: str) -> Iterator[LintFinding]:
    """What is found in the records side by side, before any vehicle is looked at."""
    yield from _circles(connection)
    yield from _without_successor(connection)
    yield from _unused_evidence(connection)
    yield from _names(connection)
    yield from offer_findings(connection, currency)
    yield from claim_findings(connection)


class Judged(NamedTuple):
    """What one variant shows: what is wrong on it, and of what may be well on another, whether it is here."""

    wrong: dict[_Key, str]
    unwell: dict[Key, str]
    well: set[Key]


def judge(session: Session, variant: str, settled: Container[Key], from_new: Container[str]) -> Judged:
    """What one variant shows. `settled` is well on another already and is not asked again; `from_new` are the
    flaws that the factory fitted to some vehicle of the range."""
    book = compile_book(session, variant)
    rules = RuleLint(book, settled, from_new)
    judged = Judged({}, {}, set())
    for key, sentence in chain(
        from_new_findings(book),
        equipment_findings(rules.survey),
        figure_findings(rules.survey),
        sequence_findings(book),
        _budgets(rules.survey),
        upgrade_findings(rules.survey),
    ):
        judged.wrong.setdefault(key, sentence)
    for verdict in rules.verdicts():
        if verdict.well:
            judged.well.add(verdict.key)
        else:
            judged.unwell.setdefault(verdict.key, verdict.sentence)
    rules.survey.forget()
    return judged


def findings_of(session: Session, judged: Iterable[tuple[list[str], Judged]]) -> Iterator[LintFinding]:
    """The findings of a range whose variants are judged, each for those alike: what is wrong on some variant,
    and what is well on none."""
    somewhere: dict[_Key, tuple[str, list[str]]] = {}
    nowhere: dict[Key, tuple[str, list[str]]] = {}
    well: set[Key] = set()
    for alike, one in judged:
        well |= one.well
        for key, sentence in one.wrong.items():
            somewhere.setdefault(key, (sentence, []))[1].extend(alike)
        for verdict, sentence in one.unwell.items():
            nowhere.setdefault(verdict, (sentence, []))[1].extend(alike)
    unwell = dict(_nowhere_well(nowhere, well))
    _explain(session, unwell)
    found = somewhere | {key[:2]: value for key, value in unwell.items()}
    for (wrong, records), (sentence, on) in sorted(found.items()):
        yield LintFinding(wrong, records, sentence, tuple(sorted(on)))


def flaws_from_new(connection: Connection, range_name: str) -> set[str]:
    """The flaws of components that the factory fitted to some vehicle of the range."""
    flaw, fitment, claim, condition = (table(n) for n in ("flaw", "fitment", "claim", "condition"))
    query = (
        select(flaw.c.claim)
        .join(fitment, fitment.c.component == flaw.c.component)
        .join(claim, claim.c.name == fitment.c.claim)
        .join(condition, condition.c.id == claim.c.condition_id)
        .where(fitment.c.from_new, condition.c.range == range_name)
    )
    return set(connection.execute(query.distinct()).scalars())


def _explain(session: Session, unwell: dict[Key, tuple[str, list[str]]]) -> None:
    """Say of what nobody can have which rules stand against it, on its first variant."""
    by_variant: dict[str, set[Key]] = {}
    for key, (_, variants) in unwell.items():
        if key[0] in (Wrong.dead, Wrong.no_remedy):
            by_variant.setdefault(variants[0], set()).add(key)
    for variant, keys in by_variant.items():
        rules = RuleLint(compile_book(session, variant))
        for key, sentence in rules.explained(keys):
            unwell[key] = (sentence, unwell[key][1])
        rules.survey.forget()


def _nowhere_well(
    nowhere: dict[Key, tuple[str, list[str]]], well: set[Key]
) -> Iterator[tuple[Key, tuple[str, list[str]]]]:
    """What is well on no variant. A flaw from new on some vehicle is judged by such vehicles alone."""
    from_new = {key[:2] for key in (*nowhere, *well) if key[2] == FROM_NEW}
    for key, value in nowhere.items():
        if key not in well and not (key[2] == FITTED and key[:2] in from_new):
            yield key, value


def _circles(connection: Connection) -> Iterator[LintFinding]:
    """Groups of numbers that supersede each other in a circle.

    Numbers that stand for each other both ways count as one; a circle among them is none.
    """
    supersession = table("supersession")
    rows = connection.execute(select(supersession).order_by(supersession.c.claim)).all()
    same = tied((row.old, row.new) for row in rows if row.both_ways)
    one_way = {
        (min(same.get(r.old, {r.old})), min(same.get(r.new, {r.new}))): r for r in rows if not r.both_ways
    }
    for circle in circles_in(list(one_way)):
        records = tuple(row.claim for (old, new), row in one_way.items() if {old, new} <= circle)
        names = ", ".join(sorted(circle))
        yield LintFinding(
            Wrong.circle, records, f"{names} supersede each other in a circle; none of them is the newest"
        )


def _without_successor(connection: Connection) -> Iterator[LintFinding]:
    component, supersession = table("component"), table("supersession")
    number = component.c.number
    leads_on = or_(supersession.c.old == number, and_(supersession.c.both_ways, supersession.c.new == number))
    query = select(number).where(
        component.c.supply == "superseded", ~select(supersession.c.claim).where(leads_on).exists()
    )
    for lost in connection.execute(query.order_by(number)).scalars():
        yield LintFinding(Wrong.no_successor, (lost,), f"{lost} is superseded, and no record says by what")


def _unused_evidence(connection: Connection) -> Iterator[LintFinding]:
    evidence, link = table("evidence"), table("claim_evidence")
    used = select(link.c.claim).where(link.c.evidence == evidence.c.name).exists()
    for name in connection.execute(select(evidence.c.name).where(~used).order_by(evidence.c.name)).scalars():
        yield LintFinding(Wrong.unused_evidence, (name,), f"nothing refers to the evidence {name}")


def _names(connection: Connection) -> Iterator[LintFinding]:
    """Circuits that no budget sums over, and options that nothing asks for."""
    named = circuits_of_budgets(connection)
    for range_name, circuits in sorted(circuits_of_positions(connection).items()):
        for circuit in sorted(set(circuits) - set(named[range_name])):
            where = ", ".join(circuits[circuit])
            sentence = f"the circuit {circuit} of {where} has no budget: nothing is summed over it"
            yield LintFinding(Wrong.no_budget, (circuit, *circuits[circuit]), sentence)
    asked = options_of_conditions(connection)
    for range_name, options in sorted(options_of_variants(connection).items()):
        for option in sorted(set(options) - asked[range_name]):
            sentence = f"no record asks whether a vehicle has the option {option}"
            yield LintFinding(Wrong.idle_option, (option, *options[option]), sentence)


def _budgets(survey: Survey) -> Iterator[tuple[tuple[Wrong, tuple[str, ...]], str]]:
    """(what, sentence) for budgets that nothing feeds, or that nothing draws on, on any vehicle."""
    for budget in survey.book.budgets:
        numbers = {n for p in survey.index.positions_of_budget[budget.name] for n in survey.at[p]}
        where = f"in the circuit {budget.circuit}" if budget.circuit else "of the vehicle"
        for kind, verb in ((budget.supply_kind, "feeds"), (budget.demand_kind, "draws on")):
            if not any((m := survey.measure(number, kind)) and m.high for number in numbers):
                key = (Wrong.idle_budget, (budget.name, kind))
                yield key, f"nothing {verb} {budget.name}: no component {where} records {kind}"
