"""What only a browser's request needs: its session, who is signed in there, messages, htmx. A program's request, which
brings a token, passes by: `ByToken` alone says who it is from, and a token that is wrong is refused, whatever cookies
came with it."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.middleware import AuthenticationMiddleware
from django.contrib.messages.middleware import MessageMiddleware
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import HttpRequest
from django_htmx.middleware import HtmxMiddleware

from shop.people.middleware import ByPin

API = "/api/v1/"


def by_token(request: HttpRequest) -> bool:
    """Whether the request goes to the API with an Authorization header; all that stands there asks `ByToken` first."""
    return "HTTP_AUTHORIZATION" in request.META and request.path_info.startswith(API)


class _ForBrowsers:
    def __call__(self, request: HttpRequest) -> Any:
        if by_token(request):
            return self.get_response(request)  # type: ignore[attr-defined]
        return super().__call__(request)


class Session(_ForBrowsers, SessionMiddleware):
    pass


class SignedIn(_ForBrowsers, AuthenticationMiddleware):
    pass


class AtTheTablet(_ForBrowsers, ByPin):
    pass


class Messages(_ForBrowsers, MessageMiddleware):
    pass


class Htmx(_ForBrowsers, HtmxMiddleware):
    pass
