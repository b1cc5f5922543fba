"""What a key looks like: `graftbook_<id>_<secret><checksum>`, all of the letters and digits of base62.

The secret is 32 characters of 62, 190 bits from the system's source of randomness, so that a fast digest
(SHA-256) keeps it: there is nothing to guess. The checksum (CRC-32) tells a mistyped or cut key
apart without the database.
"""

import hashlib
import hmac
import re
import secrets
import zlib
from dataclasses import dataclass

BASE62 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
PREFIX = "graftbook"
ID_LENGTH, SECRET_LENGTH, CHECKSUM_LENGTH = 8, 32, 6
LONGEST = len(PREFIX) + ID_LENGTH + SECRET_LENGTH + CHECKSUM_LENGTH + 2

_SHAPE = re.compile(
    rf"{PREFIX}_([0-9A-Za-z]{{{ID_LENGTH}}})_[0-9A-Za-z]{{{SECRET_LENGTH}}}([0-9A-Za-z]{{{CHECKSUM_LENGTH}}})"
)
_NO_DIGEST = "0" * 64


@dataclass(frozen=True, slots=True)
class Presented:
    """A key that somebody sent and that could be one: its id and its digest."""

    id: str
    digest: str

    def is_the_one(self, stored: str | None) -> bool:
        """Whether the stored digest is this key's, in the same time for each; None: no such key."""
        right = hmac.compare_digest(self.digest, stored or _NO_DIGEST)
        return right and stored is not None


def new_key() -> tuple[str, Presented]:
    """A new key as text, to be shown once, and what is stored of it."""
    start = f"{PREFIX}_{_random(ID_LENGTH)}_{_random(SECRET_LENGTH)}"
    text = start + checksum(start)
    return text, Presented(start.split("_")[1], digest_of(text))


def presented(text: str) -> Presented | None:
    """What was sent, taken as a key; None when it has not the shape of one or its checksum is wrong."""
    found = _SHAPE.fullmatch(text) if len(text) == LONGEST else None
    if found is None or not hmac.compare_digest(checksum(text[:-CHECKSUM_LENGTH]), found[2]):
        return None
    return Presented(found[1], digest_of(text))


def digest_of(secret: str) -> str:
    """SHA-256 in hexadecimal (FIPS 180-4)."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _random(length: int) -> str:
    return "".join(secrets.choice(BASE62) for _ in range(length))


def checksum(text: str) -> str:
    """CRC-32 (ISO 3309) of the text in six digits of base62."""
    number, digits = zlib.crc32(text.encode()), ""
    for _ in range(CHECKSUM_LENGTH):
        number, rest = divmod(number, len(BASE62))
        digits = BASE62[rest] + digits
    return digits
