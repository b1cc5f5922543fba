"""An order list carried out on a build, line by line: what it does to the vehicle, what of it was done."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlmodel import Session

from graftbook.builds import service as builds
from graftbook.builds.life.recording import day_of, events_of
from graftbook.builds.life.schemas import CarriedOutIn, ListStepOut, ListStepsOut
from graftbook.builds.service import Recorded
from graftbook.builds.stored.documents import BuildOut, build_document
from graftbook.builds.stored.events import BuildEvent, taken_back
from graftbook.catalogue.compiling.book_names import outline_of
from graftbook.catalogue.format import records as r
from graftbook.catalogue.store.titles import titles
from graftbook.database import reading
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.orders.lists.schemas import OrderListOut
from graftbook.orders.lists.service import list_document
from graftbook.orders.schemas import OrderLineOut, ShareOut
from graftbook.problems import InvalidRequest, VehicleMismatch, WrongState, pointing_at
from graftbook.process.service import Service

MAKES_WAY = "It makes way for what the list fits."


@dataclass(frozen=True, slots=True)
class BuildStep:
    """One thing that a list does to a vehicle: at a position, or a loose part used (`position` empty)."""

    position: str
    title: str
    component: str | None
    name: str = ""
    quantity: int = 1
    off: str | None = None
    fate: str | None = None
    reason: str = ""
    come: bool = True

    @property
    def key(self) -> str:
        """How the step is called."""
        return self.position or self.component or ""


def list_steps(service: Service, name: str, listed: str) -> ListStepsOut:
    """What an order list does to a build, and which of it was carried out.

    Raises UnknownBuild, UnknownOrderList, and VehicleMismatch for a list that is not for this vehicle.
    """
    order, steps, done = _steps(service, name, listed)
    documents = [_step_document(step, done.get(step.key)) for step in steps]
    return {
        "order_list": listed,
        "state": order["state"],
        "steps": documents,
        "open": sum(step["done"] is None for step in documents),
    }


def carry_out(service: Service, name: str, body: CarriedOutIn, who: str, once: Once = EACH_TIME) -> BuildOut:
    """Record that steps of an order list were carried out on a build.

    Raises what `list_steps` raises, WrongState for a draft, InvalidRequest for a step that the list has not
    or that was carried out before, and what `once` raises.
    """
    build_document(service.engine, name)
    with pointing_at("/order_list"):
        order, steps, done = _steps(service, name, body.order_list)
    if order["state"] == "draft":
        raise WrongState("The list is a draft; send it first, it may still change", state=order["state"])
    wanted = _steps_wanted(body, {step.key: step for step in steps}, done)
    day = day_of(body.day)
    events = [_step_event(step, day, body) for step in wanted]
    return builds.record(service.engine, name, events, who, once)


def _steps_wanted(
    body: CarriedOutIn, steps: Mapping[str, BuildStep], done: Mapping[str, BuildEvent]
) -> list[BuildStep]:
    key: str
    for place, key in enumerate(body.steps):
        at = f"/steps/{place}"
        if key not in steps:
            raise InvalidRequest(f"The list '{body.order_list}' has no step '{key}'", pointer=at)
        if key in done:
            raise InvalidRequest(f"'{key}' was carried out on {done[key].day}", pointer=at)
    chosen = [key for key in steps if key not in done] if body.whole else list(dict.fromkeys(body.steps))
    if not chosen:
        left = "nothing of it is left" if body.whole else "say which steps, or all of it (whole)"
        raise InvalidRequest(f"Nothing to carry out: {left}", pointer="/steps")
    return [steps[key] for key in chosen]


def _step_event(step: BuildStep, day: date, body: CarriedOutIn) -> Recorded:
    if not step.position:
        used = {"component": step.component, "quantity": step.quantity}
        return "used", day, {**used, "reason": step.reason, "list": body.order_list}
    kept = body.kept.get(step.position, "")
    sits = {"position": step.position, "component": step.component, "off": step.off}
    return "fitted", day, {**sits, "kept": kept, "reason": step.reason, "list": body.order_list}


def _steps(
    service: Service, name: str, listed: str
) -> tuple[OrderListOut, list[BuildStep], dict[str, BuildEvent]]:
    build, order = build_document(service.engine, name), list_document(service.engine, listed)
    labels = [one["label"] for one in order["vehicles"] if one["chassis"] == build["chassis"]]
    if not labels:
        theirs = ", ".join(one["chassis"] for one in order["vehicles"])
        raise VehicleMismatch(f"'{listed}' is for {theirs}, not for {build['chassis']}", variant="")
    with reading(service.engine) as session:
        places = _places(session, build["variant"])
    steps = _each_step_once(_of_order(order, labels[0], places))
    return order, steps, _done(events_of(service.engine, name), listed)


def _places(session: Session, variant: str) -> dict[str, str]:
    """Title → name of the variant's positions: a list calls positions by their titles."""
    names = outline_of(session, variant).positions
    return {title: name for name, title in titles(session, r.PositionRecord, names).items()}


