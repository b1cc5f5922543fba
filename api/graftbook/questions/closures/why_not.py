"""Why not this component, briefly: read off the prices of a closure, else from the two sets alone.

A closure tells for each place that it chose what the best set with each other component costs more. That
set also is the best one of the question in which the component is wished as well, as long as no wish must
give way to it: so its price is the difference, and nothing is solved. Where a price is not known, sets of
equal cost may lack other prices, and which of them is told is settled by asking.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from graftbook.catalogue.format.money import minor_units
from graftbook.closure.answer import Outcome
from graftbook.closure.answering import scope_of
from graftbook.closure.criteria import COUNTED, Criterion, Difference
from graftbook.closure.explain.comparing import Comparison, with_component
from graftbook.closure.question import Question
from graftbook.closure.search.totals import whole_preference
from graftbook.closure.words import wording
from graftbook.closure.words.sentences import CUTTING, cautions_for, lifting, section_cautions
from graftbook.questions.closures.documents import difference_document
from graftbook.questions.closures.summary import told_by_both
from graftbook.rulebook.model import RuleBook
from graftbook.rulebook.scope import Fit, Scope

if TYPE_CHECKING:
    from graftbook.questions.closures.schemas import ChangeOut, ClosureOut, DifferenceOut
    from graftbook.questions.closures.summary_schemas import WhyNotAskedOut, WhyNotSummaryOut


@dataclass(frozen=True, slots=True)
class Priced:
    """What the best set with a component at its best place costs more; None: no set has it anywhere."""

    place: str
    more: Difference | None


def priced(
    book: RuleBook, question: Question, number: str, position: str, document: ClosureOut
) -> Priced | None:
    """What a closure says of a component (there, or where it is best); None where it does not say."""
    found = document["set"]
    if found is None or document["outcome"] != Outcome.proved.value:
        return None
    fits = scope_of(book, question).serving(number, position)
    instead = with_component(book, question, number, position)
    if not fits or not set(question.wishes) <= set(instead.wishes):
        return None
    return _best(question, _priced_fits(scope_of(book, question), fits, found["changes"]))


def _priced_fits(scope: Scope, fits: Iterable[Fit], changes: Iterable[ChangeOut]) -> list[Priced] | None:
    """What is said of each fit; None where one is not priced, or not exactly."""
    at = {change["position"]: change for change in changes}
    alternatives = []
    for fit in fits:
        one = _at_its_place(scope, fit, at.get(fit.position))
        if one is None:
            return None
        alternatives.append(one)
    return alternatives


def _at_its_place(scope: Scope, fit: Fit, change: ChangeOut | None) -> Priced | None:
    here = scope.today.get(fit.position) if change is None else change["component"]
    if here == fit.component and not fit.is_loose:
        return Priced(fit.position, Difference())
    for other in change["alternatives"] if change else ():
        if other["component"] == fit.component:
            if other["outcome"] == Outcome.impossible.value:
                return Priced(fit.position, None)
            return _exactly(fit.position, other["difference"]) if other["outcome"] == "proved" else None
    return None


def _exactly(place: str, told: DifferenceOut) -> Priced | None:
    """A price as it is told; None where parts without a price are among what differs."""
    price = told.get("price", "0")
    if price is None:
        return None
    figures: dict[Criterion, int] = {name: told.get(word, 0) for name, word in COUNTED.items()}
    figures[Criterion.price] = minor_units(Decimal(price))
    return Priced(place, Difference({name: figures[name] for name in Criterion if figures[name]}))


def _best(question: Question, told: list[Priced] | None) -> Priced | None:
    """Of several places the one where it costs least by the asker's preference."""
    if told is None:
        return None
    order = whole_preference(question.preference)
    possible = [(one.more, one) for one in told if one.more is not None]
    if not possible:
        return told[0]
    return min(possible, key=lambda each: [each[0].figures.get(name, 0) for name in order])[1]


def brief_from_prices(
    book: RuleBook, number: str, place: str, more: Difference, document: ClosureOut
) -> WhyNotSummaryOut:
    """What a closure says of a component, as a document of its own."""
    cut = [CUTTING] if more.figures.get(Criterion.irreversible, 0) > 0 else []
    return {
        **_of_both(book, number, document, cut),
        "position": place,
        "outcome": Outcome.proved.value,
        "looked_up": True,
        "difference": difference_document(more),
        "sentences": [wording.difference_sentence(more)],
        "contradiction": [],
    }


def brief_of_sets(
    book: RuleBook, fits: Iterable[Fit], number: str, compared: Comparison, document: ClosureOut
) -> WhyNotSummaryOut:
    """The same of two answers. `fits`: wherever the component could sit."""
    other = compared.other
    after = other.solution.after if other.solution else {}
    changed = cautions_for(book, other.solution.changes, other.solution.loose) if other.solution else ()
    blamed = other.contradictions[0] if other.contradictions else None
    most = 2 if other.solution and not compared.one.solution else 1
    return {
        **_of_both(book, number, document, changed),
        "position": next((fit.position for fit in fits if after.get(fit.position) == fit.component), None),
        "cut_short": document["cut_short"] or other.cut_short,
        "outcome": other.outcome.value,
        "looked_up": False,
        "difference": difference_document(compared.difference),
        "sentences": wording.comparison_sentences(book, book, compared)[:most],
        "contradiction": wording.contradiction_sentences(book, blamed) if blamed else [],
    }


def _of_both(book: RuleBook, number: str, document: ClosureOut, more: Iterable[str]) -> WhyNotAskedOut:
    """The cautions of the set as asked, of the component's own section, and `more`."""
    part = book.components.get(number)
    section = section_cautions(book, part.section) if part else ()
    hazard = [f"{number}: {part.hazard}"] if part and part.hazard else []
    return {
        **told_by_both(document),
        "cautions": list(dict.fromkeys([*document["cautions"], *section, *lifting(part), *more, *hazard])),
        "full": None,
        "component": number,
        "name": part.name if part else None,
        "asked": document["outcome"],
    }
