"""API tokens: 256 random bits, shown once, kept only as SHA-256."""

from __future__ import annotations

import hashlib
import secrets

from shop.kernel import clock
from shop.kernel.statements import Joined

from .models import ApiToken, Person

PREFIX = "tb_"


def new_token() -> tuple[str, str, str]:
    """(token to show once, its prefix to recognise it by, its digest to keep)."""
    token = PREFIX + secrets.token_urlsafe(32)
    return token, token[:10], digest(token)


def digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


_LIVE = Joined(
    "SELECT {t}, {p} FROM shop_people_apitoken t JOIN shop_people_person p ON p.id = t.person_id"
    " WHERE t.digest = %s AND t.revoked_at IS NULL AND p.is_active",
    t=ApiToken, p=Person,
)  # fmt: skip


def find(token: str) -> ApiToken | None:
    """The live token with its person, in one query; None when unknown, revoked, expired or its person has left."""
    for row, person in _LIVE.rows([digest(token)]):
        if row.expires_at is None or row.expires_at > clock.now():
            row.person = person
            return row
    return None
