from __future__ import annotations

import secrets
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

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
