"""Who is calling: a bearer token, or the signed-in session (with CSRF). What they may do: the view's right."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from shop.people import tokens
from shop.people.rights import require


class ByToken(BaseAuthentication):
    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        header = request.headers.get("Authorization", "")
        if not header:
            return None
        scheme, _, value = header.partition(" ")
        if scheme.lower() != "bearer" or not value.strip():
            raise AuthenticationFailed("Send the header as 'Authorization: Bearer <token>'.")
        token = tokens.find(value.strip())
        if token is None:
            raise AuthenticationFailed("This token is unknown, expired or revoked. Make a new one on your own page.")
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="api"'


class BySession(SessionAuthentication):
    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="api"'


class HasRight(BasePermission):
    """Every view method names its right (see kit); one without is refused for everyone."""

    def has_permission(self, request: Request, view: Any) -> bool:
        right = view.right_of(request.method)
        if right is None:
            return True  # the method is not offered; DRF answers 405
        if not request.user.is_authenticated:
            return False
        require(request.user, right)
        return True


def scope_of(request: Any) -> str:
    """Whose idempotency keys these are: one token's, or one person's session."""
    token = getattr(request, "auth", None)
    return f"token:{token.pk}" if token is not None else f"person:{request.user.pk}"
