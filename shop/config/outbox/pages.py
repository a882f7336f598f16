"""The staff page of the outbox."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from shop.trail import actions, queries
from shop.ui.lists import page_of
from shop.ui.pages import page, press

STATES = (("open", "Not delivered"), ("waiting", "Waiting"), ("failed", "Given up"), ("done", "Delivered"))


class OutboxFilter(forms.Form):
    state = forms.ChoiceField(label="Which", choices=STATES, required=False, initial="open")


@page("outbox.read")
def outbox(request: HttpRequest) -> HttpResponse:
    form = OutboxFilter(request.GET or None, initial={"state": "open"})
    state = form.cleaned_data["state"] if form.is_valid() and form.cleaned_data["state"] else "open"
    found = page_of(request, queries.outbox_rows(state=state), ("-id",))
    context = {"page": found, "form": form, "filtered": state != "open", "lag": queries.lag()}
    return render(request, "shop_config/outbox.html", context)


@page("outbox.edit", "POST")
def send_again(request: HttpRequest, pk: int) -> HttpResponse:
    here = reverse("outbox:list")
    done = "It is tried again now."
    return press(request, lambda: actions.send_again(pk, by=request.user), to=here, back=here, done=done)
