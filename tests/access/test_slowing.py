"""Failed attempts are slowed, and nobody is locked out by somebody else."""

import pytest

from graftbook.access.throttling import FREE_FOR_ADDRESS, FREE_FOR_KEY, LONGEST_WAIT, Attempts, network_of


class Clock:
    now = 1_000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def attempts(clock: Clock) -> Attempts:
    return Attempts(clock=clock)


def test_a_few_failures_are_free_then_each_makes_the_next_wait_longer(attempts: Attempts, clock: Clock):
    waits = []
    for _ in range(FREE_FOR_KEY + 11):
        attempts.failed("192.0.2.1", "key1")
        waits.append(attempts.wait("192.0.2.1", "key1"))
        clock.now += waits[-1]
        assert attempts.wait("192.0.2.1", "key1") == 0
    assert waits[:FREE_FOR_KEY] == [0] * FREE_FOR_KEY
    assert waits[FREE_FOR_KEY : FREE_FOR_KEY + 4] == [1, 2, 4, 8]
    assert waits[-1] == LONGEST_WAIT


def test_a_spray_over_many_ids_is_slowed_by_its_address(attempts: Attempts):
    for i in range(FREE_FOR_ADDRESS + 5):
        attempts.failed("192.0.2.1", f"key{i}")
    assert attempts.wait("192.0.2.1", "another") == 16
    assert attempts.wait("192.0.2.1", None) == 16


def test_a_key_is_heard_from_another_address_whatever_was_tried_with_its_id(attempts: Attempts):
    for i in range(2_000):
        attempts.failed(f"192.0.2.{i % 250}", "key1")
    assert attempts.wait("192.0.2.1", "key1") > 0
    assert attempts.wait("198.51.100.1", "key1") == 0


def test_a_key_that_worked_from_an_address_is_heard_while_others_fail_there(attempts: Attempts):
    attempts.worked("192.0.2.1", "good")
    for i in range(50):
        attempts.failed("192.0.2.1", f"bad{i}")
    assert attempts.wait("192.0.2.1", "good") == 0
    assert attempts.wait("192.0.2.1", "bad1") == LONGEST_WAIT


def test_one_good_key_is_no_licence_to_try_others(attempts: Attempts):
    for i in range(FREE_FOR_ADDRESS + 1):
        attempts.failed("192.0.2.1", f"bad{i}")
        attempts.worked("192.0.2.1", "good")
    assert attempts.wait("192.0.2.1", "bad") > 0
    for _ in range(FREE_FOR_KEY + 1):
        attempts.failed("192.0.2.1", "good")
    assert attempts.wait("192.0.2.1", "good") > 0


def test_failures_are_forgotten_after_a_while(attempts: Attempts, clock: Clock):
    for _ in range(FREE_FOR_KEY + 3):
        attempts.failed("192.0.2.1", "key1")
    clock.now += 2_000
    attempts.failed("192.0.2.1", "key1")
    assert attempts.wait("192.0.2.1", "key1") == 0


def test_the_state_is_bounded(clock: Clock):
    attempts = Attempts(most=100, clock=clock)
    for i in range(5_000):
        attempts.failed(f"10.{i >> 16}.{i >> 8 & 255}.{i & 255}", f"key{i}")
        attempts.worked(f"10.{i >> 16}.{i >> 8 & 255}.{i & 255}", f"key{i}")
    assert attempts.kept <= 300


def test_everything_that_is_held_is_counted(clock: Clock):
    attempts = Attempts(most=100, clock=clock)
    attempts.failed("192.0.2.1", "wrong")
    assert attempts.kept == 2
    attempts.worked("192.0.2.2", "right")
    assert attempts.kept == 3


def test_who_failed_longest_ago_is_forgotten_first(clock: Clock):
    attempts = Attempts(most=2, clock=clock)
    for address in ("192.0.2.1", "192.0.2.2", "192.0.2.1", "192.0.2.3"):
        for _ in range(FREE_FOR_ADDRESS + 1):
            attempts.failed(address, None)
    waits = [attempts.wait(f"192.0.2.{last}", None) > 0 for last in (1, 2, 3)]
    assert waits == [True, False, True]


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:aaaa::1", "2001:db8:1:2::/64"),
        ("2001:db8:1:2:bbbb::2", "2001:db8:1:2::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("", ""),
        ("x" * 1_000, "x" * 64),
    ],
)
def test_failures_are_counted_for_what_one_house_has(address: str, network: str):
    """Addresses of RFC 5737 and RFC 3849; a house gets a /64 at least (RFC 6177)."""
    assert network_of(address) == network
