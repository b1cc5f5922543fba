"""Programs in a browser, from the origins that the house names (Fetch standard, CORS protocol).

Only the API and its description answer them, and never with a cookie: a key goes in Authorization, which a
page elsewhere must have been given. The pages of the service stay their own.
"""

from collections.abc import Sequence

from starlette.middleware.cors import CORSMiddleware
from starlette.types import ASGIApp, Receive, Scope, Send

SHARED = ("/v1/", "/openapi.json")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
SENT = ("Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "X-Request-ID")
EXPOSED = (
    "Content-Disposition", "Content-Location", "ETag", "Idempotency-Replayed", "Link", "Location",
    "Retry-After", "X-Request-ID",
)  # fmt: skip
SECONDS_KEPT = 600


class Cors:
    """Outside everything else, so that refusals can be read too."""

    def __init__(self, app: ASGIApp, origins: Sequence[str]) -> None:
        self.app = app
        self.shared = CORSMiddleware(
            app,
            allow_origins=origins,
            allow_methods=METHODS,
            allow_headers=SENT,
            expose_headers=EXPOSED,
            allow_credentials=False,
            max_age=SECONDS_KEPT,
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        shared = scope["type"] == "http" and scope["path"].startswith(SHARED)
        await (self.shared if shared else self.app)(scope, receive, send)
