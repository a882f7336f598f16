from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

BY_PIN = "signed_in_by_pin"  # session key


class ByPin:
    """Someone who switched in with a PIN on a shared tablet has the few rights of the bench."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.session.session_key and request.session.get(BY_PIN):
            request.user.by_pin = True
        return self.get_response(request)
