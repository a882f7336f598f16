from __future__ import annotations

import secrets
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

POLICY = (
    "default-src 'none'; script-src 'self' 'nonce-{nonce}'; style-src 'self'; img-src 'self' data: blob:;"
    " font-src 'self'; connect-src 'self'; media-src 'self' blob:; manifest-src 'self'; form-action 'self';"
    " base-uri 'none'; frame-ancestors 'none'"
)


class ContentPolicy:
    """A Content-Security-Policy with a nonce on every page; nothing inline, nothing from elsewhere."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.csp_nonce = secrets.token_urlsafe(16)  # type: ignore[attr-defined]
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY.format(nonce=request.csp_nonce))  # type: ignore[attr-defined]
        response.headers.setdefault("Permissions-Policy", "camera=(self), microphone=(), geolocation=()")
        if not request.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "private, no-store")
        return response


NO_TRANSFORM = "private, no-store, no-transform"  # Cache-Control of a page that shows a secret


class Compressed(GZipMiddleware):
    """Pages travel compressed: a phone at the bench waits for a fifth of the bytes.

    The size of a compressed page can betray a secret to somebody who makes it come again and again with guesses in it
    (BREACH). Here the secret every page carries, the CSRF token, is masked anew each time, Django adds a random length,
    a foreign site can't make a browser ask for pages as a signed-in person (SameSite cookies), and pages that show a
    secret say no-transform and stay as they are. The API is left alone: its ETags are strong, and compared byte by byte.
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        page = response.headers.get("Content-Type", "").startswith("text/html")
        if not page or "no-transform" in response.headers.get("Cache-Control", ""):
            return response
        return super().process_response(request, response)
