"""Who is calling by a signed-in session (with CSRF; by token: `shop.people.authentication`), and what they may do: the
view's right."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import SessionAuthentication
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from shop.kernel.rights import require


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
