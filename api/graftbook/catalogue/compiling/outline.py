"""What the records of a variant are called, without the records: enough to settle names, and quick."""

from dataclasses import dataclass

from sqlalchemy import Select, select
from sqlmodel import Session

from graftbook.catalogue.loading.staging import table
from graftbook.catalogue.store.conditions import split


@dataclass(frozen=True, slots=True)
class Outline:
    """The names of a variant's positions, sections, known flaws and options, as its rule book has them."""

    variant: str
    positions: tuple[str, ...]
    sections: tuple[str, ...]
    flaws: tuple[str, ...]
    options: tuple[str, ...]


def outline_of(session: Session, variant: str) -> Outline:
    """The outline of a variant that there is."""

    def names(query: Select[str]) -> tuple[str, ...]:
        return tuple(session.connection().execute(query).scalars())

    own, section = table("variant").c, table("section").c
    position, claim, spelt = table("position").c, table("claim").c, table("condition_variant").c
    here = spelt.variant == variant
    return Outline(
        variant,
        names(
            select(position.name)
            .join(table("condition_variant"), spelt.condition_id == position.condition_id)
            .join(table("section"), section.name == position.section)
            .where(here)
            .order_by(section.order, section.name, position.order, position.name)
        ),
        names(select(section.name).order_by(section.order, section.name)),
        names(
            select(claim.name)
            .join(table("condition_variant"), spelt.condition_id == claim.condition_id)
            .where(here, claim.kind == "flaw")
            .order_by(claim.name)
        ),
        tuple(split(names(select(own.options).where(own.name == variant))[0])),
    )
