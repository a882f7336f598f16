"""Signed in by a bearer token."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from . import tokens


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
