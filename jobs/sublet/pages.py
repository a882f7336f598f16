"""Staff pages of work sent out: record what came for a stage, look at a bill, take it back."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.cards.pages.common import ask, card_url, found_stage
from jobs.estimates.forms import ReasonForm
from shop.business.queries import profile
from shop.people.pages.who import by
from shop.ui.pages import page, status_of, submit

from . import actions, forms, queries
from .models import SubletBill


def bill_url(row: SubletBill) -> str:
    return reverse("sublet:bill", args=[row.pk])


@page("buying.bill", "GET", "POST")
def record(request: HttpRequest, card: int, stage: int) -> HttpResponse:
    row = found_stage(card, stage)
    form = forms.SubletBillForm(request.POST or None)
    answer = submit(
        request, form, lambda: actions.record_bill(by=by(request), stage_id=stage, **form.values()), to=bill_url,
        done=_("Recorded. Add the firm's invoice as a file below."),
    )  # fmt: skip
    context = {
        "form": form, "title": _("Invoice for work sent out"), "go": _("Record it"), "back": card_url(card),
        "lead": _("What the outside firm charges for %(stage)s of card %(number)s.") % {"stage": row, "number": row.card.number},
        "shell": "ui/base.html",
    }  # fmt: skip
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("costs.read")
def bill(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    undone = getattr(row, "reversal", None)
    context = {
        "bill": row, "undone": undone, "currency": profile().currency, "gross": row.net + row.tax,
        "kicker": _("Takes back a bill") if row.reverses_id else _("Work sent out"),
    }  # fmt: skip
    return render(request, "jobs_sublet/bill.html", context)


@page("buying.bill", "GET", "POST")
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    row = _found(pk)
    form = ReasonForm(request.POST or None)
    return ask(
        request, form, lambda: actions.take_back(pk, by=by(request), **form.cleaned_data),
        title=_("Take back invoice %(number)s of %(name)s") % {"number": row.number, "name": row.supplier.name},
        go=_("Take it back"), back=bill_url(row), done=_("Taken back."),
        lead=_("For one that was recorded wrongly. It stays in the history; record it anew as it is right."),
    )  # fmt: skip


def _found(pk: int) -> SubletBill:
    row = queries.bill(pk)
    if row is None:
        raise Http404
    return row
