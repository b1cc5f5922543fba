"""What a counter hand, a builder and an editor must do is counted: no change of a page adds a key unseen."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser

from tests.benchmarks.journeys import (
    Counts,
    Journey,
    builder,
    counter,
    counter_in_one_breath,
    counter_searching,
    counter_swapping,
    editor,
    signed_in,
    travelled,
)
from tests.soundness.server import Served

COUNTED = {
    counter: Counts(keys=9, clicks=3, loads=3),
    counter_in_one_breath: Counts(keys=22, clicks=2, loads=3),
    counter_searching: Counts(keys=21, clicks=4, loads=4),
    counter_swapping: Counts(keys=9, clicks=5, loads=3),
    builder: Counts(keys=12, clicks=2, loads=3),
    editor: Counts(keys=29, clicks=4, loads=5),
}


@pytest.mark.parametrize("travel", COUNTED)
def test_a_journey_takes_so_much_by_hand(
    chromium: Browser, served: Served, travel: Callable[[Journey], None]
) -> None:
    page = signed_in(chromium, served.address, served.key)
    journey = travelled(page, travel)
    page.context.close()
    assert journey.counts == COUNTED[travel]
