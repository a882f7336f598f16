from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from shop.api import problems
from shop.kernel import clock

from .device import tablet_of
from .models import Tablet

BY_PIN = "signed_in_by_pin"  # session keys
TABLET = "tablet"
SEEN = "seen"
IDLE = timedelta(minutes=15)
NOTE_EVERY = timedelta(minutes=1)  # not a write for every press


class ByPin:
    """Someone who switched in with a PIN on a shared tablet has the few rights of the bench, is out after 15 idle
    minutes, and at once when the tablet is no longer trusted. Someone whose password the owner gave replaces it before
    anything else."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.tablet = SimpleLazyObject(lambda: tablet_of(request))  # type: ignore[attr-defined]
        if request.session.session_key:
            if request.session.get(BY_PIN):
                self._at_the_tablet(request)
            elif request.user.is_authenticated and request.user.password_given:
                answer = _replace_password_first(request)
                if answer is not None:
                    return answer
        return self.get_response(request)

    def _at_the_tablet(self, request: HttpRequest) -> None:
        now = clock.now()
        idle = now.timestamp() - request.session.get(SEEN, 0)
        trusted = Tablet.objects.filter(pk=request.session.get(TABLET), revoked_at__isnull=True).exists()
        if idle > IDLE.total_seconds() or not trusted:
            logout(request)
            return
        if idle > NOTE_EVERY.total_seconds():
            request.session[SEEN] = now.timestamp()
        request.user.by_pin = True


def _replace_password_first(request: HttpRequest) -> HttpResponse | None:
    here = reverse("people:password")
    if request.path in (here, reverse("people:sign-out")) or request.path.startswith("/static/"):
        return None
    if request.path.startswith("/api/"):
        return problems.plain(request, "not-allowed", "Replace the password you were given first, on your own page.")
    return HttpResponseRedirect(here)
