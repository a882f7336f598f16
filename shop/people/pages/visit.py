"""What a sign-in knows of the browser: its address, cookies that recognise it, where it wants to go, what was typed."""

from __future__ import annotations

import json
import secrets
from typing import Any

from django.conf import settings
from django.contrib.auth import login
from django.core import signing as signatures
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import Resolver404, resolve, reverse
from django.utils.http import url_has_allowed_host_and_scheme

from shop.people.actions import signing
from shop.people.middleware import BY_PIN
from shop.people.models import Person

KNOWN = "tallybench_known"  # cookie: this browser has signed this person in before
KNOWN_AGE = 180 * 24 * 3600
MOST_KEPT = 1_000_000  # characters of typed text carried through a sign-in


def address_of(request: HttpRequest) -> str:
    """Where the request comes from; behind a trusted proxy what that proxy says."""
    if settings.BEHIND_PROXY:
        return request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip() or request.META["REMOTE_ADDR"]
    return request.META.get("REMOTE_ADDR", "")


def device_of(request: HttpRequest, username: str) -> str:
    """The mark of this browser if it has signed in as `username` before, else ""."""
    try:
        known = signatures.loads(request.COOKIES.get(KNOWN, ""), salt=KNOWN, max_age=KNOWN_AGE)
    except signatures.BadSignature:
        return ""
    return str(known.get(username.strip().lower(), ""))


def remember(request: HttpRequest, response: HttpResponse, person: Person) -> None:
    try:
        known = signatures.loads(request.COOKIES.get(KNOWN, ""), salt=KNOWN, max_age=KNOWN_AGE)
    except signatures.BadSignature:
        known = {}
    known.pop(person.username, None)
    known = dict(list(known.items())[-9:]) | {person.username: secrets.token_urlsafe(12)}
    response.set_cookie(
        KNOWN, signatures.dumps(known, salt=KNOWN), max_age=KNOWN_AGE,
        httponly=True, samesite="Lax", secure=settings.SESSION_COOKIE_SECURE, path=reverse("people:sign-in"),
    )  # fmt: skip


def safe_next(request: HttpRequest) -> str:
    """Where to go after signing in: a page of this site, else the first one."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    plain = wanted.startswith("/") and len(wanted) < 2000 and wanted.isprintable()
    if plain and url_has_allowed_host_and_scheme(wanted, allowed_hosts=None):
        path = wanted.partition("?")[0]
        if path != reverse("people:sign-in") and not path.startswith("/api/"):
            return wanted
    return "/"


def kept_fields(request: HttpRequest, target: str) -> list[list[str]]:
    """What was typed into a page whose session had ended, if `target` is a staff page that takes it; else nothing."""
    raw = request.POST.get("kept", "")
    if not raw or len(raw) > MOST_KEPT:
        return []
    try:
        fields = json.loads(raw)
        view = resolve(target.partition("?")[0]).func
    except (ValueError, RecursionError, Resolver404):
        return []
    takes = getattr(view, "right", None) is not None and "POST" in getattr(view, "methods", ())
    sound = isinstance(fields, list) and all(
        isinstance(f, list) and len(f) == 2 and all(isinstance(x, str) for x in f) for f in fields
    )
    return [f for f in fields if f[0] != "csrfmiddlewaretoken"] if takes and sound else []


def come_in(request: HttpRequest, person: Person, *, how: str, by_pin: dict[str, Any] | None = None) -> HttpResponse:
    """Start the session (with a new key) and go on: to the page that was wanted, or to what was typed before."""
    target = safe_next(request)
    fields = kept_fields(request, target)
    lost = request.POST.get("lost", "") == "1"
    login(request, person, backend="shop.people.backends.ByName")
    request.session.pop(BY_PIN, None)
    if by_pin:
        request.session.update(by_pin)
        person.by_pin = True
    signing.signed_in(person, how=how, address=address_of(request))
    if person.password_given and not by_pin:
        return HttpResponseRedirect(reverse("people:password"), status=303)
    if not fields:
        return HttpResponseRedirect(target if _may_read(person, target) else "/", status=303)
    shown = [f for f in fields if f[0] != "once" and f[1].strip()]
    context = {"target": target, "fields": fields, "shown": shown, "lost": lost}
    return render(request, "shop_people/kept.html", context)


def _may_read(person: Person, target: str) -> bool:
    """Whether the wanted page is this person's (someone else may have wanted it); unknown ones answer for themselves."""
    try:
        right = getattr(resolve(target.partition("?")[0]).func, "right", None)
    except Resolver404:
        return True
    return right is None or right in person.rights
