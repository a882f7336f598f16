"""Errors as RFC 9457 problem details. `type` is stable: /api/problems/<code>."""

from __future__ import annotations

import errno
import logging
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, TooManyFilesSent
from django.db import DatabaseError, DataError, InterfaceError, OperationalError
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from shop.kernel import errors
from shop.trail.record import request_id

log = logging.getLogger("tallybench.api")

# code: (status, title, what to do)
KINDS: dict[str, tuple[int, str]] = {
    "bad-input": (400, "The input can't be used"),
    "bad-json": (400, "The body is not valid JSON"),
    "idempotency-key-missing": (400, "The Idempotency-Key header is missing"),
    "not-signed-in": (401, "Sign in or send a valid token"),
    "not-allowed": (403, "Your roles don't allow this"),
    "csrf": (403, "The CSRF token is missing or wrong"),
    "not-found": (404, "There is no such thing"),
    "method-not-allowed": (405, "This method is not offered here"),
    "not-acceptable": (406, "Only JSON is offered here"),
    "refused": (409, "The present state forbids it"),
    "needs-override": (409, "Refused unless overridden with a reason"),
    "in-progress": (409, "The same posting is being worked on"),
    "stale": (412, "Somebody saved a newer version"),
    "too-large": (413, "The request is too large"),
    "wrong-media-type": (415, "This media type is not accepted here"),
    "idempotency-key-reused": (422, "The key was used for another request"),
    "if-match-missing": (428, "The If-Match header is missing"),
    "too-many": (429, "Too many attempts"),
    "broken": (500, "Something broke on our side"),
    "unavailable": (503, "The service can't do this right now"),
    "storage-full": (507, "There is no room left to write"),
}
WHAT_TO_DO: dict[str, str] = {
    "bad-input": "`errors` names each field by JSON pointer and says what it takes. Put them right and send again.",
    "bad-json": "Send the body as JSON in UTF-8, at most 2 MB, without NaN, infinities or half surrogate pairs.",
    "idempotency-key-missing": "Make a new UUID for each thing you want done, send it as Idempotency-Key, and send the "
    "same one when you repeat the request.",
    "not-signed-in": "Send `Authorization: Bearer <token>`. Tokens are made on your own page or with POST /api/v1/tokens/.",
    "not-allowed": "Each operation names the right it needs; /api/v1/me/ lists yours. The owner gives roles.",
    "csrf": "Only requests by a browser's session need it. Programs use a token.",
    "not-found": "Check the id. What belongs to someone else answers the same.",
    "method-not-allowed": "The Allow header lists what is offered at this address.",
    "not-acceptable": "Ask for application/json, or leave the Accept header out.",
    "refused": "The request is sound, but the present state forbids it. The detail says why and what to do first.",
    "needs-override": "Someone with the right may do it all the same by sending a reason; the operation tells in which "
    "field. The reason is kept in the history.",
    "in-progress": "Wait a second and send the same request with the same key again.",
    "stale": "GET the record, look at what changed, and send your change with its new ETag as If-Match.",
    "too-large": "Send less at once: bodies to 2 MB, bulk postings to 500 items, files as their operation says.",
    "wrong-media-type": "Send Content-Type: application/json (files: multipart/form-data).",
    "idempotency-key-reused": "A key belongs to one request. Make a new key for a new one.",
    "if-match-missing": "GET the record and send its ETag as If-Match, so that nobody's change is lost.",
    "too-many": "Retry-After says how many seconds to wait.",
    "broken": "Nothing was saved. Try again; if it stays, tell the owner the request id.",
    "unavailable": "The database can't be reached or is busy. Nothing was saved; repeat after Retry-After with the same key.",
    "storage-full": "Nothing was saved. Free space on the server, then repeat with the same key.",
}
BY_STATUS = {status: code for code, (status, _) in reversed(KINDS.items())} | {
    400: "bad-input", 403: "not-allowed", 409: "refused",
}  # fmt: skip
BY_CLASS: list[tuple[type[errors.DomainError], str]] = [
    (errors.BadInput, "bad-input"), (errors.NotFound, "not-found"), (errors.NotAllowed, "not-allowed"),
    (errors.Stale, "stale"), (errors.KeyReused, "idempotency-key-reused"), (errors.InProgress, "in-progress"),
    (errors.TooMany, "too-many"), (errors.NeedsOverride, "needs-override"), (errors.DomainError, "refused"),
]  # fmt: skip


def body(
    code: str, detail: str, *, status: int | None = None, errors: list[dict[str, str]] | None = None, **facts: Any
):
    known = KINDS.get(code)
    status = status or (known[0] if known else 409)
    title = known[1] if known else KINDS[BY_STATUS.get(status, "refused")][1]
    problem: dict[str, Any] = {
        "type": f"/api/problems/{code}",
        "title": title,
        "status": status,
        "detail": detail,
        "request_id": request_id.get(),
    }
    if errors:
        problem["errors"] = errors
    if facts:
        problem["facts"] = facts
    return problem


