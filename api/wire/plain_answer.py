"""A closure's answer as plain text, made from the JSON facts."""

from collections.abc import Iterator

from api.wire.plain import Facts, amount, count, hours, wrap
from api.wire.plain_set import changes_of, set_lines


def answer_lines(document: Facts) -> Iterator[str]:
    """A whole closure document: vehicle, wishes, the set or the contradiction, what to know."""
    yield from _vehicle(document)
    yield ""
    yield from wrap(_verdict(document))
    if document["set"]:
        yield from set_lines(document, document["set"])
        for number, other in enumerate(document["other_sets"], 2):
            yield ""
            yield from wrap(f"ANOTHER GOOD SET ({number}): {cost_of(other['totals'], document['currency'])}")
            yield from changes_of(other)
    for contradiction in document["contradictions"]:
        yield from _contradiction(contradiction)
    yield from _ways_out(document)
    if document.get("cautions"):
        yield ""
        for caution in document["cautions"]:
            yield from wrap(caution)


def _vehicle(document: Facts) -> Iterator[str]:
    vehicle = document["vehicle"]
    estimated = ", estimated from the number" if vehicle.get("built_is_estimated") else ""
    chassis = f", chassis {vehicle['chassis']}" if vehicle["chassis"] else ""
    options = f", with {', '.join(vehicle['options'])}" if vehicle["options"] else ""
    yield from wrap(f"{vehicle['title']}{chassis} (built {vehicle['built']}{estimated}){options}", hang=2)
    for wish in document["wishes"]:
        yield from wrap(f"You wish: {wish['sentence']}", hang=10)
    for limit in document["limits"]:
        yield from wrap(f"You set:  {limit['sentence']}", hang=10)


def _verdict(document: Facts) -> str:
    outcome, revision = document["outcome"], f"Catalogue revision {document['catalogue_revision']}."
    cost = cost_of(document["set"]["totals"], document["currency"]) if document["set"] else ""
    if outcome == "proved":
        return f"PROVED: no better set fulfils this. {cost} {revision}"
    if outcome == "impossible":
        return f"IMPOSSIBLE, and that is proved: no set fulfils this. {revision}"
    if document["set"]:
        gap = f" It may be up to {document['gap']:.0%} off the best." if document["gap"] is not None else ""
        return f"NOT PROVED in time: this set works, but a better one may exist.{gap} {cost} {revision}"
    return f"NOT ANSWERED: {outcome}. {revision}"


def cost_of(totals: Facts, currency: str) -> str:
    put_back = "nothing is cut or welded"
    if totals["irreversible"]:
        put_back = f"{count(totals['irreversible'], 'change')} cannot be put back"
    shows = "nothing shows" if not totals["visible"] else f"{totals['visible']} of them show"
    if totals["visible"] == 1:
        shows = "1 of them shows"
    unknown = (
        f", and {count(len(totals['unknown_prices']), 'price')} unknown" if totals["unknown_prices"] else ""
    )
    return (
        f"{count(totals['changes'], 'change').capitalize()}; {put_back}; {shows}. Parts "
        f"{amount(totals['price'], currency)}{unknown}; labour {hours(totals['labour_minutes'])}."
    )


def _contradiction(contradiction: Facts) -> Iterator[str]:
    yield ""
    yield (
        "These cannot all hold:"
        if contradiction["smallest"]
        else "These cannot all hold (fewer may be enough):"
    )
    for part in contradiction["parts"]:
        yield from wrap(f"- {part['sentence']}", indent=2, hang=4)
    for fact in contradiction["facts"]:
        yield from wrap(f"- {fact['sentence']}", indent=2, hang=4)


def _ways_out(document: Facts) -> Iterator[str]:
    ways = document["ways_out"]
    if ways:
        yield ""
        yield "WAYS OUT, cheapest first, each tried"
    for number, way in enumerate(ways, 1):
        cost = f" {cost_of(way['totals'], document['currency'])}" if way["totals"] else ""
        gives = "; ".join(part["sentence"] for part in way["gives_up"])
        yield from wrap(f"{number:3}. {way['instead'] or gives}.{cost}".replace("..", "."), hang=5)
    if document["more_ways_out"]:
        yield "     There are more."
