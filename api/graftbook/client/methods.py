"""What both clients can ask: `Client` waits for the answer of a method, `AsyncClient` is awaited."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from functools import wraps
from typing import TYPE_CHECKING, Any, Generic, ParamSpec, TypeVar, overload

from graftbook.client import calls, edits, kept
from graftbook.client.calls import Call, Pages

if TYPE_CHECKING:
    from graftbook.client.asynchronous import AsyncClient
    from graftbook.client.blocking import Client

P = ParamSpec("P")
T = TypeVar("T")


class asks(Generic[P, T]):
    """The method that sends the call which a function of `calls` makes."""

    def __init__(self, make: Callable[P, Call[T]]) -> None:
        self._make = make

    @overload
    def __get__(self, client: None, owner: object) -> Callable[P, Call[T]]: ...
    @overload
    def __get__(self, client: Client, owner: object) -> Callable[P, T]: ...
    @overload
    def __get__(self, client: AsyncClient, owner: object) -> Callable[P, Awaitable[T]]: ...
    def __get__(self, client: Client | AsyncClient | None, owner: object) -> Callable[P, Any]:
        return self._make if client is None else _sent_by(client.send, self._make)


class lists(Generic[P, T]):
    """The method that goes through the pages which a function of `calls` names."""

    def __init__(self, make: Callable[P, Pages[T]]) -> None:
        self._make = make

    @overload
    def __get__(self, client: None, owner: object) -> Callable[P, Pages[T]]: ...
    @overload
    def __get__(self, client: Client, owner: object) -> Callable[P, Iterator[T]]: ...
    @overload
    def __get__(self, client: AsyncClient, owner: object) -> Callable[P, AsyncIterator[T]]: ...
    def __get__(self, client: Client | AsyncClient | None, owner: object) -> Callable[P, Any]:
        return self._make if client is None else _sent_by(client.through, self._make)


def _sent_by(send: Callable[[Any], Any], make: Callable[P, Any]) -> Callable[P, Any]:
    @wraps(make)
    def method(*args: P.args, **named: P.kwargs) -> Any:
        return send(make(*args, **named))

    return method


class Methods:
    """The operations; a client says how a call is sent, and how a list is gone through."""

    closure = asks(calls.closure)
    closure_summary = asks(calls.closure_summary)
    why_not = asks(calls.why_not)
    what_if = asks(calls.what_if)
    check = asks(calls.check)
    fits = asks(calls.fits)
    compatibility = asks(calls.compatibility)
    order = asks(calls.order)
    order_paper = asks(calls.order_paper)
    fitting_sequence = asks(calls.fitting_sequence)
    quotation = asks(calls.quotation)
    vehicle = asks(calls.vehicle)
    search = asks(calls.search)
    component = asks(calls.component)
    components = lists(calls.components)
    flaws = lists(calls.flaws)
    positions = lists(calls.positions)
    variants = lists(calls.variants)
    ranges = lists(calls.ranges)
    upgrades = lists(calls.upgrades)
    measured_part = asks(calls.measured_part)
    ready = asks(calls.ready)
    builds = lists(kept.builds)
    build = asks(kept.build)
    create_build = asks(kept.create_build)
    replace_build = asks(kept.replace_build)
    delete_build = asks(kept.delete_build)
    build_events = lists(kept.build_events)
    record_build_events = asks(kept.record_build_events)
    build_state = asks(kept.build_state)
    build_sheet = asks(kept.build_sheet)
    build_sheet_paper = asks(kept.build_sheet_paper)
    build_order_list = asks(kept.build_order_list)
    carry_out_order_list = asks(kept.carry_out_order_list)
    specifications = lists(kept.specifications)
    specification = asks(kept.specification)
    create_specification = asks(kept.create_specification)
    revise_specification = asks(kept.revise_specification)
    compare_specification = asks(kept.compare_specification)
    specification_effects = asks(kept.specification_effects)
    specification_variants = asks(kept.specification_variants)
    house_specification = asks(kept.house_specification)
    set_house_specification = asks(kept.set_house_specification)
    order_lists = lists(kept.order_lists)
    order_list = asks(kept.order_list)
    order_list_paper = asks(kept.order_list_paper)
    create_order_list = asks(kept.create_order_list)
    note_order_list = asks(kept.note_order_list)
    recompute_order_list = asks(kept.recompute_order_list)
    order_list_differences = asks(kept.order_list_differences)
    substitute_in_order_list = asks(kept.substitute_in_order_list)
    send_order_list = asks(kept.send_order_list)
    receive_order_list = asks(kept.receive_order_list)
    order_list_bookings = lists(kept.order_list_bookings)
    take_back_booking = asks(kept.take_back_booking)
    close_order_list = asks(kept.close_order_list)
    discard_order_list = asks(kept.discard_order_list)
    order_list_events = lists(kept.order_list_events)
    stock = lists(kept.stock)
    stock_sheet = asks(kept.stock_sheet)
    stock_of = asks(kept.stock_of)
    put_stock = asks(kept.put_stock)
    empty_stock = asks(kept.empty_stock)
    count_stock = asks(kept.count_stock)
    report = asks(kept.report)
    reports = lists(kept.reports)
    grades = lists(kept.grades)
    pictures = lists(kept.pictures)
    picture = asks(kept.picture)
    attach_picture = asks(kept.attach_picture)
    take_picture_away = asks(kept.take_picture_away)
    events = lists(kept.events)
    events_page = asks(kept.events_page)
    webhooks = lists(kept.webhooks)
    webhook = asks(kept.webhook)
    create_webhook = asks(kept.create_webhook)
    change_webhook = asks(kept.change_webhook)
    change_webhook_secret = asks(kept.change_webhook_secret)
    send_webhook_again = asks(kept.send_webhook_again)
    remove_webhook = asks(kept.remove_webhook)
    webhook_deliveries = lists(kept.webhook_deliveries)
    keys = lists(kept.keys)
    create_key = asks(kept.create_key)
    revoke_key = asks(kept.revoke_key)
    access_events = lists(kept.access_events)
    records = lists(edits.records)
    record = asks(edits.record)
    record_history = lists(edits.record_history)
    put_record = asks(edits.put_record)
    patch_record = asks(edits.patch_record)
    remove_record = asks(edits.remove_record)
    revisions = lists(edits.revisions)
    revision = asks(edits.revision)
    revision_changes = lists(edits.revision_changes)
    compare_revisions = lists(edits.compare_revisions)
    take_back_revision = asks(edits.take_back_revision)
    import_records = asks(edits.import_records)
    import_schema = asks(edits.import_schema)
    export = asks(edits.export)
    lint = lists(edits.lint)
    flat_lists = lists(edits.flat_lists)
    flat_list = asks(edits.flat_list)
    put_flat_list = asks(edits.put_flat_list)
    remove_flat_list = asks(edits.remove_flat_list)
    put_flat_issue = asks(edits.put_flat_issue)
    flat_issue = asks(edits.flat_issue)
    decide_flat_list = asks(edits.decide_flat_list)
    take_flat_issue = asks(edits.take_flat_issue)
    propose = asks(edits.propose)
    proposals = lists(edits.proposals)
    proposal = asks(edits.proposal)
    proposal_effect = asks(edits.proposal_effect)
    accept_proposals = asks(edits.accept_proposals)
    refuse_proposals = asks(edits.refuse_proposals)
    withdraw_proposal = asks(edits.withdraw_proposal)
