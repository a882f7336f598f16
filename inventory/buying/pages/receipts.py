"""Deliveries: opened, counted by scanning, posted, sent back."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms as django_forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse

from inventory.stock.models import Balance
from shop.business.queries import profile
from shop.kernel.units import unit
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, packing, queries
from ..forms import receipts as forms
from ..models import GoodsReceipt, PurchaseOrder, ReceiptLine, SentBack
from ..wording import entry
from .shared import SHOWN, tabs, trimmed


def _receipt(pk: int) -> GoodsReceipt:
    found = queries.receipt(pk)
    if found is None:
        raise Http404
    return found


def _line(pk: int) -> ReceiptLine:
    found = queries.receipt_line(pk)
    if found is None:
        raise Http404
    return found


def _at(pk: int) -> str:
    return reverse("buying:receipt", args=[pk])


def _to(row: GoodsReceipt | ReceiptLine) -> str:
    return _at(row.receipt_id if isinstance(row, ReceiptLine) else row.pk)


@page("buying.read")
def receipts(request: HttpRequest) -> HttpResponse:
    form = forms.ReceiptFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    found = page_of(request, queries.receipts(**given), ("-id",))
    context = {"page": found, "form": form, "tabs": tabs("receipts")}
    return render(request, "inventory_buying/receipts.html", context)


@page("stock.receive", "GET", "POST")
def open_receipt(request: HttpRequest) -> HttpResponse:
    """With ?order= or ?supplier= that one is chosen."""
    chosen = next((f"{k}-{v[:18]}" for k in ("order", "supplier") if (v := request.GET.get(k, ""))), "")
    form = forms.OpenForm(request.POST or None, initial={"source": chosen})
    work = lambda: actions.open_receipt(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Now scan what came.")
    earlier = getattr(getattr(form, "refusal", None), "facts", {}).get("receipt_id")
    context = {"form": form, "earlier": earlier}
    return answer or render(request, "inventory_buying/receipt_new.html", context, status=status_of(form))


@page("buying.read")
def receipt(request: HttpRequest, pk: int) -> HttpResponse:
    return show(request, _receipt(pk))


def show(request: HttpRequest, row: GoodsReceipt, **filled: Any) -> HttpResponse:
    """The page; a form that was refused stands where it was filled in."""
    own, rights = profile().currency, by(request).rights
    lines = list(row.lines.all())
    may = "stock.receive" in rights and not row.posted_at
    awaited = []
    if not row.posted_at:
        there = {x.order_line_id for x in lines}
        wanted = queries.awaited_lines(supplier_id=row.supplier_id)
        awaited = [x for x in wanted[:SHOWN] if x.pk not in there and row.order_id in (None, x.order_id)]
    rows = [
        {
            "line": x, "bin": x.bin or row.bin, "net": packing.net(x.quantity, x.price, x.price_per, row.currency),
            "over": _over(x), "gone": sum(b.quantity for b in x.sent_back.all()) if row.posted_at else 0,
        }
        for x in lines
    ]  # fmt: skip
    context: dict[str, Any] = {
        "receipt": row, "rows": rows, "own": own, "awaited": awaited, "may_edit": may,
        "history": [entry(t) for t in queries.history(row)[:50]],
        "may_accept": "buying.override" in rights and not row.posted_at,
        "may_send_back": "stock.receive" in rights and bool(row.posted_at),
    }  # fmt: skip
    if may:
        context |= {
            "scan_form": forms.ScanForm(),
            "whole_form": forms.ReceiptForm(initial=_whole(row), prefix="whole", currency=row.currency, own=own),
        }
    context |= filled
    status = max((status_of(f) for f in filled.values() if isinstance(f, django_forms.Form)), default=200)
    return render(request, "inventory_buying/receipt.html", context, status=status)


def _over(line: ReceiptLine) -> bool:
    """Whether it brings more than is awaited, as far as this line alone tells."""
    return line.lot_id is None and (line.order_line is None or line.quantity > line.order_line.open)


def _whole(row: GoodsReceipt) -> dict[str, Any]:
    names = ("delivery_note", "delivered_on", "freight", "duty", "rate", "note", "version")
    return {n: trimmed(getattr(row, n)) for n in names} | {"bin": row.bin.code}


@page("stock.receive", "GET", "POST")
def scan(request: HttpRequest, pk: int) -> HttpResponse:
    row = _receipt(pk)
    if request.method != "POST":
        return redirect(_at(pk))
    form = forms.ScanForm(request.POST)
    work = lambda: actions.scan_receipt_line(pk, by=by(request), code=form.cleaned_data["code"])  # noqa: E731
    return submit(request, form, work, to=_to, done="Counted.") or show(request, row, scan_form=form)


@page("stock.receive", "POST")
def fill(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.fill_receipt, pk, by=by(request))
    return press(request, work, to=_to, back=_at(pk), done="All that was awaited is on it.")


@page("stock.receive", "POST")
def came(request: HttpRequest, pk: int) -> HttpResponse:
    """The rest of one awaited line came, as ordered."""
    wanted = request.POST.get("order_line", "")
    if not (wanted.isdecimal() and len(wanted) < 19) or (row := queries.order_line(int(wanted))) is None:
        raise Http404
    work = partial(actions.add_receipt_line, pk, None, by=by(request), order_line_id=row.pk, quantity=row.open)
    return press(request, work, to=_to, back=_at(pk), done="Counted.")


@page("stock.receive", "GET", "POST")
def edit_receipt(request: HttpRequest, pk: int) -> HttpResponse:
    row = _receipt(pk)
    if request.method != "POST":
        return redirect(_at(pk))
    own = profile().currency
    form = forms.ReceiptForm(request.POST, prefix="whole", currency=row.currency, own=own)
    work = lambda: actions.edit_receipt(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Saved.")
    if answer is None and stale(form):
        set_beside(form, _whole(_receipt(pk)))
    return answer or show(request, row, whole_form=form)


@page("stock.receive", "POST")
def post_receipt(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.post_receipt, pk, None, by=by(request))
    return press(request, work, to=_to, back=_at(pk), done="Posted. It is in stock now.")


@page("stock.receive", "POST")
def discard_receipt(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.discard_receipt, pk, None, by=by(request))
    return press(request, work, to=reverse("buying:receipts"), back=_at(pk), done="Thrown away; nothing was posted.")


# --- lines ------------------------------------------------------------------------------------------


@page("stock.receive", "GET", "POST")
def add_line(request: HttpRequest, pk: int) -> HttpResponse:
    row = _receipt(pk)
    form = forms.NewReceiptLineForm(request.POST or None)
    work = lambda: actions.add_receipt_line(pk, None, by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Counted.")
    context = {"form": form, "receipt": row}
    return answer or render(request, "inventory_buying/receipt_line.html", context, status=status_of(form))


@page("stock.receive", "GET", "POST")
def edit_line(request: HttpRequest, pk: int) -> HttpResponse:
    row = _line(pk)
    form = forms.ReceiptLineForm(request.POST or None, initial=_stored(row))
    form.fields["quantity"].unit = unit(row.part.unit).symbol  # type: ignore[attr-defined]
    work = lambda: actions.edit_receipt_line(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Line saved.")
    if answer is None and stale(form):
        set_beside(form, _stored(_line(pk)))
    context = {"form": form, "receipt": row.receipt, "line": row}
    return answer or render(request, "inventory_buying/receipt_line.html", context, status=status_of(form))


def _stored(row: ReceiptLine) -> dict[str, Any]:
    names = [n for n in forms.ReceiptLineForm.base_fields if n != "bin"]
    return {n: trimmed(getattr(row, n)) for n in names} | {"bin": row.bin.code if row.bin else ""}


@page("stock.receive", "POST")
def remove_line(request: HttpRequest, pk: int) -> HttpResponse:
    back = _to(_line(pk))
    work = partial(actions.remove_receipt_line, pk, None, by=by(request))
    return press(request, work, to=back, back=back, done="Taken off.")


@page("buying.override", "GET", "POST")
def accept_over(request: HttpRequest, pk: int) -> HttpResponse:
    row = _line(pk)
    form = forms.OverForm(request.POST or None)
    work = lambda: actions.accept_over(pk, by=by(request), **form.cleaned_data)  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Accepted. It can be posted.")
    context = {"form": form, "line": row, "receipt": row.receipt}
    return answer or render(request, "inventory_buying/receipt_over.html", context, status=status_of(form))


@page("stock.receive", "GET", "POST")
def send_back(request: HttpRequest, pk: int) -> HttpResponse:
    row = _line(pk)
    lying = list(Balance.objects.filter(lot_id=row.lot_id or 0, on_hand__gt=0).select_related("bin").order_by("id"))
    form = forms.SendBackForm(request.POST or None, lying=lying)
    form.fields["quantity"].unit = unit(row.part.unit).symbol  # type: ignore[attr-defined]

    def work() -> SentBack:
        return actions.send_back(by=by(request), receipt_line_id=pk, **form.cleaned_data)

    answer = submit(request, form, work, to=_at(row.receipt_id), done="Taken off the stock. Send it with the reason.")
    context = {"form": form, "line": row, "receipt": row.receipt, "lying": lying}
    return answer or render(request, "inventory_buying/receipt_back.html", context, status=status_of(form))


def of_order(request: HttpRequest, order: PurchaseOrder) -> str:
    """What came of an order."""
    if not order.sent_at:
        return ""
    rows = queries.receipts(order_id=order.pk).order_by("id")[:SHOWN]
    return render_to_string("inventory_buying/order_receipts.html", {"order": order, "receipts": rows}, request)
