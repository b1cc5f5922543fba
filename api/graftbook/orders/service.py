"""Orders as answers: the closures first, then what they need, then from whom to buy it."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any

from graftbook.catalogue.history.revisions import current_revision
from graftbook.closure.answer import Answer, Outcome, Solution
from graftbook.closure.answering import answer_question
from graftbook.closure.search.deadline import Deadline, Pace
from graftbook.database import reading
from graftbook.http.responses import etag_of
from graftbook.http.values import json_bytes
from graftbook.orders.buying.buying import InStore, Market, Order, Terms, buy
from graftbook.orders.buying.offers import Why
from graftbook.orders.buying.reconciling import reconcile
from graftbook.orders.buying.side_by_side import SupplierAsks as OfferAsked
from graftbook.orders.buying.side_by_side import asked_for, chosen_from
from graftbook.orders.buying.store import offered, offers_for, suppliers, taxes
from graftbook.orders.documents import cautions_of, order_facts, reconciled
from graftbook.orders.needs import Need, Needs, VehicleSet, needs_of
from graftbook.orders.question_schemas import OrderIn
from graftbook.orders.schemas import OrderOut, OrderVehicleOut, SubstituteOut
from graftbook.orders.stock.store import stock_for, stock_version
from graftbook.problems import pointing_at
from graftbook.process.service import Service
from graftbook.questions.closures.reasoning import closure_document, lasting, understood
from graftbook.questions.closures.schemas import ClosureOut, UnderstoodOut
from graftbook.questions.closures.service import document_of, found_set, set_only
from graftbook.questions.reading import Asked, ask, at_revision
from graftbook.questions.schemas import AskIn, ClosureIn
from graftbook.telemetry.requests import watched

MOST_SUBSTITUTES = 5
"""So many lines that nobody supplies get a substitute looked for: each asks the closure anew."""
TRIES = 3
SECONDS_FOR_SUBSTITUTES = 4.0
LINES = Pace(0.0002)
"""One line of an order, written."""
TERMS = ("by", "at_most_suppliers", "fastest", "use_stock", "tax_market", "buy_from")


@dataclass(frozen=True, slots=True)
class VehicleOrdered:
    """One vehicle of an order: its question, how it was understood, and the set that answers it."""

    label: str
    asked: Asked
    answer: Answer
    solution: Solution
    understood: UnderstoodOut


@dataclass(frozen=True, slots=True)
class OrderAnswer:
    """An order: its vehicles, what they need, and where it is bought."""

    vehicles: tuple[VehicleOrdered, ...]
    needs: Needs
    market: Market
    order: Order

    @property
    def lasting(self) -> bool:
        """Whether the same question gives the same order while nothing changes."""
        return self.order.proved and all(lasting(v.answer) for v in self.vehicles)


def vehicles_of(service: Service, body: OrderIn) -> list[tuple[str, Asked]]:
    """The questions of an order's vehicles with their labels. Raises what `ask` raises."""
    asked: list[tuple[str, Asked]] = []
    bodies: list[tuple[str, AskIn, str | None]] = [("", body, body.label)]
    bodies += [(f"/also/{i}", more, more.label) for i, more in enumerate(body.also)]
    for pointer, one, label in bodies:
        with pointing_at(pointer):
            found = at_revision(service, one, partial(ask, body=one))
        asked.append((_label(label or found.chassis, [known for known, _ in asked]), found))
    return asked


def _label(wished: str, taken: Sequence[str]) -> str:
    label, number = wished, 1
    while label in taken:
        number += 1
        label = f"{wished} ({number})"
    return label


def order_for(
    service: Service, body: OrderIn, asked: Sequence[tuple[str, Asked]], today: date
) -> OrderAnswer:
    """Answer the questions, sum what their sets need, and buy it. Raises NoSet, and OutOfTime.

    The first question's deadline is of the whole order.
    """
    return _buy(service, body, [_vehicle_ordered(service, label, one) for label, one in asked], today)


