"""Where records say that a component goes."""

from sqlalchemy import Connection, select

from graftbook.catalogue.store.tables import table


def places_of(connection: Connection, component: str, variant: str = "") -> list[str]:
    """The positions where records say that a component goes, on a variant or on any."""
    fitment, claim, spelt = table("fitment"), table("claim"), table("condition_variant")
    query = (
        select(fitment.c.position)
        .join(claim, claim.c.name == fitment.c.claim)
        .join(spelt, spelt.c.condition_id == claim.c.condition_id)
        .where(fitment.c.component == component)
        .distinct()
    )
    if variant:
        query = query.where(spelt.c.variant == variant)
    return sorted(connection.execute(query).scalars())
