"""A request's query parameters against those that its route declares: one too many is refused.

One dependency of the whole application does it for every route. What a route declares is read from its
signature, nested dependencies and models of parameters with it; a page, which reads the address itself,
says with `takes` what it reads.

Those of a list are its page: cursors, the links of RFC 8288, and the bounds.
"""

from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, get_origin

from fastapi import Depends, Query, Request
from fastapi.dependencies.models import Dependant
from fastapi.security.base import SecurityBase
from pydantic import BaseModel, Field
from pydantic.fields import FieldInfo
from starlette.responses import Response

from graftbook.catalogue.store.cursors import write_cursor
from graftbook.catalogue.store.nearest import hint, likest
from graftbook.document import Document
from graftbook.http.responses import ASK_AGAIN, read_answer
from graftbook.problems import InvalidRequest, printable

ASKED_BY_MACHINES = frozenset({"/livez", "/readyz", "/metrics"})
"""Probes and collectors add parameters of their own (against caches, from a shared configuration); a process
that works must not look dead for it."""
MOST_TOLD = 20
"""Mistakes of one address that are told."""
LONGEST_COMPARED = 100
"""Letters of a name that near ones are looked for."""


@dataclass(frozen=True, slots=True)
class Takes:
    """What a page reads from its address by itself. `many` may stand several times.

    `of` gives more names for the path that was asked, where they depend on it.
    """

    once: frozenset[str] = frozenset()
    many: frozenset[str] = frozenset()
    of: Callable[[Mapping[str, Any]], Iterable[str]] = field(default=lambda _: ())

    async def __call__(self) -> None:
        """As a dependency it does nothing; it is there to be read."""


def takes(
    *once: str,
    many: Iterable[str] = (),
    of: Callable[[Mapping[str, Any]], Iterable[str]] = lambda _: (),
) -> Any:
    """The dependency of a page that reads these parameters."""
    return Depends(Takes(frozenset(once), frozenset(many), of))


@dataclass(frozen=True, slots=True)
class RouteParameters:
    """The parameters of a route: those that stand once, those that may repeat, what its page adds; and who
    decides whether one may ask at all."""

    once: frozenset[str]
    many: frozenset[str]
    pages: tuple[Takes, ...]
    guards: tuple[Callable[[Request], Awaitable[Any]], ...]

    def more(self, path: Mapping[str, Any]) -> frozenset[str]:
        return frozenset(name for page in self.pages for name in page.of(path))


async def known_parameters(request: Request) -> None:
    """Raises InvalidRequest for parameters that the route does not take, or takes once and got twice."""
    if not request.scope["query_string"] or request.url.path in ASKED_BY_MACHINES:
        return
    known = _parameters_of(request)
    more = known.more(request.path_params)
    seen: set[str] = set()
    mistakes: dict[str, str] = {}
    near: list[str] = []
    for name, _ in request.query_params.multi_items():
        if name in known.many:
            continue
        if name not in known.once and name not in more:
            if len(mistakes) >= MOST_TOLD:
                break
            every = sorted(known.once | known.many | more)
            alike = likest(name[:LONGEST_COMPARED], every)
            near += alike
            mistakes.setdefault(name, _unknown(alike, every))
        elif name in seen:
            mistakes.setdefault(name, "it stands twice; give it once")
        seen.add(name)
    if mistakes:
        for guard in known.guards:  # whoever may not ask is told that, and nothing of the address
            await guard(request)
        raise _refusal(mistakes, list(dict.fromkeys(near)))


def _unknown(near: list[str], every: list[str]) -> str:
    further = hint(near) or f"; it takes {', '.join(every) or 'none'}"
    return f"there is no such parameter here{further}"


def _refusal(mistakes: dict[str, str], near: list[str]) -> InvalidRequest:
    errors = [{"pointer": printable(name), "message": message} for name, message in mistakes.items()]
    first = errors[0]
    detail = f"'{first['pointer']}': {first['message']}"
    if len(mistakes) > 1:
        detail += f" (and {len(mistakes) - 1} more)"
    return InvalidRequest(detail, errors=errors, near=near[:3])


def _parameters_of(request: Request) -> RouteParameters:
    """What the request's route takes; read once a route, which lives as long as its application."""
    state, route = request.app.state, request.scope["route"]
    if not hasattr(state, "known_parameters"):
        state.known_parameters = {}
    read: dict[int, RouteParameters] = state.known_parameters
    if (found := read.get(id(route))) is None:
        found = read[id(route)] = _of_route(route.dependant)
    return found


def _of_route(dependant: Dependant) -> RouteParameters:
    every = list(declared(dependant))
    calls = list(_calls(dependant))
    pages = tuple(call for call in calls if isinstance(call, Takes))
    return RouteParameters(
        frozenset(name for name, repeats in every if not repeats).union(*(page.once for page in pages)),
        frozenset(name for name, repeats in every if repeats).union(*(page.many for page in pages)),
        pages,
        tuple(call for call in calls if isinstance(call, SecurityBase) and callable(call)),
    )


def declared(dependant: Dependant) -> Iterable[tuple[str, bool]]:
    """The query parameters of a route's signature, each with whether it may repeat."""
    for parameter in dependant.query_params:
        model = parameter.field_info.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            for name, info in model.model_fields.items():
                yield info.alias or name, _is_list(info)
        else:
            yield parameter.alias, _is_list(parameter.field_info)
    for inner in dependant.dependencies:
        yield from declared(inner)


def _is_list(info: FieldInfo) -> bool:
    return get_origin(info.annotation) in (list, set, tuple, frozenset)


def _calls(dependant: Dependant) -> Iterable[Any]:
    for inner in dependant.dependencies:
        yield inner.call
        yield from _calls(inner)


Limit = Annotated[int | None, Query(ge=1, le=500, description="lines a page")]
Cursor = Annotated[str, Query(max_length=2_000, description="the `next` of the page before")]


Why = Annotated[
    str, Query(max_length=500, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$", description="why, for the history")
]
DryRun = Annotated[bool, Query(description="check everything, store nothing")]


class PageOut(Document):
    next: Annotated[
        str | None, Field(description="cursor of the next page; null on the last; also a Link header")
    ]


def page_of(
    request: Request, rows: Sequence[Mapping[str, object]], size: int, search: dict[str, Any], by: str
) -> Response:
    """The first `size` rows as a page; the next, if there are more, begins behind the last one's `by`."""
    following = write_cursor(search, [str(rows[size - 1][by])]) if len(rows) > size else None
    return page_answer(request, rows[:size], following)


def page_answer(request: Request, items: Sequence[Mapping[str, object]], following: str | None) -> Response:
    """A page, with the next page's address in the body and as a Link header; 304 for who has it."""
    headers = {**ASK_AGAIN, **next_link(request, following)}
    return read_answer(request, {"items": items, "next": following}, headers)


def next_link(request: Request, following: str | None) -> dict[str, str]:
    """The header that leads to the next page (RFC 8288); none on the last."""
    if not following:
        return {}
    address = request.url.include_query_params(cursor=following)
    return {"Link": f'<{address.path}?{address.query}>; rel="next"'}
