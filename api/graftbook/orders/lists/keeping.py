"""Kept lists and the closures behind them: made, computed again, compared with today, a part replaced."""

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Literal, get_args

import orjson
from sqlalchemy import Engine

from graftbook.closure.answer import Outcome
from graftbook.closure.words import phrases
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.orders.lists import overview
from graftbook.orders.lists import service as order_lists
from graftbook.orders.lists.schemas import (
    ChangedValueOut,
    DifferencesOut,
    LineDifferenceOut,
    ListDifferencesOut,
    OrderListOut,
    TotalsBothOut,
)
from graftbook.orders.question_schemas import OrderIn
from graftbook.orders.schemas import NotSuppliedOut, OrderLineOut, OrderOut
from graftbook.orders.service import order_facts_for
from graftbook.problems import AlreadyExists, InvalidRequest, NoSet, Problem, SubstituteRefused
from graftbook.process.service import Service

EMPTY: Mapping[str, NotSuppliedOut] = MappingProxyType({})
MOST_TRIES = 20
"""So often a name that was free is asked for anew, when others took it meanwhile."""
Compared = Literal["number", "supplier", "unit_price", "deposit", "pieces", "tax_rate", "arrives"]
COMPARED: tuple[Compared, ...] = get_args(Compared)
"""What of a line is told when it differs; the day it arrives moves by itself and is told with others only."""


def make(
    service: Service, name: str, body: OrderIn, note: str, who: str, once: Once = EACH_TIME
) -> OrderListOut:
    """Compute an order and keep it as a draft. Raises what computing raises, AlreadyExists."""
    facts = order_facts_for(service, body)
    return order_lists.create(_engine(service), name, _list_body(body), facts, note, who, once)


def make_next(
    service: Service, named: Callable[[OrderOut], str], body: OrderIn, note: str, who: str
) -> OrderListOut:
    """The same under the name that is wanted for it, or the next one that is free. Raises what computing
    raises."""
    facts = order_facts_for(service, body)
    wanted = named(facts)
    for _ in range(MOST_TRIES):
        name = overview.free_name(_engine(service), wanted)
        try:
            return order_lists.create(_engine(service), name, _list_body(body), facts, note, who)
        except AlreadyExists:
            continue
    raise AlreadyExists(f"There is an order list '{wanted}' already", pointer="/name")


def _engine(service: Service) -> Engine:
    engine = service.engine
    assert isinstance(engine, Engine), "a kept list is of the present"
    return engine


def _list_body(body: OrderIn) -> order_lists.Body:
    asked: order_lists.Body = body.model_dump(mode="json", exclude_unset=True)
    return asked


def body_of(service: Service, name: str) -> OrderIn:
    """The question behind a list, as of now. Raises UnknownOrderList."""
    asked = order_lists.asked_of(_engine(service), name)
    return OrderIn.model_validate_json(orjson.dumps(asked))


def recompute(service: Service, name: str, if_match: str, who: str) -> OrderListOut:
    """Compute a draft again with today's catalogue, offers and store; what differs is recorded."""
    body = body_of(service, name)
    before = order_lists.list_document(_engine(service), name)
    facts = order_facts_for(service, body)
    detail = {"differences": differences_between(before, facts)["lines"]}
    return order_lists.replace_facts(
        _engine(service), name, if_match, _list_body(body), facts, "computed again", detail, who
    )


def differences(service: Service, name: str) -> ListDifferencesOut:
    """What the list would say if it were made today: prices, numbers, suppliers, the set itself.

    A question that has no set any more is told as such. Raises UnknownOrderList.
    """
    kept = order_lists.list_document(_engine(service), name)
    try:
        now = order_facts_for(service, body_of(service, name))
    except NoSet as gone:
        return {
            "name": name, "same": False, "complete": False, "not_bought": None, "sentences": [gone.detail],
            "lines": [], "totals": None,
        }  # fmt: skip
    return {"name": name, **differences_between(kept, now)}


def differences_between(kept: OrderListOut | OrderOut, now: OrderOut) -> DifferencesOut:
    """Two orders of one question compared line by line, by number."""
    before, after = _by_number(kept["lines"]), _by_number(now["lines"])
    compared = [_difference(number, before.get(number), after.get(number)) for number in {**before, **after}]
    lines = [line for line in compared if line]
    lacked = {part["number"]: part for part in kept["not_supplied"]}
    lacks = {part["number"]: part for part in now["not_supplied"]}
    sentences = [_sentence(line, lacked, lacks) for line in lines]
    sentences += [
        f"{number} ({part['name']}) is not bought. {part['why']}"
        for number, part in lacks.items()
        if number not in lacked and number not in before
    ]
    in_store = {part["number"] for part in now["from_stock"]}
    sentences += [
        sentence
        for number, part in lacked.items()
        if number not in after and (sentence := _still(part, lacks.get(number), number in in_store))
    ]
    totals: TotalsBothOut = {"before": kept["totals"], "after": now["totals"]}
    if totals["before"] != totals["after"]:
        sentences.append(f"It came to {_sum(kept)} and would come to {_sum(now)} today.")
    revision = {"before": kept["catalogue_revision"], "after": now["catalogue_revision"]}
    return {
        "same": not sentences,
        "complete": now["complete"],
        "not_bought": now["not_bought"],
        "sentences": sentences,
        "lines": lines,
        "totals": totals,
        "catalogue_revision": revision,
    }


def _sum(order: OrderListOut | OrderOut) -> str:
    """What an order comes to, with what is missing from the sum."""
    unknown = tuple(order["unknown_prices"])
    more = f" and {phrases.of_unknown(unknown)}," if unknown else ""
    return f"{order['totals']['total']}{more}"


