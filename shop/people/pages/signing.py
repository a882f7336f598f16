"""Sign in, the second step, sign out."""

from __future__ import annotations

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from shop.kernel import clock
from shop.kernel.errors import BadInput, TooMany
from shop.people.actions import signing
from shop.people.models import Person
from shop.ui.pages import page

from . import visit

HALF = "half_signed_in"  # session key: the password was right, the code is due
HALF_SECONDS = 300


@page(None, "GET", "POST")
def sign_in(request: HttpRequest) -> HttpResponse:
    target = visit.safe_next(request)
    if request.method != "POST":
        if request.user.is_authenticated:
            return HttpResponseRedirect(target)
        return _form(request, "sign_in", {})
    username, password = request.POST.get("username", ""), request.POST.get("password", "")
    if not username.strip() or not password:
        return _form(request, "sign_in", {"problem": "Fill in your user name and your password."}, 422)
    try:
        person = signing.check_password(
            username[:200],
            password[:1000],
            address=visit.address_of(request),
            device=visit.device_of(request, username),
        )
    except BadInput as error:
        return _form(request, "sign_in", {"problem": error.message}, 422)
    except TooMany as error:
        return _wait(request, "sign_in", error)
    if person.totp_secret:
        request.session[HALF] = {"person": person.pk, "until": clock.now().timestamp() + HALF_SECONDS}
        return _form(request, "code", {})
    return _in(request, person, "password")


@page(None, "GET", "POST")
def code(request: HttpRequest) -> HttpResponse:
    half = request.session.get(HALF) or {}
    person = Person.objects.filter(pk=half.get("person"), is_active=True).first()
    if person is None or half["until"] < clock.now().timestamp():
        return HttpResponseRedirect(reverse("people:sign-in"))
    if request.method != "POST":
        return _form(request, "code", {})
    try:
        signing.check_code(person, request.POST.get("code", "")[:40], address=visit.address_of(request))
    except BadInput as error:
        return _form(request, "code", {"problem": error.message}, 422)
    except TooMany as error:
        return _wait(request, "code", error)
    request.session.pop(HALF, None)
    return _in(request, person, "password and code")


@page(None, "POST")
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    place = "people:tablet" if request.tablet else "people:sign-in"  # type: ignore[attr-defined]
    return HttpResponseRedirect(reverse(place), status=303)


def _in(request: HttpRequest, person: Person, how: str) -> HttpResponse:
    response = visit.come_in(request, person, how=how)
    visit.remember(request, response, person)
    return response


def _form(request: HttpRequest, name: str, context: dict, status: int = 200) -> HttpResponse:
    """The form again, with where to go next and what was typed before; the password never comes back."""
    carried = {
        "next": visit.safe_next(request),
        "kept": request.POST.get("kept", "")[: visit.MOST_KEPT],
        "lost": request.POST.get("lost", ""),
        "username": request.POST.get("username", "")[:200],
    }
    return render(request, f"shop_people/{name}.html", carried | context, status=status)


def _wait(request: HttpRequest, name: str, error: TooMany) -> HttpResponse:
    response = _form(request, name, {"problem": error.message}, 429)
    response["Retry-After"] = str(error.facts["retry_after"])
    return response
