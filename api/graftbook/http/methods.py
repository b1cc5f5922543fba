"""Which methods an address takes: Allow on 405, and the answer to OPTIONS (RFC 9110, 9.3.7, 10.2.1)."""

from functools import lru_cache
from re import Pattern

from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from starlette.routing import compile_path


@lru_cache(maxsize=4)
def _known(app: FastAPI) -> list[tuple[Pattern[str], frozenset[str]]]:
    return [
        (compile_path(path)[0], frozenset(route.methods or ()))
        for route in iter_route_contexts(app.routes)
        if (path := getattr(route, "path", None)) and getattr(route, "methods", None)
    ]


def allowed_methods(app: FastAPI, path: str) -> str:
    """Every method of every route at this address, HEAD where there is GET, OPTIONS everywhere."""
    methods = {method for pattern, taken in _known(app) if pattern.match(path) for method in taken}
    if "GET" in methods:
        methods.add("HEAD")
    return ", ".join(sorted(methods | {"OPTIONS"}))
