"""API tokens: 256 random bits, shown once, kept only as SHA-256."""

from __future__ import annotations

import hashlib
import secrets

from django.db.models import Q

from shop.kernel import clock

from .models import ApiToken

PREFIX = "tb_"


def new_token() -> tuple[str, str, str]:
    """(token to show once, its prefix to recognise it by, its digest to keep)."""
    token = PREFIX + secrets.token_urlsafe(32)
    return token, token[:10], digest(token)


def digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def find(token: str) -> ApiToken | None:
    """The live token with its person, in one query; None when unknown, revoked, expired or its person has left."""
    return (
        ApiToken.objects.select_related("person")
        .filter(Q(expires_at__isnull=True) | Q(expires_at__gt=clock.now()))
        .filter(digest=digest(token), revoked_at__isnull=True, person__is_active=True)
        .first()
    )
