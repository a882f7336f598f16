"""One's own page: password, PIN, second step, tokens."""

from __future__ import annotations

from typing import Any

import pyotp
import segno
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from shop.kernel.rights import Role
from shop.people import forms, queries
from shop.people.actions import own
from shop.people.words import told
from shop.ui.middleware import NO_TRANSFORM
from shop.ui.pages import page, press, status_of, submit

from .who import by

NEW_SECRET = "totp_secret_to_confirm"  # noqa: S105 - session key


@page("own.edit")
def me(request: HttpRequest) -> HttpResponse:
    context = {
        "tokens": queries.tokens_of(by(request))[:100],
        "codes_left": queries.codes_left(by(request)),
        "may_two_step": _may_two_step(request),
        "history": told(queries.history(by(request), most=10)),
    }
    return render(request, "shop_people/me.html", context)


@page("own.edit", "GET", "POST")
def password(request: HttpRequest) -> HttpResponse:
    form = forms.PasswordForm(by(request), request.POST or None)
    answer = submit(
        request, form, lambda: own.change_password(form.cleaned_data["new_password"], by=by(request)),
        to=reverse("people:me"), done="Your password is changed. You are signed out everywhere else.",
    )  # fmt: skip
    if answer:
        return _stay(request, answer)
    given = by(request).password_given
    return _form(
        request, form, "Replace the password you were given" if given else "Change password", "Change password"
    )


@page("own.edit", "GET", "POST")
def pin(request: HttpRequest) -> HttpResponse:
    form = forms.PinForm(by(request), request.POST or None)
    answer = submit(
        request, form, lambda: own.set_pin(form.cleaned_data["pin"], by=by(request)),
        to=reverse("people:me"), done="Your PIN is set.",
    )  # fmt: skip
    return answer or _form(request, form, "PIN for bench tablets", "Set PIN")


@page("own.edit", "POST")
def pin_remove(request: HttpRequest) -> HttpResponse:
    here = reverse("people:me")
    return press(request, lambda: own.remove_pin(by=by(request)), to=here, back=here, done="Your PIN is removed.")


@page("own.edit", "GET", "POST")
def token(request: HttpRequest) -> HttpResponse:
    form = forms.TokenForm(by(request), request.POST or None, initial={"lasts": "365"})
    made: list[Any] = []

    def work() -> None:
        made.append(own.make_token(form.cleaned_data["label"], by=by(request), expires_at=form.expires_at))

    answer = submit(request, form, work, to=reverse("people:me"))
    if answer and made:
        return _secret(render(request, "shop_people/shown_once.html", {"token": made[-1]}))
    if answer:
        messages.info(request, "This token was already made and shown. If you missed it, revoke it and make another.")
        return answer
    return _form(request, form, "New API token", "Make token")


@page("own.edit", "POST")
def token_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("people:me")
    return press(
        request, lambda: own.revoke_token(pk, by=by(request)), to=here, back=here, done="The token is revoked."
    )


@page("own.edit", "GET", "POST")
def two_step(request: HttpRequest) -> HttpResponse:
    """Set up the authenticator; the secret waits in the session until a code proves it."""
    if not _may_two_step(request) or by(request).totp_secret:
        return HttpResponseRedirect(reverse("people:me"))
    secret = request.session.setdefault(NEW_SECRET, pyotp.random_base32())
    form = forms.TwoStepForm(by(request), request.POST or None)
    codes: list[str] = []

    def work() -> None:
        codes.extend(own.start_two_step(secret, form.cleaned_data["code"], by=by(request)))

    answer = submit(request, form, work, to=reverse("people:me"))
    if answer:
        request.session.pop(NEW_SECRET, None)
        return _codes(request, codes, answer)
    uri = pyotp.TOTP(secret).provisioning_uri(name=by(request).username, issuer_name="Tallybench")
    context = {
        "form": form, "title": "Second step at sign-in", "button": "Switch on",
        "qr": segno.make(uri, error="m").svg_data_uri(scale=5, border=3, light="#ffffff"),
        "secret": " ".join(secret[i : i + 4] for i in range(0, len(secret), 4)),
    }  # fmt: skip
    return _secret(render(request, "shop_people/two_step.html", context, status=status_of(form)))


@page("own.edit", "GET", "POST")
def recovery(request: HttpRequest) -> HttpResponse:
    if not by(request).totp_secret:
        return HttpResponseRedirect(reverse("people:me"))
    form = forms.Confirmed(by(request), request.POST or None)
    codes: list[str] = []
    answer = submit(
        request, form, lambda: codes.extend(own.new_recovery_codes(by=by(request))), to=reverse("people:me")
    )
    return _codes(request, codes, answer) if answer else _form(request, form, "New recovery codes", "Make new codes")


@page("own.edit", "GET", "POST")
def two_step_off(request: HttpRequest) -> HttpResponse:
    form = forms.Confirmed(by(request), request.POST or None)
    answer = submit(
        request, form, lambda: own.end_two_step(by=by(request)),
        to=reverse("people:me"), done="The second step is switched off.",
    )  # fmt: skip
    return _stay(request, answer) if answer else _form(request, form, "Switch the second step off", "Switch off")


def _may_two_step(request: HttpRequest) -> bool:
    return bool({Role.OWNER, Role.OFFICE} & set(by(request).roles))


def _stay(request: HttpRequest, answer: HttpResponse) -> HttpResponse:
    """All sessions of the person ended; this one goes on, under a new key."""
    by(request).refresh_from_db()
    update_session_auth_hash(request, by(request))
    return answer


def _codes(request: HttpRequest, codes: list[str], answer: HttpResponse) -> HttpResponse:
    _stay(request, answer)
    if not codes:
        messages.info(request, "The codes were already made and shown. If you missed them, make new ones.")
        return answer
    return _secret(render(request, "shop_people/shown_once.html", {"codes": codes}))


def _secret(shown: HttpResponse) -> HttpResponse:
    """Kept out of compression, whose lengths can betray a secret (shop/ui/middleware.py)."""
    shown["Cache-Control"] = NO_TRANSFORM
    return shown


def _form(request: HttpRequest, form: Any, title: str, button: str) -> HttpResponse:
    context = {"form": form, "title": title, "button": button, "back": reverse("people:me"), "no_draft": True}
    return render(request, "shop_people/form.html", context, status=status_of(form))
