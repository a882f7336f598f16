"""Cards: list, open, the card itself, edit, finish, history."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import next_of, page, press, status_of, submit

from .. import actions, forms, queries, wording
from ..models import JobCard
from .common import ask, card_url, found_card

FIELDS = ("complaint", "came_with", "promised_on", "site_id", "version")


@page("cards.read")
def cards(request: HttpRequest) -> HttpResponse:
    form = forms.CardFilter(request.GET)
    order = ("-id",) if form.is_valid() and form.cleaned_data["order"] == "newest" else ("due", "id")
    found = page_of(request, queries.cards(**form.filters()), order)
    return render(request, "jobs_cards/cards.html", {"page": found, "form": form})


@page("cards.edit", "GET", "POST")
def edit_card(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_card(pk)
    form = forms.EditCardForm(request.POST or None, initial=_stored(row))

    def work() -> JobCard:
        return actions.edit_card(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_to_card, done=_("Card saved."))
    if answer is None and stale(form):
        set_beside(form, _stored(found_card(pk)))
    context = {"form": form, "card": row, "machine": row.machine}
    return answer or render(request, "jobs_cards/card_form.html", context, status=status_of(form))


@page("cards.edit", "POST")
def arrived(request: HttpRequest, pk: int) -> HttpResponse:
    back = next_of(request, card_url(pk))
    work = partial(actions.machine_arrived, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("The machine is here."))


@page("cards.finish", "POST")
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    back = next_of(request, card_url(pk))
    work = partial(actions.finish_card, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("Card finished."))


@page("cards.finish", "GET", "POST")
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_card(pk)
    form = forms.ReasonForm(request.POST or None)
    return ask(
        request, form, lambda: actions.reopen_card(pk, by=by(request), **form.cleaned_data),
        title=_("Reopen card %(number)s") % {"number": row.number}, go=_("Reopen it"), back=card_url(pk),
        done=_("Card reopened."),
    )  # fmt: skip


@page("cards.hold", "POST")
def resume(request: HttpRequest, pk: int) -> HttpResponse:
    back = next_of(request, card_url(pk))
    work = partial(actions.resume_card, pk, by=by(request))
    return press(request, work, to=back, back=back, done=_("The card goes on."))


@page("notes.add", "POST")
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """The form stands on the card's and the stage's page; a refusal shows it by itself with what was typed."""
    found_card(pk)
    form = forms.NoteForm(request.POST)
    return ask(
        request, form, lambda: actions.add_note(pk, by=by(request), **form.cleaned_data),
        title=_("Add a note"), go=_("Add it"), back=card_url(pk), done=_("Noted."),
    )  # fmt: skip


@page("cards.read")
def history(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_card(pk)
    found = page_of(request, queries.history(pk, by(request)), ("-id",), size=100)
    entries = [wording.entry(t, t.currency) for t in found.items]
    return render(request, "jobs_cards/history.html", {"card": row, "page": found, "entries": entries})


def _stored(row: JobCard) -> dict[str, Any]:
    return {name: getattr(row, name) for name in FIELDS}


def _to_card(row: JobCard) -> str:
    return card_url(row.pk)
