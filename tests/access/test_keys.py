"""What a key looks like and what tells a wrong one."""

import hashlib
import math
import string
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graftbook.access import keys
from graftbook.access.keys import new_key, presented
from graftbook.access.scopes import Scope


def test_a_key_is_a_prefix_an_id_thirty_two_random_characters_and_a_checksum() -> None:
    text, kept = new_key()
    prefix, key, secret = text.split("_")
    assert (prefix, key, len(secret)) == ("graftbook", kept.id, 32 + 6)
    assert set(key + secret) <= set(string.ascii_letters + string.digits)
    assert len(text) == keys.LONGEST
    assert kept.digest == hashlib.sha256(text.encode()).hexdigest()


def test_the_secret_has_the_entropy_that_lets_a_fast_digest_keep_it() -> None:
    """NIST SP 800-63B, 5.1.2.2 (from memory): secrets of 112 bits or more need no slow, salted hash."""
    assert keys.SECRET_LENGTH * math.log2(len(keys.BASE62)) > 128
    assert len({new_key()[0] for _ in range(2_000)}) == 2_000


def test_the_checksum_is_the_crc_of_what_stands_before_it() -> None:
    """CRC-32 as the standard library has it, written in base62 by hand."""
    text, _ = new_key()
    number = 0
    for digit in text[-6:]:
        number = number * 62 + keys.BASE62.index(digit)
    assert number == zlib.crc32(text[:-6].encode())


def test_a_key_is_taken_for_what_was_stored() -> None:
    text, kept = new_key()
    assert presented(text) == kept
    assert kept.is_the_one(kept.digest)
    assert not kept.is_the_one(None)
    assert not kept.is_the_one(new_key()[1].digest)


@given(st.integers(0, keys.LONGEST - 1), st.sampled_from(keys.BASE62 + "_ é\n"))
def test_any_one_wrong_character_is_noticed(place: int, other: str) -> None:
    """A CRC-32 notices every change within 32 bits (Peterson and Brown, 1961; from memory)."""
    text, _ = new_key()
    changed = text[:place] + other + text[place + 1 :]
    assert (presented(changed) is None) == (changed != text)


@pytest.mark.parametrize("text", ["", "graftbook_", "x" * 58, "graftbook_" + "0" * 10_000, "\ud800", "\x00"])
def test_what_is_no_key_is_none(text: str) -> None:
    assert presented(text) is None


def test_digests_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where there is no such key: the same comparison runs on a digest of nobody."""
    compared: list[tuple[str, str]] = []

    def watched(one: str, other: str) -> bool:
        compared.append((one, other))
        return one == other

    monkeypatch.setattr(keys.hmac, "compare_digest", watched)
    _, kept = new_key()
    kept.is_the_one(kept.digest)
    kept.is_the_one(None)
    assert compared == [(kept.digest, kept.digest), (kept.digest, "0" * 64)]


def test_each_scope_includes_those_before_it() -> None:
    assert [[a.includes(b) for b in Scope] for a in Scope] == [
        [True, False, False, False],
        [True, True, False, False],
        [True, True, True, False],
        [True, True, True, True],
    ]
