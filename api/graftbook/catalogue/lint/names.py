"""Lint of circuits, budgets and options: what is named and does nothing."""

from collections.abc import Iterator

from sqlalchemy import Connection

from graftbook.catalogue.lint.closure import Survey
from graftbook.catalogue.lint.finding import Finding, Wrong
from graftbook.catalogue.loading.bearers import (
    circuits_borne,
    circuits_named,
    options_asked_for,
    options_offered,
)
from graftbook.rulebook.model import Budget


def name_findings(connection: Connection) -> Iterator[Finding]:
    """Circuits that no budget sums over, and options that nothing asks for."""
    named = circuits_named(connection)
    for range_name, circuits in sorted(circuits_borne(connection).items()):
        for circuit in sorted(set(circuits) - set(named[range_name])):
            where = ", ".join(circuits[circuit])
            sentence = f"the circuit {circuit} of {where} has no budget: nothing is summed over it"
            yield Finding(Wrong.no_budget, (circuit, *circuits[circuit]), sentence)
    asked = options_asked_for(connection)
    for range_name, options in sorted(options_offered(connection).items()):
        for option in sorted(set(options) - asked[range_name]):
            sentence = f"no record asks whether a vehicle has the option {option}"
            yield Finding(Wrong.idle_option, (option, *options[option]), sentence)


def budget_findings(survey: Survey) -> Iterator[tuple[tuple[Wrong, tuple[str, ...]], str]]:
    """(what, sentence) for budgets that nothing feeds, or that nothing draws on, on any vehicle."""
    for budget in survey.book.budgets:
        numbers = {n for p in survey.index.positions_of_budget[budget.name] for n in survey.at[p]}
        for kind, verb in ((budget.supply_kind, "feeds"), (budget.demand_kind, "draws on")):
            if not any((m := survey.measure(number, kind)) and m.high for number in numbers):
                key = (Wrong.idle_budget, (budget.name, kind))
                yield key, f"nothing {verb} {budget.name}: no component {_where(budget)} records {kind}"


def _where(budget: Budget) -> str:
    return f"in the circuit {budget.circuit}" if budget.circuit else "of the vehicle"
