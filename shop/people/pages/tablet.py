"""The shared bench tablet: enrol a device, pick a name, type the PIN."""

from __future__ import annotations

import hashlib
import secrets

from django.contrib.auth import logout
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.kernel import clock
from shop.kernel.errors import BadInput, TooMany
from shop.people import device, forms, queries
from shop.people.actions import tablets
from shop.people.middleware import BY_PIN, SEEN, TABLET
from shop.people.models import Tablet
from shop.ui.pages import page, press, status_of, submit

from . import visit
from .who import by


@page("tablet.enrol", "GET", "POST")
def enrol(request: HttpRequest) -> HttpResponse:
    form = forms.TabletForm(request.POST or None)
    secret = secrets.token_urlsafe(32)
    digest = hashlib.sha256(secret.encode()).hexdigest()
    made: list[Tablet] = []

    def work() -> None:
        made.append(tablets.enrol(label=form.cleaned_data["label"], digest=digest, by=by(request)))

    answer = submit(request, form, work, to=reverse("people:tablet"))
    if answer:
        if made:
            logout(request)  # the tablet stays at the bench: nobody works on it as the office
            device.trust(answer, secret)
        return answer
    context = {"form": form, "tablets": queries.tablets(), "this": request.tablet or None}  # type: ignore[attr-defined]
    return render(request, "shop_people/tablets.html", context, status=status_of(form))


@page("tablet.enrol", "POST")
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("people:tablets")
    return press(
        request,
        lambda: tablets.revoke(pk, by=by(request)),
        to=here,
        back=here,
        done="The tablet is no longer trusted.",
    )


@page(None, "GET", "POST")
def pick(request: HttpRequest) -> HttpResponse:
    """Who are you? (A POST only carries on what was typed before the session ended.)"""
    tablet = _this(request)
    if request.method == "POST" and request.POST.get("person", "").isdecimal():
        return pad(request, int(request.POST["person"]), ask=True)
    context = _carried(request) | {"people": queries.at_the_bench(), "tablet": tablet}
    answer = render(request, "shop_people/pick.html", context)
    device.trust(answer, device.secret_of(request))
    return answer


@page(None, "GET", "POST")
def pad(request: HttpRequest, pk: int, ask: bool = False) -> HttpResponse:
    tablet = _this(request)
    person = next((p for p in queries.at_the_bench() if p.pk == pk), None)
    if person is None:
        raise Http404
    context = _carried(request) | {"person": person}
    if request.method != "POST" or ask:
        return render(request, "shop_people/pad.html", context)
    try:
        who = tablets.check_pin(tablet, pk, request.POST.get("pin", "")[:40])
    except BadInput as error:
        return render(request, "shop_people/pad.html", context | {"problem": error.message}, status=422)
    except TooMany as error:
        answer = render(request, "shop_people/pad.html", context | {"problem": error.message}, status=429)
        answer["Retry-After"] = str(error.facts["retry_after"])
        return answer
    by_pin = {BY_PIN: True, TABLET: tablet.pk, SEEN: clock.now().timestamp()}
    return visit.come_in(request, who, how="pin", by_pin=by_pin)


def _this(request: HttpRequest) -> Tablet:
    tablet = request.tablet or None  # type: ignore[attr-defined]
    if tablet is None:
        raise Http404("This device is not enrolled as a bench tablet.")
    return tablet


def _carried(request: HttpRequest) -> dict[str, str]:
    return {
        "next": visit.safe_next(request),
        "kept": request.POST.get("kept", "")[: visit.MOST_KEPT],
        "lost": request.POST.get("lost", ""),
    }
