"""Ways out as addresses: the question without the wishes and limits that a way gives up."""

from collections.abc import Iterable

from graftbook.pages.asking.question import PageQuestion
from graftbook.problems import Problem
from graftbook.process.state import Service
from graftbook.questions.closures.schemas import WayOutOut
from graftbook.questions.reading import Asked, ask

VEHICLE = ("build", "on", "chassis", "variant", "built", "option", "fitted", "on_the_bench")
GIVEN_UP = (
    "fit", "remedy", "remedy_all", "clear", "keep", "keep_section", "refuse", "effort_at_most",
    "price_at_most", "nothing_visible", "evidence_at_least",
)  # fmt: skip
"""What a way out may take out of a question."""


class WayLink(WayOutOut):
    """A way out, and the address that goes it; None where the address cannot say it."""

    address: str | None


def addresses_of_ways(service: Service, question: PageQuestion, ways: Iterable[WayOutOut]) -> list[WayLink]:
    """The ways out, each with the address of the question that is left; none where it cannot be told.

    What a stored build or a specification wishes does not stand in the address and cannot be taken
    out of it.
    """
    question = _spelt_out(service, question)
    names = pairs_of_names(service, question)
    return [{**way, "address": _address(question, names, way)} for way in ways]


def _spelt_out(service: Service, page: PageQuestion) -> PageQuestion:
    """The question with each wish of an upgrade on its own: a way out may give up one of them."""
    if not page.values("upgrade"):
        return page
    names = ask(service, page.body()).names.of_book
    for word in page.values("upgrade"):
        upgrade = names.upgrade(word, "")
        page = page.without("upgrade", word)
        for component, position in upgrade.fits:
            page = page.adding("fit", f"{component}@{position}" if position else component)
        for flaw in upgrade.remedies:
            page = page.adding("remedy", flaw)
    return page


def pairs_of_names(service: Service, question: PageQuestion) -> dict[str, list[tuple[str, str]]]:
    """The name by which an answer refers to a wish or limit → the pairs of the address that say it.

    A name that is there without them as well is left out: the address cannot take it away.
    """
    vehicle = question.only(VEHICLE)
    rest = PageQuestion(tuple(pair for pair in question.pairs if pair[0] not in GIVEN_UP))
    stays, of_vehicle = _names(service, rest), _names(service, vehicle)
    found: dict[str, list[tuple[str, str]]] = {}
    for pair in question.pairs:
        if pair[0] in GIVEN_UP:
            for name in _names(service, vehicle.adding(*pair)) - of_vehicle - stays:
                found.setdefault(name, []).append(pair)
    return found


def _names(service: Service, page: PageQuestion) -> set[str]:
    try:
        asked: Asked = ask(service, page.body())
    except Problem:
        return set()
    question = asked.question
    return {named.name for named in (*question.wishes, *question.limits.each())}


def _address(question: PageQuestion, names: dict[str, list[tuple[str, str]]], way: WayOutOut) -> str | None:
    left = question
    for given_up in way["gives_up"]:
        if given_up["name"] not in names:
            return None
        for pair in names[given_up["name"]]:
            left = left.without(*pair)
    return left.adding("fit", way["fit"]).address() if way["fit"] else left.address()
