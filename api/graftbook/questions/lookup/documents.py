"""One component's page of facts as plain dicts: records of the text format, without empty fields."""

from typing import Any

from graftbook.catalogue.format.records import Record
from graftbook.catalogue.store.facts import Facts

_LISTS = (
    "characteristics", "fitments", "replaces", "replaced_by", "needs", "needed_by", "conflicts", "flaws",
    "remedies", "offers", "chain", "evidence",
)  # fmt: skip


def component_page(facts: Facts, revision: int, currency: str) -> dict[str, Any]:
    """The page. `more` names the lists that were cut."""
    return {
        "component": facts.component.model_dump(mode="json"),
        "current_numbers": list(facts.current),
        **{name: [_record(record) for record in getattr(facts, name)] for name in _LISTS},
        "more": list(facts.more),
        "catalogue_revision": revision,
        "currency": currency,
    }


def _record(record: Record) -> dict[str, Any]:
    return record.model_dump(mode="json", exclude_defaults=True)
