"""The whole card on one page."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from jobs.cards import forms as card_forms
from jobs.cards import queries as cards
from jobs.cards import wording
from jobs.cards.pages.common import ask, card_url, found_card
from jobs.draws import picking as picks
from jobs.invoices import queries as invoices
from shop.api.files import pdf_answer
from shop.business import queries as business
from shop.people.models import Person
from shop.people.pages.who import by
from shop.ui.pages import page, press

from .. import actions, sheets
from .. import build_record as records
from ..queries import card as queries

HISTORY = 15


@page("cards.read")
def card(request: HttpRequest, pk: int) -> HttpResponse:
    found = queries.whole(pk)
    if found is None:
        raise Http404
    rights = by(request).rights
    context: dict[str, Any] = {
        "found": found, "whole": found.whole, "card": found.whole.card, "steps": _steps(found), "go_ahead": _one_go_ahead(found),
        "history": _history(pk, by(request)), "note_form": card_forms.NoteForm(), "currency": business.profile().currency,
    }  # fmt: skip
    if "costs.read" in rights:
        context["cost"] = queries.cost(found, hours="margin.read" in rights)
    return render(request, "jobs_desk/card.html", context)


def _steps(found: queries.WholeCard) -> list[dict[str, Any]]:
    parts = found.parts_by_stage()
    return [
        {"stage": s, "hours": found.hours.get(s.pk), "parts": parts.get(s.pk, []), "trays": found.trays.get(s.pk, [])}
        for s in found.whole.stages
    ]  # fmt: skip


def _one_go_ahead(found: queries.WholeCard) -> str:
    """The document that every agreed stage names, when it is one for all; else each stage says its own."""
    refs = {s.go_ahead_ref for s in found.whole.stages if s.go_ahead_at}
    return refs.pop() if len(refs) == 1 else ""


def _history(card_id: int, reader: Person) -> list[dict[str, Any]]:
    return [
        wording.entry(t, t.currency)
        for t in cards.history(card_id, reader).order_by("-id")[:HISTORY]
    ]  # fmt: skip


@page("cards.finish", "GET", "POST")
def hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """What stands against it and what is owed, then the button."""
    row = found_card(pk)
    here = request.path
    if request.method == "POST":
        work = partial(actions.hand_over, pk, by=by(request))
        return press(request, work, to=card_url(pk), back=here, done=_("Handed over. The card is closed."))
    context: dict[str, Any] = {"card": row, "standing": cards.standing(row), "checks": queries.hand_over(pk)}
    if "invoices.read" in by(request).rights:
        context["invoices"] = list(invoices.invoices(card_id=pk).order_by("id"))
    return render(request, "jobs_desk/hand_over.html", context)


@page("cards.edit", "GET", "POST")
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_card(pk)
    form = card_forms.ReasonForm(request.POST or None)
    return ask(
        request, form, lambda: actions.cancel_card(pk, by=by(request), **form.cleaned_data),
        title=_("Cancel card %(number)s") % {"number": row.number}, go=_("Cancel the card"), back=card_url(pk),
        done=_("Card cancelled."), lead=_("Nothing more is done on it. What was done, and its hours, stay."),
    )  # fmt: skip


@page("cards.read")
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The sheet for the bench as PDF; its code opens this card when it is scanned."""
    found = queries.whole(pk)
    if found is None:
        raise Http404
    answer = HttpResponse(sheets.pdf(found), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="card-{found.whole.card.number}.pdf"'
    return answer


@page("cards.read")
def build_record(request: HttpRequest, pk: int) -> HttpResponse:
    """How the machine was built, to hand over with it."""
    found = queries.whole(pk)
    if found is None:
        raise Http404
    return pdf_answer(records.pdf(found), f"build-record-{found.whole.card.number}.pdf")


@page("draws.read")
def picking(request: HttpRequest, pk: int) -> HttpResponse:
    """What to fetch for the card, bin after bin."""
    row = found_card(pk)
    return render(request, "jobs_desk/picking.html", {"card": row, "list": picks.picking_list(row)})


@page("draws.read")
def picking_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    row = found_card(pk)
    return pdf_answer(sheets.picking_pdf(row), f"picking-list-{row.number}.pdf")
