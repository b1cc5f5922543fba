"""Components as plain dicts: a line of a list, and one component's page of records without empty fields."""

from collections.abc import Sequence

from graftbook.catalogue.format.records import Record
from graftbook.catalogue.search import ComponentFound
from graftbook.catalogue.store.facts import Facts
from graftbook.closure.words.sentences import CUTTING, cautions_by, lifting_of
from graftbook.http.values import money
from graftbook.questions.lookup.schemas import ComponentFactsOut, ComponentLineOut, Row
from graftbook.rulebook.units import read_measure


def component_line(line: ComponentFound) -> ComponentLineOut:
    """A component in a list."""
    return {
        "number": line.number,
        "name": line.name,
        "section": line.section,
        "origin": line.origin,
        "supply": line.supply,
        "price": money(line.price),
        "visible": line.visible,
    }


def component_page(facts: Facts, revision: int, currency: str) -> ComponentFactsOut:
    """The page. `more` names the lists that were cut."""
    return {
        "component": facts.component.model_dump(mode="json"),
        "current_numbers": list(facts.current),
        "characteristics": _rows(facts.characteristics),
        "fitments": _rows(facts.fitments),
        "replaces": _rows(facts.replaces),
        "replaced_by": _rows(facts.replaced_by),
        "needs": _rows(facts.needs),
        "needed_by": _rows(facts.needed_by),
        "conflicts": _rows(facts.conflicts),
        "flaws": _rows(facts.flaws),
        "remedies": _rows(facts.remedies),
        "offers": _rows(facts.offers),
        "chain": _rows(facts.chain),
        "evidence": _rows(facts.evidence),
        "cautions": _cautions(facts),
        "more": list(facts.more),
        "catalogue_revision": revision,
        "currency": currency,
    }


def _cautions(facts: Facts) -> list[str]:
    """What fitting it calls for: by its section, by the work where it fits, and by its mass."""
    part = facts.component
    cut = any(fitment.effort == "cutting" for fitment in facts.fitments)
    mass_kg = read_measure(part.mass, "mass").high if part.mass else None
    return [*cautions_by(f"{part.section} {facts.section_title}"), *[CUTTING] * cut, *lifting_of(mass_kg)]


def _rows(records: Sequence[Record]) -> list[Row]:
    return [record.model_dump(mode="json", exclude_defaults=True) for record in records]
