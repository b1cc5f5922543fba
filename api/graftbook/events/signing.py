"""Signatures after the Standard Webhooks specification 1.0.0: HMAC-SHA256 over id, moment and body."""

import base64
import hashlib
import hmac
import secrets
from collections.abc import Iterable

PREFIX = "whsec_"
SECRET_BYTES = 32


def new_secret() -> str:
    """A secret as its owner is shown it."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def signed(secrets_in_use: Iterable[str], event: str, second: int, body: bytes) -> dict[str, str]:
    """The headers of a delivery; `second`: Unix time of the attempt. One signature for each secret."""
    content = f"{event}.{second}.".encode() + body
    signatures = " ".join(_signature(secret, content) for secret in secrets_in_use)
    return {"webhook-id": event, "webhook-timestamp": str(second), "webhook-signature": signatures}


def _signature(secret: str, content: bytes) -> str:
    key = base64.b64decode(secret.removeprefix(PREFIX))
    return "v1," + base64.b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()
