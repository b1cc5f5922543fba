"""The short form of the kill tests; the long form is `python -m tests.soundness.kills --kills 300`."""

from typing import Any

from tests.soundness.kills import CASES, kill

KILLS = 12
"""On each engine."""


def test_killed_at_random_moments_nothing_is_half_done(databases: Any, untouched_demo_url: str):
    seen = kill(list(CASES), databases.copy, untouched_demo_url, KILLS, seed=20261125)
    assert sum(outcomes.total() for outcomes in seen.values()) == KILLS
    assert all(outcomes.keys() <= {"before", "after"} for outcomes in seen.values())
    assert sum(outcomes["before"] for outcomes in seen.values()) > 0, "no kill came before the end"
