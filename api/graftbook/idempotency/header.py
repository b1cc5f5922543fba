"""The Idempotency-Key header: the same request sent again is answered as it was the first time.

`once: OnceAsked` in a route of a JSON body gives it the request under its key. Its answer is
`told(once, …)`: bytes that can be kept and given again.
"""

import hashlib
from collections.abc import Callable, Mapping
from typing import Annotated, Any

from fastapi import Depends, Header, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.principal import Principal
from graftbook.http.responses import JSON
from graftbook.http.values import json_bytes
from graftbook.idempotency.service import EACH_TIME, Once, StoredAnswer
from graftbook.idempotency.tables import LONGEST_KEY
from graftbook.problems import KeyUsedOtherwise, StillAtWork

REPLAYED = "Idempotency-Replayed"
ONCE = (KeyUsedOtherwise, StillAtWork)
"""What a route that takes the header may answer."""

OnceKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=LONGEST_KEY,
        pattern=r"^[ -~]+$",
        description="a text of your own for this one request: sent again with the same body within "
        f"24 hours it changes nothing, and the first answer comes again with `{REPLAYED}: true`",
        examples=["order 4711, attempt of 25 November"],
    ),
]


def digest_of(request: Request, body: bytes) -> str:
    """What the request says, as SHA-256: method, path, query, media type and the digest of its body."""
    head = [request.method, request.url.path, request.url.query, request.headers.get("content-type", "")]
    return hashlib.sha256("\0".join([*head, hashlib.sha256(body).hexdigest()]).encode()).hexdigest()


def once_of(request: Request, key: str | None, digest: str) -> Once:
    """The request under its key, known apart by who asks."""
    if key is None:
        return EACH_TIME
    principal: Principal | None = getattr(request.state, "principal", None)
    return Once(principal.key if principal else "", key, digest)


async def _once_of(request: Request, key: OnceKey = None) -> Once:
    if key is None:
        return EACH_TIME
    once = once_of(request, key, digest_of(request, await request.body()))
    await run_in_threadpool(once.look, request.app.state.service.engine)
    return once


OnceAsked = Annotated[Once, Depends(_once_of)]


def json_told(
    status: int, headers: Callable[[Any], Mapping[str, str]] = lambda _facts: {}
) -> Callable[[Any], StoredAnswer]:
    """How facts are answered as JSON; `headers` are made of the facts."""
    return lambda facts: StoredAnswer(status, {"Content-Type": JSON, **headers(facts)}, json_bytes(facts))


def response_of(answer: StoredAnswer, *, again: bool = False) -> Response:
    """The answer as a response; `again`: it was given before."""
    headers = dict(answer.headers) | ({REPLAYED: "true"} if again else {})
    return Response(answer.body, status_code=answer.status, headers=headers)
