"""The client for programs that wait for an answer."""

import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Self, TypeVar

import httpx

from graftbook.client import calls
from graftbook.client.attempts import USUAL, Outcome, Patience, Send, Wait, attempts
from graftbook.client.calls import JSON, Call, Pages, following
from graftbook.client.memory import Memory

P = ParamSpec("P")
T = TypeVar("T")


def asks(make: Callable[P, Call[T]]) -> Callable[Concatenate["Client", P], T]:
    """The method that sends the call which a function of `calls` makes."""

    @wraps(make)
    def method(self: "Client", /, *args: P.args, **named: P.kwargs) -> T:
        return self.send(make(*args, **named))

    return method


def lists(make: Callable[P, Pages[T]]) -> Callable[Concatenate["Client", P], Iterator[T]]:
    """The method that goes through the pages which a function of `calls` names."""

    @wraps(make)
    def method(self: "Client", /, *args: P.args, **named: P.kwargs) -> Iterator[T]:
        return self.through(make(*args, **named))

    return method


class Client:
    """The service at an address, asked and waited for.

    `key` is sent with each request. `patience`: how long a call may take, retries included. An answer that
    the client still has is not sent again (ETags). What is changed must have been read through this client,
    since the change names its ETag: 412 `changed-meanwhile` says that somebody else changed it since.
    Not for two threads at once.
    """

    def __init__(
        self,
        address: str,
        *,
        key: str = "",
        patience: Patience = USUAL,
        transport: httpx.BaseTransport | None = None,
    ) -> None:
        headers = {"User-Agent": "graftbook-client", "Accept": JSON}
        if key:
            headers["Authorization"] = f"Bearer {key}"
        self._http = httpx.Client(base_url=address, headers=headers, transport=transport)
        self._memory = Memory()
        self._patience = patience

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the connections."""
        self._http.close()

    def send(self, call: Call[T]) -> T:
        """The document that a call is answered with. Raises ProblemAnswer and Unreachable."""
        steps = attempts(call, self._memory, self._patience)
        outcome: Outcome = None
        while True:
            try:
                step = steps.send(outcome)
            except StopIteration as end:
                document: T = end.value
                return document
            outcome = self._taken(step)

    def _taken(self, step: Send | Wait) -> Outcome:
        if isinstance(step, Wait):
            time.sleep(step.seconds)
            return None
        try:
            return self._http.request(**asdict(step))
        except httpx.TransportError as error:
            return error

    def through(self, pages: Pages[T]) -> Iterator[T]:
        """Every item of a list, page by page as they are wanted."""
        call: Call[Any] | None = pages.first
        while call is not None:
            page = self.send(call)
            yield from page["items"]
            call = following(call, page)

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
    builds = lists(calls.builds)
    build = asks(calls.build)
    create_build = asks(calls.create_build)
    replace_build = asks(calls.replace_build)
    delete_build = asks(calls.delete_build)
    specifications = lists(calls.specifications)
    specification = asks(calls.specification)
    create_specification = asks(calls.create_specification)
    order_lists = lists(calls.order_lists)
    order_list = asks(calls.order_list)
    create_order_list = asks(calls.create_order_list)
    send_order_list = asks(calls.send_order_list)
    receive_order_list = asks(calls.receive_order_list)
    close_order_list = asks(calls.close_order_list)
    order_list_bookings = lists(calls.order_list_bookings)
    stock = lists(calls.stock)
    record = asks(calls.record)
    record_history = lists(calls.record_history)
    put_record = asks(calls.put_record)
    patch_record = asks(calls.patch_record)
    remove_record = asks(calls.remove_record)
    revisions = lists(calls.revisions)
    compare_revisions = lists(calls.compare_revisions)
    import_records = asks(calls.import_records)
    export = asks(calls.export)
    ready = asks(calls.ready)
