"""A lot turned out bad: every machine it went into, the list for the telephone and the letters."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from inventory.stock import queries as stock
from inventory.stock.models import Lot
from jobs.draws import trace
from shop.api.files import pdf_answer
from shop.kernel import clock
from shop.ui.pages import page, status_of
from shop.ui.sheets import csv_file

from .. import forms, letters


def _lot(pk: int) -> Lot:
    found = stock.lot(pk)
    if found is None:
        raise Http404
    return found


@page("customers.read")
def recall(request: HttpRequest, pk: int) -> HttpResponse:
    """Machines and customers of a lot and of the rest of its batch. With what is wrong typed in, a letter for each."""
    lot = _lot(pk)
    sent = "what" in request.GET
    form = forms.RecallForm(request.GET if sent else None)
    draws = list(trace.went_to(pk))
    words = {"what": "", "todo": ""} | (form.cleaned_data if sent and form.is_valid() else {})
    context: dict[str, Any] = {
        "lot": lot, "form": form, "draws": draws, "lots": stock.same_goods(pk).order_by("id"),
        "back": stock.sent_back(stock.same_goods(pk)), "places": stock.balances_of_lots(stock.same_goods(pk)), "customers": _customers(draws),
        "query": urlencode(words) if words["what"] else "", "csv": reverse("desk:recall-csv", args=[pk]),
    }  # fmt: skip
    return render(request, "jobs_desk/recall.html", context, status=status_of(form))


def _customers(draws: list[Any]) -> list[Any]:
    return list({d.card.customer_id: d.card.customer for d in draws}.values())


@page("customers.read")
def recall_csv(request: HttpRequest, pk: int) -> HttpResponse:
    lot = _lot(pk)
    header = [
        _("Lot"), _("Supplier's batch"), _("Part"), _("Quantity"), _("Unit"), _("Drawn on"), _("Card"), _("Stage"),
        _("Machine"), _("Serial number"), _("Customer"), _("Phone"), _("E-mail"), _("Handed over on"),
    ]  # fmt: skip
    rows = (
        [
            d.movement.lot.number, d.movement.lot.batch, d.part.number, (d.quantity - d.returned).normalize(), d.part.unit, d.at.date(),
            d.card.number, d.stage.name, d.card.machine.title, d.card.machine.serial_no, d.card.customer.name,
            d.card.customer.phone, d.card.customer.email, d.card.handed_over_at and d.card.handed_over_at.date(),
        ]
        for d in trace.went_to(pk)
    )  # fmt: skip
    return csv_file(f"recall-{lot.number}-{clock.today():%Y-%m-%d}", header, rows)


@page("customers.read")
def recall_letter(request: HttpRequest, pk: int, customer: int) -> HttpResponse:
    """The letter to one customer about a lot, in the customer's language."""
    lot = _lot(pk)
    draws = [d for d in trace.went_to(pk) if d.card.customer_id == customer]
    if not draws:
        raise Http404
    form = forms.RecallForm(request.GET)
    words = form.cleaned_data if form.is_valid() else {}
    pdf = letters.recall(lot, draws, what=words.get("what", ""), todo=words.get("todo", ""))
    return pdf_answer(pdf, f"recall-{lot.number}-{customer}.pdf")
