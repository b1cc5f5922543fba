"""Real services for the tests of soundness: each on its own database, on each engine in turn."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from tests.soundness.server import Served, serve

Serve = Callable[..., Served]


@pytest.fixture
def own_demo_url(databases: Any, untouched_demo_url: str) -> str:
    """A database with the demo range that the test may change; on each engine in turn."""
    url: str = databases.copy(untouched_demo_url)
    return url


@pytest.fixture
def start() -> Iterator[Serve]:
    """Starts services that are stopped when the test ends: `start(url, pool_size=5)`."""
    with ExitStack() as services:
        yield lambda url, **settings: services.enter_context(serve(url, **settings))


@pytest.fixture
def served(own_demo_url: str, start: Serve) -> Served:
    """A service on a demo range of its own; on each engine in turn."""
    return start(own_demo_url)
