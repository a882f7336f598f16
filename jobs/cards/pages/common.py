"""What the pages of this room, and those above that show a card, have in common."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from shop.kernel.errors import NeedsOverride
from shop.people.pages.who import by
from shop.ui.pages import next_of, status_of, submit

from .. import queries
from ..models import Gate


def found_card(pk: int) -> Any:
    row = queries.card(pk)
    if row is None:
        raise Http404
    return row


def found_stage(card: int, pk: int) -> Any:
    """Stage `pk` of card `card`; under another card it isn't there."""
    row = queries.stage(pk)
    if row is None or row.card_id != card:
        raise Http404
    return row


def found_gate(card: int, pk: int) -> Gate:
    row = queries.gate(pk)
    if row is None or row.stage.card_id != card:
        raise Http404
    return row


def card_url(pk: int) -> str:
    return reverse("cards:card", args=[pk])


def stage_url(card: int, pk: int) -> str:
    return reverse("cards:stage", args=[card, pk])


def ask(
    request: HttpRequest,
    form: forms.BaseForm,
    work: Callable[[], Any],
    *,
    title: str,
    go: str,
    back: str,
    done: str,
    lead: str = "",
) -> HttpResponse:
    """A page with one small form (a reason, a hold) that does `work` and goes on to `next`, else `back`."""
    to = next_of(request, back)
    answer = submit(request, form, work, to=to, done=done)
    context = {"form": form, "title": title, "go": go, "back": to, "lead": lead}
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


def start_or_ask(
    request: HttpRequest,
    form: forms.BaseForm,
    work: Callable[[], Any],
    *,
    title: str,
    back: str,
    done: str,
) -> HttpResponse:
    """A button that may need an override: it works at once, and only when it is refused for that does a page ask why."""
    to = next_of(request, back)
    answer = submit(request, form, work, to=to, done=done)
    if answer:
        return answer
    refusal = getattr(form, "refusal", None)
    if isinstance(refusal, NeedsOverride) and "stages.override" in by(request).rights:
        for field in form.fields.values():
            field.required = True  # asked for now: the page says so
        context = {"form": form, "title": title, "go": title, "back": to}
        return render(request, "jobs_cards/ask.html", context, status=409)
    if refusal is not None:
        messages.error(request, refusal.message)
    return HttpResponseRedirect(to)