def _buy(service: Service, body: OrderIn, vehicles: Sequence[VehicleOrdered], today: date) -> OrderAnswer:
    needs = needs_of(
        VehicleSet(v.label, v.asked.book, v.solution, frozenset(v.asked.question.on_the_bench))
        for v in vehicles
    )
    numbers = [need.part.number for need in needs.lines]
    market = market_of(service, numbers, body.tax_market or vehicles[0].asked.book.variant.market, today)
    market = chosen_from(market, body.buy_from, numbers)
    store, deadline = in_store(service, numbers), vehicles[0].asked.deadline
    until = deadline.extended()
    until.check()
    seconds = min(Terms().seconds, max(0.0, until.left() - len(numbers) * LINES.seconds))
    terms = Terms(body.by, body.at_most_suppliers, body.fastest, body.use_stock, seconds)
    order = service.reasoner.run(buy, needs, market, terms, store, deadline=deadline)
    return OrderAnswer(tuple(vehicles), needs, market, order)


def _vehicle_ordered(service: Service, label: str, asked: Asked) -> VehicleOrdered:
    answer, known = set_only(service, "order", asked)
    return VehicleOrdered(label, asked, answer, found_set(answer, f"{label}: "), known)


def market_of(service: Service, numbers: Sequence[str], tax_market: str, today: date) -> Market:
    """What is offered for these numbers today, and the taxes of a market."""
    currency = service.settings.currency
    with reading(service.engine) as session:
        found = offered(session, numbers, today, currency)
        return Market(
            today,
            tuple(found.offers),
            tuple(suppliers(session)),
            taxes(session, tax_market, today),
            found.without_rate,
        )


def offers_side_by_side(service: Service, facts: OrderOut) -> dict[str, list[OfferAsked]]:
    """What every supplier asks for each line of an order that more than one sells, by number."""
    needed: dict[str, int] = defaultdict(int)
    for line in facts["lines"]:
        needed[line["number"]] += line["quantity"]
    market = market_of(service, list(needed), facts["market"], date.today())
    asked = {number: asked_for(market, number, quantity) for number, quantity in needed.items()}
    return {number: offers for number, offers in asked.items() if len(offers) > 1}


def in_store(service: Service, numbers: Sequence[str]) -> list[InStore]:
    """What lies in the shop's own store of these numbers."""
    with reading(service.engine) as session:
        return stock_for(session, numbers)


def facts_of(service: Service, body: OrderIn, ordered: OrderAnswer) -> OrderOut:
    """The whole order as facts, substitutes for what nobody supplies included; what is not bought first.

    Raises OutOfTime where that takes longer than the first question's deadline leaves for it.
    """
    first = ordered.vehicles[0].asked
    look = first.deadline.extended().check
    with LINES.timed(len(ordered.needs.lines)):
        known = order_facts(ordered.needs, ordered.order, ordered.market, service.settings.currency, look)
    way = reconcile((v.solution for v in ordered.vehicles), ordered.needs, ordered.order)
    facts: OrderOut = {
        "name": None,
        "state": None,
        "complete": known["complete"],
        "not_bought": known["not_bought"],
        "lines_needed": known["lines_needed"],
        "headline": known["headline"],
        "not_bought_why": known["not_bought_why"],
        "instead": known["instead"],
        "not_supplied": known["not_supplied"],
        "market": body.tax_market or first.book.variant.market,
        "catalogue_revision": max(v.asked.book.revision for v in ordered.vehicles),
        "vehicles": [_vehicle(v, cautions_of(ordered.needs, v.label)) for v in ordered.vehicles],
        **known,
        "reconciliation": reconciled(way, ordered.order, service.settings.currency),
    }
    _add_substitutes(service, facts, ordered)
    return facts


def _vehicle(ordered: VehicleOrdered, cautions: list[str]) -> OrderVehicleOut:
    known = ordered.understood
    return {
        "label": ordered.label,
        **known["vehicle"],
        "wishes": [wish["sentence"] for wish in known["wishes"]],
        "outcome": ordered.answer.outcome.value,
        "catalogue_revision": ordered.asked.book.revision,
        "cautions": cautions,
    }