def _done(events: Iterable[BuildEvent], listed: str) -> dict[str, BuildEvent]:
    """The step → the event that carried it out."""
    every = list(events)
    gone = taken_back(every)
    return {
        event.detail.get("position") or event.detail["component"]: event
        for event in every
        if event.detail.get("list") == listed and event.id not in gone
    }


def _of_order(order: OrderListOut, label: str, places: Mapping[str, str]) -> Iterator[BuildStep]:
    """Every step of one vehicle; what comes off goes by the position's title as well."""
    off = {one["position"]: one for one in order["taken_off"] if one["vehicle"] == label}
    for line in order["lines"]:
        reason = line["reasons"][0] if line["reasons"] else ""
        come = line["open"] == 0 and line["given_up"] == 0
        yield from _of_shares(line, line["for"], label, places, reason, come)
    for part in order["from_stock"]:
        yield from _of_shares(part, part["for"], label, places, "", True)
    for lacking in order["not_supplied"]:
        yield from _of_shares(lacking, lacking["for"], label, places, "", False)
    for hand in order["at_hand"]:
        if hand["vehicle"] == label:
            share: ShareOut = {"vehicle": label, "positions": hand["positions"], "quantity": hand["quantity"]}
            yield from _of_shares(hand, [share], label, places, "", True)
    for title, one in off.items():
        fate = f"{one['what']}: {one['why']}"
        reason = "" if one["replaced_by"] else MAKES_WAY
        emptied = BuildStep(
            places.get(title, ""), title, one["replaced_by"], "", 1, one["number"], fate, reason
        )
        if emptied.position:
            yield emptied


def _of_shares(
    part: OrderLineOut | Mapping[str, Any],
    shares: Iterable[ShareOut],
    label: str,
    places: Mapping[str, str],
    reason: str,
    come: bool,
) -> Iterator[BuildStep]:
    number, called = part["number"], part["name"]
    for share in shares:
        if share["vehicle"] != label:
            continue
        for title in share["positions"]:
            if title in places:
                yield BuildStep(places[title], title, number, called, 1, reason=reason, come=come)
        if not share["positions"]:
            yield BuildStep("", "", number, called, share["quantity"], reason=reason, come=come)


def _each_step_once(steps: Iterable[BuildStep]) -> list[BuildStep]:
    """Each step once: what a line and the store bring together, with what comes off there."""
    found: dict[str, BuildStep] = {}
    for step in steps:
        known = found.get(step.key)
        found[step.key] = step if known is None else replace(
            known,
            off=known.off or step.off,
            fate=known.fate or step.fate,
            reason=known.reason or step.reason,
            come=known.come and step.come,
        )  # fmt: skip
    return list(found.values())


def _step_document(step: BuildStep, done: BuildEvent | None) -> ListStepOut:
    return {
        "step": step.key,
        "position_title": step.title or None,
        "component": step.component,
        "name": step.name or None,
        "quantity": step.quantity,
        "off": step.off,
        "fate": step.fate,
        "reason": step.reason,
        "come": step.come,
        "done": done.day.isoformat() if done else None,
    }
