"""Answers to what no view caught: as a problem under /api/, as a page elsewhere."""

from __future__ import annotations

import sys
from typing import Any

from django.core.exceptions import RequestDataTooBig, TooManyFilesSent
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from shop.api import problems
from shop.trail.record import request_id

TEXTS = {
    "bad-input": (400, "The request can't be understood."),
    "not-allowed": (403, "Your roles don't allow this."),
    "not-found": (404, "There is nothing at this address, or it is not for you."),
    "too-large": (413, "The request is larger than this service takes. Nothing was saved; send it in parts."),
    "broken": (500, "Something broke on our side. Nothing was saved; try again, and tell the owner if it stays."),
}


def _answer(request: HttpRequest, code: str) -> HttpResponse:
    status, detail = TEXTS[code]
    if request.path.startswith("/api/"):
        return problems.plain(request, code, detail)
    context = {"request_id": request_id.get()}
    if status == 500:
        # without what other templates know: what broke may be the database they ask
        return HttpResponse(render_to_string("500.html", context), status=500)
    return render(request, f"{status}.html", context, status=status)


def bad_request(request: HttpRequest, exception: Any = None) -> HttpResponse:
    # An upload is stopped while it is read, which may be before any view: Django knows only 400 for that.
    if isinstance(exception, RequestDataTooBig | TooManyFilesSent):
        return _answer(request, "too-large")
    return _answer(request, "bad-input")


def forbidden(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _answer(request, "not-allowed")


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _answer(request, "not-found")


def broken(request: HttpRequest) -> HttpResponse:
    """A crash, or a failure of the place: a full disk, a database out of reach."""
    code = problems.failure_of(sys.exc_info()[1])
    if code is None:
        return _answer(request, "broken")
    if request.path.startswith("/api/"):
        return problems.plain(request, code, problems.FAILURES[code][0])
    status = 507 if code == "storage-full" else 503
    # without the context processors: they would ask the database once more
    told = {"request_id": request_id.get(), "csp_nonce": getattr(request, "csp_nonce", "")}
    return HttpResponse(render_to_string(f"{status}.html", told), status=status)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    if request.path.startswith("/api/"):
        return problems.plain(request, "csrf", "The CSRF token is missing or wrong. Load the page again.")
    return render(request, "403.html", {"reason": "csrf", "request_id": request_id.get()}, status=403)
