"""How a shared bench tablet is recognised: a signed cookie with a secret whose digest the shop keeps."""

from __future__ import annotations

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

from . import queries
from .models import Tablet

COOKIE = "tallybench_tablet"
COOKIE_AGE = 400 * 24 * 3600  # the longest that browsers keep one; each visit renews it


def secret_of(request: HttpRequest) -> str:
    try:
        return signing.Signer(salt=COOKIE).unsign(request.COOKIES.get(COOKIE, ""))
    except signing.BadSignature:
        return ""


def tablet_of(request: HttpRequest) -> Tablet | None:
    """The enrolled tablet that this browser is, if it is one."""
    return queries.tablet_with(secret_of(request))


def trust(answer: HttpResponse, secret: str) -> None:
    """Let the browser keep the secret."""
    answer.set_cookie(
        COOKIE, signing.Signer(salt=COOKIE).sign(secret), max_age=COOKIE_AGE,
        httponly=True, samesite="Lax", secure=settings.SESSION_COOKIE_SECURE,
    )  # fmt: skip