def _add_substitutes(service: Service, facts: OrderOut, ordered: OrderAnswer) -> None:
    """For lines that nobody supplies: the best component that somebody does and the closure accepts."""
    until = ordered.vehicles[0].asked.deadline.extended().within(SECONDS_FOR_SUBSTITUTES)
    lacking = [need for need, why in ordered.order.not_supplied if why.why is Why.no_offer]
    lines = {line["number"]: line for line in facts["not_supplied"]}
    for number, need in enumerate(lacking):
        line = lines[need.part.number]
        if number >= MOST_SUBSTITUTES or until.passed:
            line["gets"] = "No substitute was looked for: too many lines, too little time."
        else:
            line["substitute"], line["gets"] = substitute(service, ordered, need, until)


def substitute(
    service: Service, ordered: OrderAnswer, need: Need, until: Deadline
) -> tuple[SubstituteOut | None, str]:
    """What the best set has instead of a number that nobody supplies, and what came of looking for it.

    The closure is asked with the number refused, and again with what it then proposes, while nobody
    supplies that either.
    """
    users = {share.vehicle for share in need.shares}
    vehicle = next(v for v in ordered.vehicles if v.label in users)
    question = vehicle.asked.question
    places = {c.position for c in vehicle.solution.changes if c.component == need.part.number}
    refused = {need.part.number}
    for _ in range(TRIES):
        limits = replace(question.limits, refuse=question.limits.refuse | refused)
        deadline = until.within(question.seconds)
        asked = replace(vehicle.asked, question=replace(question, limits=limits), deadline=deadline)
        answer, _ = set_only(service, "substitute", asked)
        if answer.outcome is Outcome.impossible:
            return None, _no_set(refused - {need.part.number})
        if answer.outcome is not Outcome.proved or answer.solution is None:
            return None, "No substitute was found in the time allowed."
        instead = _instead(vehicle.solution, answer.solution, places)
        if not instead:
            return None, _no_need(service, ordered, vehicle, answer.solution, need.part.number)
        offered = _numbers_offered(service, instead, ordered.market)
        if instead <= offered:
            substitute_out = _substitute(vehicle, answer.solution, need.part.number, instead)
            return substitute_out, substitute_out["sentence"]
        refused |= instead - offered
    others = ", ".join(sorted(refused - {need.part.number}))
    return None, f"Nobody sells what could stand for it either: {others}."


def _no_set(neither: set[str]) -> str:
    also = f" and without {', '.join(sorted(neither))}, which nobody sells either," if neither else ""
    return f"Without it{also} your wishes cannot be fulfilled."


def _instead(was: Solution, now: Solution, places: set[str]) -> set[str]:
    """What has the place of a number; of a loose part what is new beside the same changes, since with other
    changes it is another thing that is wanted, and no stand-in."""
    if places:
        return {c.component for c in now.changes if c.position in places and c.component}
    if {(c.position, c.component) for c in was.changes} != {(c.position, c.component) for c in now.changes}:
        return set()
    return {part.component for part in now.loose} - {part.component for part in was.loose}


def _no_need(
    service: Service, ordered: OrderAnswer, vehicle: VehicleOrdered, solution: Solution, number: str
) -> str:
    """Of the best set without a number, which has nothing in its stead: what else it has and has not."""
    differences = _else(vehicle, solution, {number})
    more = _numbers(solution) - _numbers(vehicle.solution)
    unsold = more - _numbers_offered(service, more, ordered.market)
    differences += [f"nobody sells {', '.join(sorted(unsold))} either"] if unsold else []
    return (
        f"Refuse it, and the best set has no need of it{': ' if differences else ''}{'; '.join(differences)}."
    )


def _else(vehicle: VehicleOrdered, solution: Solution, known: set[str]) -> list[str]:
    """What another set has and has not, beside the numbers known already."""
    before, after = _numbers(vehicle.solution), _numbers(solution)
    more, fewer = after - before - known, before - after - known
    differences = [f"it has {_numbers_with_names(vehicle, more)}"] if more else []
    return differences + ([f"it does without {_numbers_with_names(vehicle, fewer)}"] if fewer else [])


