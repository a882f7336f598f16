"""Staff pages of core deposits: which old parts are still out, and what comes back."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.cards.pages.common import found_card
from jobs.estimates.forms import ReasonForm
from shop.kernel import clock
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import page, status_of, submit

from .. import actions, cores, forms
from ..models import InvoiceLine
from .common import invoice_url

LIST = "invoices:cores"


@page("invoices.read")
def out(request: HttpRequest) -> HttpResponse:
    """Old parts that are still out, the longest first."""
    customer = request.GET.get("customer", "")
    one = int(customer) if customer.isdecimal() and len(customer) < 18 else None
    found = page_of(request, cores.charged(customer_id=one), ("id",))
    context = {"page": found, "rows": [(x, cores.left_of(x)) for x in found.items], "narrowed": one is not None}
    return render(request, "jobs_invoices/cores.html", context)


@page("invoices.credit", "GET", "POST")
def take(request: HttpRequest, line: int) -> HttpResponse:
    """An old part comes back after its deposit was invoiced."""
    row = _line(line)
    form = forms.CoreForm(request.POST or None, initial={"quantity": cores.left_of(row).normalize()})
    work = lambda: actions.take_core(line, by=by(request), **form.cleaned_data)  # noqa: E731
    answer = submit(request, form, work, to=_after_take, done=_("Recorded."))
    lead = _("Accepted, the credit note over just this deposit is issued at once.")
    return answer or _ask(request, form, row, _("An old part comes back: %(what)s"), _("Record it"), lead)


def _after_take(row: Any) -> str:
    return invoice_url(row.credit_note_id) if row.credit_note_id else reverse(LIST)


@page("invoices.override", "GET", "POST")
def keep(request: HttpRequest, line: int) -> HttpResponse:
    row = _line(line)
    form = forms.KeepForm(
        request.POST or None, initial={"quantity": cores.left_of(row).normalize(), "on": clock.today()}
    )
    work = lambda: actions.keep_deposit(line, by=by(request), **form.cleaned_data)  # noqa: E731
    answer = submit(request, form, work, to=reverse(LIST), done=_("The deposit is kept, as a sale."))
    lead = _("Only when the old part doesn't come any more. The law may set a time; an adviser confirms it.")
    return answer or _ask(request, form, row, _("Keep the deposit for %(what)s"), _("Keep it"), lead)


@page("draws.draw", "GET", "POST")
def hand_in(request: HttpRequest, card: int) -> HttpResponse:
    """An old part is here before the invoice is made."""
    row = found_card(card)
    back = reverse("cards:card", args=[card])
    parts = [(pk, str(part)) for pk, (part, _wanted) in cores.parts_with_deposit(card).items()]
    form = forms.HandInForm(request.POST or None, parts=parts, initial={"quantity": 1})
    work = lambda: actions.hand_in_core(card, by=by(request), **form.cleaned_data)  # noqa: E731
    answer = submit(
        request, form, work, to=back, done=_("Recorded. The invoice charges no deposit for what was accepted.")
    )
    lead = _(
        "The invoice then charges no core deposit for so many. After the invoice, take it back under Core deposits."
    )
    context = {
        "form": form, "title": _("Old part of card %(number)s") % {"number": row.number}, "go": _("Record it"), "back": back,
        "lead": lead,
    }  # fmt: skip
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


@page("invoices.override", "GET", "POST")
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    row = cores.core_return(pk)
    if row is None:
        raise Http404
    back = reverse("cards:card", args=[row.card_id]) if row.card_id else reverse(LIST)
    form = ReasonForm(request.POST or None)
    work = partial(lambda: actions.undo_core(pk, by=by(request), **form.cleaned_data))
    answer = submit(request, form, work, to=back, done=_("Undone."))
    context = {"form": form, "title": _("Undo this record"), "go": _("Undo it"), "back": back}
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


def _line(pk: int) -> InvoiceLine:
    row = cores.charged_line(pk)
    if row is None:
        raise Http404
    return row


def _ask(request: HttpRequest, form: Any, row: InvoiceLine, title: str, go: str, lead: str) -> HttpResponse:
    context = {"form": form, "title": title % {"what": f"{row.text}, {row.invoice.number}"}, "go": go, "back": reverse(LIST),
               "lead": lead}  # fmt: skip
    return render(request, "jobs_cards/ask.html", context, status=status_of(form))