def of_domain_error(error: errors.DomainError) -> dict[str, Any]:
    kind = next(code for cls, code in BY_CLASS if isinstance(error, cls))
    listed = [
        {"pointer": "/" + name.replace(".", "/"), "detail": text}
        for name, texts in error.fields.items()
        for text in texts
    ]
    return body(error.code, error.message, status=KINDS[kind][0], errors=listed, **error.facts)


def of_invalid(error: exceptions.ValidationError) -> dict[str, Any]:
    return body("bad-input", "Some fields can't be used; `errors` names them.", errors=listed(error.detail))


def answer(problem: Mapping[str, Any], headers: Mapping[str, str] | None = None) -> Response:
    return Response(problem, status=problem["status"], content_type="application/problem+json", headers=headers)


def plain(request: HttpRequest, code: str, detail: str) -> JsonResponse:
    """A problem from outside DRF (unknown path, CSRF, crash)."""
    problem = body(code, detail)
    return JsonResponse(problem, status=problem["status"], content_type="application/problem+json")


def handler(exc: Exception, context: dict[str, Any]) -> Response | None:
    set_rollback()
    if isinstance(exc, errors.DomainError):
        headers = {"Retry-After": str(exc.facts["retry_after"])} if "retry_after" in exc.facts else None
        return answer(of_domain_error(exc), headers)
    if isinstance(exc, Http404 | exceptions.NotFound):
        return answer(body("not-found", "There is nothing at this address, or it is not for you."))
    if isinstance(exc, PermissionDenied | exceptions.PermissionDenied):
        detail = str(getattr(exc, "detail", "")) or "Your roles don't allow this."
        return answer(body("csrf" if "CSRF" in detail else "not-allowed", detail))
    if isinstance(exc, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return answer(body("not-signed-in", str(exc.detail)), {"WWW-Authenticate": 'Bearer realm="api"'})
    if isinstance(exc, exceptions.ValidationError):
        return answer(of_invalid(exc))
    if isinstance(exc, exceptions.ParseError):
        return answer(body("bad-json", str(exc.detail)))
    if isinstance(exc, RequestDataTooBig | TooManyFilesSent):
        return answer(body("too-large", "The request is larger than this service takes. Send it in parts."))
    if isinstance(exc, exceptions.APIException):
        code = BY_STATUS.get(exc.status_code, "refused")
        headers = {}
        view = context.get("view")
        if exc.status_code == 405 and view is not None:
            headers["Allow"] = ", ".join(view.allowed_methods)
        return answer(body(code, str(exc.detail), status=exc.status_code), headers)
    if isinstance(exc, DataError):
        log.error("value out of range: %s", exc)
        return answer(body("bad-input", "A value is out of the range that can be kept. Send a smaller one."))
    failure = failure_of(exc)
    if failure is None:
        return None
    detail, wait = FAILURES[failure]
    return answer(body(failure, detail), {"Retry-After": str(wait)} if wait else None)


# code: (what to do, seconds to wait before trying again)
FAILURES = {
    "storage-full": ("There is no room left to write. Nothing was saved; free some space.", 0),
    "in-progress": ("Somebody else is writing the same thing. Try again in a moment.", 1),
    "unavailable": ("The database can't be reached or is busy. Nothing was saved; try again.", 2),
}


def failure_of(exc: BaseException | None) -> str | None:
    """What befell the place rather than the program: a full disk, a lock held too long, a database out of reach."""
    state = getattr(getattr(exc, "__cause__", None), "sqlstate", "") or ""
    full = isinstance(exc, OSError) and exc.errno in (errno.ENOSPC, errno.EDQUOT)
    if full or (isinstance(exc, DatabaseError) and (state == "53100" or "disk is full" in str(exc).lower())):
        log.error("storage full: %s", exc)
        return "storage-full"
    if isinstance(exc, DatabaseError) and state == "55P03":
        return "in-progress"
    if isinstance(exc, OperationalError | InterfaceError):
        log.error("database unavailable: %s", exc)
        return "unavailable"
    return None


def listed(detail: Any, pointer: str = "") -> list[dict[str, str]]:
    """DRF's nested error detail as a flat list of JSON pointers."""
    if isinstance(detail, dict):
        found = []
        for name, inner in detail.items():
            step = "" if name == "non_field_errors" else f"/{str(name).replace('~', '~0').replace('/', '~1')}"
            found += listed(inner, pointer + step)
        return found
    if isinstance(detail, list):
        if all(not isinstance(d, dict | list) for d in detail):
            return [{"pointer": pointer or "/", "detail": str(d)} for d in detail]
        found = []
        for index, inner in enumerate(detail):
            found += listed(inner, f"{pointer}/{index}")
        return found
    return [{"pointer": pointer or "/", "detail": str(detail)}]
