"""A request passes no more modules than it did: who reads on from its endpoint has so many to open."""

from typing import Any

import pytest

from tests.ways import ways

pytestmark = pytest.mark.timeout(600)

MOST = {"closure": (98, 36), "order": (80, 40), "import": (57, 0)}
"""Of each way, with nothing kept: modules passed, and those of them before the reasoning begins. They grow
only where two subjects that shared a module are put apart; `python -m tests.ways --lines` says which they
are, and counts a page too."""


@pytest.fixture(scope="module")
def passed(sqlite_databases: Any, sqlite_demo_url: str) -> dict[str, list[dict[str, Any]]]:
    return ways(sqlite_databases.copy(sqlite_demo_url), *MOST)


@pytest.mark.parametrize("way", MOST)
def test_a_request_passes_no_more_modules_than_before(
    way: str, passed: dict[str, list[dict[str, Any]]]
) -> None:
    cold, warm = passed[way]
    assert len(cold["modules"]) > 20, "nothing was looked at"
    assert len(cold["modules"]) <= MOST[way][0]
    assert len(cold["before"]) <= MOST[way][1]
    assert len(warm["modules"]) <= len(cold["modules"])
