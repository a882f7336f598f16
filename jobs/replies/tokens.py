"""The secret in a customer's link.

It is signed, not stored: HMAC-SHA-256, under the shop's secret key, of 256 random bits and the estimate they are for. The
database holds those bits and the token's SHA-256, of which without the key nobody makes a token; the shop can show and mail a
link again, and no mail in the outbox holds one. A token that was made for one estimate is none for another.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets

from django.utils.crypto import salted_hmac

SHAPE = re.compile(r"[A-Za-z0-9_-]{43}")
_SALT = "jobs.replies.link"


def new_nonce() -> str:
    return secrets.token_hex(32)


def token(nonce: str, estimate_id: int) -> str:
    """43 characters that can stand in an address."""
    raw = salted_hmac(_SALT, f"{nonce}:{estimate_id}", algorithm="sha256").digest()
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def digest(given: str) -> str:
    return hashlib.sha256(given.encode()).hexdigest()


def same(one: str, other: str) -> bool:
    """Compared in a time that tells nothing."""
    return hmac.compare_digest(one.encode(), other.encode())
