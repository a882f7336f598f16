"""Suppliers' invoices, and the three-way look at an order."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.business.queries import profile
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.pages import page, status_of, submit

from .. import actions, queries
from ..forms import bills as forms
from ..models import PurchaseOrder, SupplierInvoice
from .shared import SHOWN, tabs


@page("buying.read")
def bills(request: HttpRequest) -> HttpResponse:
    found = page_of(request, queries.supplier_invoices(), ("-id",))
    return render(request, "inventory_buying/bills.html", {"page": found, "tabs": tabs("bills")})


@page("buying.read")
def bill(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.supplier_invoice(pk)
    if row is None:
        raise Http404
    return render(
        request,
        "inventory_buying/bill.html",
        {
            "bill": row,
            "own": profile().currency,
            "kicker": _("Their credit note") if row.credits_id else _("Their invoice"),
        },
    )


@page("buying.bill", "GET")
def choose(request: HttpRequest) -> HttpResponse:
    """Whose invoice came?"""
    form = forms.WhoseForm(request.GET or None)
    if form.is_bound and form.is_valid():
        return redirect("buying:add-bill", form.cleaned_data["supplier"].pk)
    return render(request, "inventory_buying/bill_whose.html", {"form": form})


@page("buying.bill", "GET", "POST")
def add_bill(request: HttpRequest, pk: int) -> HttpResponse:
    supplier = queries.supplier(pk)
    if supplier is None:
        raise Http404
    rows, more = queries.not_billed(pk, SHOWN)
    currency = rows[0].receipt.currency if rows else supplier.currency
    form = forms.BillForm(
        request.POST or None, rows=[r for r in rows if r.receipt.currency == currency], currency=currency
    )

    def work() -> SupplierInvoice:
        return actions.record_supplier_invoice(by=by(request), supplier_id=pk, **form.values())

    def to(row: SupplierInvoice) -> str:
        return reverse("buying:bill", args=[row.pk])

    answer = submit(request, form, work, to=to, done="Recorded.")
    context: dict[str, Any] = {"form": form, "supplier": supplier, "rows": rows, "shown": SHOWN if more else 0}
    return answer or render(request, "inventory_buying/bill_new.html", context, status=status_of(form))


@page("buying.bill", "GET", "POST")
def credit_bill(request: HttpRequest, pk: int) -> HttpResponse:
    """Their credit note over this invoice came."""
    row = queries.supplier_invoice(pk)
    if row is None:
        raise Http404
    here = reverse("buying:bill", args=[pk])
    if row.credits_id:
        return redirect(here)
    form = forms.CreditForm(request.POST or None, rows=list(row.lines.all()), currency=row.currency)

    def work() -> SupplierInvoice:
        return actions.record_supplier_credit(pk, by=by(request), **form.values())

    def to(made: SupplierInvoice) -> str:
        return reverse("buying:bill", args=[made.pk])

    answer = submit(request, form, work, to=to, done="Recorded.")
    return answer or render(
        request, "inventory_buying/bill_credit.html", {"form": form, "bill": row, "back": here}, status=status_of(form)
    )


def of_order(request: HttpRequest, order: PurchaseOrder) -> str:
    """Order, receipt and invoice side by side; once something came."""
    looked = queries.three_way(order) if order.sent_at else []
    if not any(x.received.quantity for x in looked):
        return ""
    return render_to_string(
        "inventory_buying/three_way.html", {"order": order, "looked": looked, "extras": queries.extras(order)}, request
    )
