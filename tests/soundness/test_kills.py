"""The short form of the kill tests; the long form is `python -m tests.soundness.kills --kills 300`."""

from typing import Any

from tests.running import cases
from tests.soundness.kills import CASES, kill

KILLS = cases(len(CASES))
"""On each engine: each thing once, the long form three times."""
SEEDS = {"sqlite": 20261149, "postgresql": 20261139}
"""Between them the two engines are killed early and late in each thing."""


def test_killed_at_random_moments_nothing_is_half_done(databases: Any, untouched_demo_url: str):
    seed = SEEDS[untouched_demo_url.split(":", 1)[0].split("+")[0]]
    seen = kill(list(CASES), databases.copy, untouched_demo_url, KILLS, seed)
    assert sum(outcomes.total() for outcomes in seen.values()) == KILLS
    assert all(outcomes.keys() <= {"before", "after"} for outcomes in seen.values())
    assert sum(outcomes["before"] for outcomes in seen.values()) > 0, "no kill came before the end"