def _numbers(solution: Solution) -> set[str]:
    """Every number that a set fits or uses."""
    fitted = {change.component for change in solution.changes if change.component}
    return fitted | {part.component for part in solution.loose}


def _numbers_with_names(vehicle: VehicleOrdered, numbers: set[str]) -> str:
    components = vehicle.asked.book.components
    return ", ".join(f"{number} ({components[number].name})" for number in sorted(numbers))


def _numbers_offered(service: Service, numbers: set[str], market: Market) -> set[str]:
    with reading(service.engine) as session:
        found = offers_for(session, sorted(numbers), market.today, service.settings.currency)
    return {offer.component for offer in found}


def _substitute(
    vehicle: VehicleOrdered, solution: Solution, lacking: str, instead: set[str]
) -> SubstituteOut:
    """Of the best set without a number: what stands for it and is to be had, and what else changes."""
    number = min(instead)
    part = vehicle.asked.book.components[number]
    before, after = vehicle.solution.totals, solution.totals
    changes = after.changes - before.changes
    sentence = f"Fit {number} ({part.name}) instead"
    if changes:
        more = "more" if changes > 0 else "fewer"
        sentence += f"; the set then has {abs(changes)} {more} {'change' if abs(changes) == 1 else 'changes'}"
    worked = [n for n in instead if n in after.cut] and "cutting or welding, and cannot be put back"
    worked = worked or ([n for n in instead if n in after.machined] and "machining")
    sentence += f"; it needs {worked}" if worked else ""
    otherwise = _else(vehicle, solution, {lacking, number})
    sentence += f". The set is then another one: {'; '.join(otherwise)}" if otherwise else ""
    return {
        "number": number,
        "name": part.name,
        "sentence": f"{sentence}. Your wishes are fulfilled with it too.",
    }


def ordering(
    service: Service, body: OrderIn, form: str, write: Callable[[OrderOut], bytes]
) -> tuple[str, Callable[[], tuple[bytes, bool]]]:
    """An ETag and how to make the order in a form; `write` turns the facts into the bytes of that form.

    Raises what `ask` raises, and NoSet when the bytes are made.
    """
    today = date.today()
    asked = vehicles_of(service, body)
    terms = body.model_dump(mode="json", include=set(TERMS))

    def make() -> tuple[bytes, bool]:
        ordered = order_for(service, body, asked, today)
        return write(facts_of(service, body, ordered)), ordered.lasting

    depends = [[label, one.depends_on()] for label, one in asked]
    etag = etag_of("order", form, service.settings.currency, depends, terms, buying_state(service))
    return etag, service.in_turn(make, asked[0][1].deadline)


def buying_state(service: Service) -> list[Any]:
    """What every order depends on beside its questions: the day, the catalogue's revision, the store."""
    with reading(service.engine) as session:
        revision, version = current_revision(session.connection()), stock_version(session)
    return [date.today().isoformat(), revision, version]


def order_facts_for(service: Service, body: OrderIn) -> OrderOut:
    """The order as facts, kept or made in its turn. Raises what `ask` raises, NoSet, and Busy."""
    found: OrderOut = document_of(service, ordering(service, body, "json ", json_bytes))
    return found


def closure_and_order(service: Service, body: ClosureIn) -> tuple[ClosureOut, OrderOut | None]:
    """The closure as facts, and its order unless there is no set, each with the whole time. Raises what `ask`
    raises, and OutOfTime."""
    asked = at_revision(service, body, lambda then: ask(then, body, alternatives=body.alternatives))
    posed = asked.posed(service.settings.currency)
    answer = watched(
        "closure",
        lambda: answer_question(asked.book, asked.question, asked.deadline),
        lambda found: (found,),
    )
    document = closure_document(posed, answer)
    if answer.solution is None:
        return document, None
    order = OrderIn.model_validate(body.model_dump(exclude_unset=True))
    asked = replace(asked, deadline=Deadline(asked.question.seconds))
    vehicle = VehicleOrdered(asked.chassis, asked, answer, answer.solution, understood(posed))
    return document, facts_of(service, order, _buy(service, order, [vehicle], date.today()))