def _by_number(lines: Iterable[OrderLineOut]) -> dict[str, OrderLineOut]:
    """Lines by number; the parts of a line bought in several places together."""
    found: dict[str, OrderLineOut] = {}
    for line in lines:
        known = found.get(line["number"])
        if known is None:
            found[line["number"]] = line.copy()
        else:
            known["pieces"] += line["pieces"]
            known["supplier"] = f"{known['supplier']} and {line['supplier']}"
            known["unit_price"] = f"{known['unit_price']} and {line['unit_price']}"
    return found


def _difference(
    number: str, before: OrderLineOut | None, after: OrderLineOut | None
) -> LineDifferenceOut | None:
    if after is None:
        name = before["name"] if before else ""
        return {"number": number, "name": name, "what": "gone", "changed": {}}
    if before is None:
        return {"number": number, "name": after["name"], "what": "added", "changed": {}}
    changed: dict[str, ChangedValueOut] = {
        field: {"before": before[field], "after": after[field]}
        for field in COMPARED
        if before[field] != after[field]
    }
    if not changed or set(changed) == {"arrives"}:
        return None
    return {"number": number, "name": after["name"], "what": "changed", "changed": changed}


_WORDS = {
    "supplier": "supplier",
    "unit_price": "price",
    "deposit": "deposit",
    "pieces": "pieces",
    "tax_rate": "tax",
    "arrives": "there by",
}


def _still(was: NotSuppliedOut, now: NotSuppliedOut | None, in_store: bool) -> str:
    """What is to be said of a line that was not bought and is not now; nothing when nothing changed."""
    part = f"{was['number']} ({was['name']})"
    if now is None:
        return f"{part} was not bought and {'is in the store' if in_store else 'is not needed any more'}."
    if (was["quantity"], was["why"]) == (now["quantity"], now["why"]):
        return ""
    return f"{part}: still not bought, {now['quantity']} instead of {was['quantity']}. {now['why']}"


def _sentence(
    line: LineDifferenceOut,
    lacked: Mapping[str, NotSuppliedOut] = EMPTY,
    lacks: Mapping[str, NotSuppliedOut] = EMPTY,
) -> str:
    part = f"{line['number']} ({line['name']})"
    if line["what"] == "added":
        was_lacking = line["number"] in lacked
        return (
            f"{part} was not bought and can be bought now."
            if was_lacking
            else f"{part} is needed as well now."
        )
    if line["what"] == "gone":
        why = lacks[line["number"]]["why"] if line["number"] in lacks else ""
        return f"{part} cannot be bought any more. {why}" if why else f"{part} is not on the list any more."
    changes = [
        f"{_WORDS[field]} {both['before'] or 'none'}, now {both['after'] or 'none'}"
        for field, both in line["changed"].items()
    ]
    return f"{part}: {'; '.join(changes)}."


def substitute(
    service: Service, name: str, if_match: str, line_number: int, instead: str, who: str
) -> OrderListOut:
    """Another number for a line of a draft, if the closure accepts it and nothing else changes.

    Raises UnknownOrderList, PreconditionFailed, WrongState, InvalidRequest for a line that the list
    does not have, SubstituteRefused with what would change, and the problems of the number.
    """
    kept = order_lists.list_document(_engine(service), name)
    line = next((one for one in kept["lines"] if one["line"] == line_number), None)
    if line is None:
        raise InvalidRequest(f"The list has no line {line_number}", pointer="/line")
    body = _wishing(body_of(service, name), line, instead)
    try:
        facts = order_facts_for(service, body)
    except NoSet as impossible:
        raise SubstituteRefused(
            f"With {instead} the wishes have no set", sentences=[impossible.detail]
        ) from impossible
    except Problem as problem:
        problem.pointer = "/number"
        raise
    if any(vehicle["outcome"] != Outcome.proved for vehicle in facts["vehicles"]):
        raise SubstituteRefused(f"Whether {instead} fits the whole was not proved in time", sentences=[])
    _accept_only(line, instead, kept, facts)
    detail = {"line": line_number, "before": line["number"], "after": instead}
    return order_lists.replace_facts(
        _engine(service), name, if_match, _list_body(body), facts, "substituted", detail, who
    )


def _wishing(body: OrderIn, line: OrderLineOut, instead: str) -> OrderIn:
    """The same question with the substitute wished for, and the number refused, where the line is used."""
    asked = _list_body(body)
    vehicles = [asked, *asked.get("also", [])]
    used = {share["vehicle"] for share in line["for"]}
    labels = [one.get("label") or one["vehicle"].get("chassis", "") for one in vehicles]
    for one, label in zip(vehicles, labels, strict=True):
        if len(vehicles) == 1 or label in used:
            one.setdefault("wishes", []).append({"fit": instead})
            one.setdefault("limits", {}).setdefault("refuse", []).append(line["number"])
    return OrderIn.model_validate_json(orjson.dumps(asked))


def _accept_only(line: OrderLineOut, instead: str, kept: OrderListOut, facts: OrderOut) -> None:
    """Raises SubstituteRefused when more than this one number changes."""
    found = differences_between(kept, facts)
    others = [
        one
        for one in found["lines"]
        if one["number"] not in (line["number"], instead) and one["what"] in ("added", "gone")
    ]
    lacking = {p["number"] for p in facts["not_supplied"]} - {p["number"] for p in kept["not_supplied"]}
    held = {one["number"] for one in facts["lines"]} | {p["number"] for p in facts["from_stock"]}
    if others or lacking or instead not in held:
        raise SubstituteRefused(
            f"{instead} in place of {line['number']} changes more than this line",
            sentences=[_sentence(one) for one in others]
            + [f"{number} would not be supplied." for number in sorted(lacking)],
        )
