from __future__ import annotations

import re
import secrets
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from .record import request_id

_ACCEPTED = re.compile(r"[A-Za-z0-9._-]{8,64}")


class RequestId:
    """Every request has an id: the caller's X-Request-Id if it is well-formed, else a new one. It stands in the trail, in
    problems and in the answer."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-Id", "")
        identity = given if _ACCEPTED.fullmatch(given) else secrets.token_hex(8)
        token = request_id.set(identity)
        try:
            response = self.get_response(request)
        finally:
            request_id.reset(token)
        response["X-Request-Id"] = identity
        return response
