"""Orders: drafted, sent, confirmed, chased, closed."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms as django_forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from inventory.parts import queries as catalogue
from shop.api.files import pdf_answer
from shop.kernel import clock
from shop.people.pages.who import by
from shop.ui.lists import page_of
from shop.ui.newer import set_beside, stale
from shop.ui.pages import page, press, status_of, submit

from .. import actions, printing, queries, states
from ..forms import orders as forms
from ..models import OrderLine, PurchaseOrder
from ..wording import entry
from . import bills, receipts
from .shared import SHOWN, tabs, trimmed, with_state


def _order(pk: int) -> PurchaseOrder:
    found = queries.order(pk)
    if found is None:
        raise Http404
    return found


def _line(pk: int) -> OrderLine:
    found = queries.order_line(pk)
    if found is None:
        raise Http404
    return found


def _at(pk: int) -> str:
    return reverse("buying:order", args=[pk])


def _to(row: PurchaseOrder | OrderLine) -> str:
    return _at(row.order_id if isinstance(row, OrderLine) else row.pk)


@page("buying.read")
def orders(request: HttpRequest) -> HttpResponse:
    form = forms.OrderFilter(request.GET)
    given = {k: v for k, v in form.cleaned_data.items() if v} if form.is_valid() else {}
    found = page_of(request, queries.orders(**given), ("-id",))
    context = {"page": found, "rows": with_state(found.items), "form": form, "tabs": tabs("orders")}
    return render(request, "inventory_buying/orders.html", context)


@page("buying.read")
def awaited(request: HttpRequest) -> HttpResponse:
    """What is still to come, the longest awaited first."""
    rows = list(queries.awaited_lines()[:SHOWN])
    context = {"rows": rows, "today": clock.today(), "tabs": tabs("awaited")}
    return render(request, "inventory_buying/awaited.html", context)


@page("buying.edit", "GET", "POST")
def add_order(request: HttpRequest) -> HttpResponse:
    form = forms.OrderForm(request.POST or None, initial={"supplier": request.GET.get("supplier", "")[:18]})
    work = lambda: actions.draft_order(by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="A draft. Add what is wanted, then send it.")
    return answer or render(request, "inventory_buying/order_new.html", {"form": form}, status=status_of(form))


@page("buying.edit", "GET", "POST")
def order_part(request: HttpRequest, pk: int) -> HttpResponse:
    """Some of a part onto the draft of one of its suppliers."""
    part = catalogue.part(pk)
    if part is None:
        raise Http404
    offers = list(queries.offers(part_id=pk).order_by("-preferred", "id")[:SHOWN])
    form = forms.PartOrderForm(
        request.POST or None, offers=offers, initial={"label": request.GET.get("label", "")[:120]}
    )

    def work() -> OrderLine:
        given = form.values()
        supplier = next(o.supplier_id for o in offers if o.pk == given["offer_id"])
        return actions.add_to_order(by=by(request), supplier_id=supplier, part_id=pk, **given)

    answer = submit(request, form, work, to=_to, done="On the draft. Send it when all is on it.")
    context = {"form": form, "part": part, "offers": offers}
    return answer or render(request, "inventory_buying/order_part.html", context, status=status_of(form))


@page("buying.read")
def order(request: HttpRequest, pk: int) -> HttpResponse:
    return show(request, _order(pk))


def show(request: HttpRequest, row: PurchaseOrder, **filled: Any) -> HttpResponse:
    """The page; a form that was refused stands where it was filled in."""
    lines = list(row.lines.all())
    for x in lines:
        x.order = row
    may = "buying.edit" in by(request).rights
    context: dict[str, Any] = {
        "order": row, "lines": lines, "state": states.state_of(row, lines), "today": clock.today(),
        "late": states.days_overdue(lines, clock.today()) if row.sent_at and not row.closed_at else 0,
        "rows": [{"line": x, "net": printing.net(x, row.currency)} for x in lines],
        "receipts": receipts.of_order(request, row),
        "three_way": bills.of_order(request, row), "total": printing.total(lines, row.currency), "history": [entry(t) for t in queries.history(row)[:50]],
        "may_edit": may and not row.sent_at, "may_follow": may and bool(row.sent_at) and not row.closed_at,
    }  # fmt: skip
    version = {"version": row.version}
    if context["may_edit"]:
        how = "mail" if row.supplier.email else "phone"
        context |= {
            "add_form": forms.NewLineForm(prefix="add"), "send_form": forms.SendForm(initial=version | {"how": how}),
            "edit_form": forms.OrderEditForm(initial=_whole(row), prefix="whole"),
        }  # fmt: skip
    context |= filled
    status = max((status_of(f) for f in filled.values() if isinstance(f, django_forms.Form)), default=200)
    return render(request, "inventory_buying/order.html", context, status=status)


def _whole(row: PurchaseOrder) -> dict[str, Any]:
    return {"site": row.site_id, "wanted_on": row.wanted_on, "note": row.note, "version": row.version}


@page("buying.edit", "GET", "POST")
def edit_order(request: HttpRequest, pk: int) -> HttpResponse:
    row = _order(pk)
    if request.method != "POST":
        return redirect(_at(pk))
    form = forms.OrderEditForm(request.POST, prefix="whole")
    work = lambda: actions.edit_order(pk, form.cleaned_data["version"], by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Order saved.")
    if answer is None and stale(form):
        set_beside(form, _whole(_order(pk)))
    return answer or show(request, row, edit_form=form)


@page("buying.edit", "GET", "POST")
def add_line(request: HttpRequest, pk: int) -> HttpResponse:
    row = _order(pk)
    if request.method != "POST":
        return redirect(_at(pk))
    form = forms.NewLineForm(request.POST, prefix="add")
    work = lambda: actions.add_order_line(pk, None, by=by(request), **form.values())  # noqa: E731
    answer = submit(request, form, work, to=_to, done="Line added.")
    return answer or show(request, row, add_form=form)


@page("buying.edit", "GET", "POST")
def edit_line(request: HttpRequest, pk: int) -> HttpResponse:
    row = _line(pk)
    form = forms.LineForm(request.POST or None, row=row, initial=_stored_line(row))

    def work() -> OrderLine:
        return actions.edit_order_line(pk, form.cleaned_data["version"], by=by(request), **form.values())

    answer = submit(request, form, work, to=_to, done="Line saved.")
    if answer is None and stale(form):
        set_beside(form, _stored_line(_line(pk)))
    context = {"form": form, "line": row, "order": row.order}
    return answer or render(request, "inventory_buying/order_line.html", context, status=status_of(form))


def _stored_line(row: OrderLine) -> dict[str, Any]:
    return {n: trimmed(getattr(row, n)) for n in forms.LineForm.base_fields}


@page("buying.edit", "POST")
def remove_line(request: HttpRequest, pk: int) -> HttpResponse:
    back = _to(_line(pk))
    work = partial(actions.remove_order_line, pk, None, by=by(request))
    return press(request, work, to=back, back=back, done="Taken off.")


@page("buying.edit", "POST")
def discard_order(request: HttpRequest, pk: int) -> HttpResponse:
    work = partial(actions.discard_order, pk, None, by=by(request))
    return press(request, work, to=reverse("buying:orders"), back=_at(pk), done="Draft thrown away.")


@page("buying.edit", "GET", "POST")
def send_order(request: HttpRequest, pk: int) -> HttpResponse:
    row = _order(pk)
    if request.method != "POST":
        return redirect(_at(pk))
    form = forms.SendForm(request.POST)
    work = lambda: actions.send_order(  # noqa: E731
        pk, form.cleaned_data["version"], by=by(request), how=form.cleaned_data["how"]
    )
    answer = submit(request, form, work, to=_to, done="Sent. It stays as it is from now on.")
    return answer or show(request, row, send_form=form)


def _follow(request: HttpRequest, pk: int, form: Any, work: Any, done: str, heading: str, what: str) -> HttpResponse:
    """A small page of its own for what is done to an order that was sent."""
    row = _order(pk)
    answer = submit(request, form, work, to=_to, done=done)
    if answer is None and stale(form):
        set_beside(form, {"version": _order(pk).version})
    context = {"form": form, "order": row, "heading": heading, "what": what}
    return answer or render(request, "inventory_buying/order_follow.html", context, status=status_of(form))


@page("buying.edit", "GET", "POST")
def confirm_order(request: HttpRequest, pk: int) -> HttpResponse:
    row = _order(pk)
    lines = [x for x in row.lines.all() if x.open]
    initial = {"version": row.version, "confirmation_no": row.confirmation_no}
    form = forms.ConfirmForm(request.POST or None, lines=lines, initial=initial)
    work = lambda: actions.confirm_order(  # noqa: E731
        pk, form.cleaned_data["version"], by=by(request), **form.values()
    )
    return _follow(request, pk, form, work, "Noted when it will come.", "What the supplier confirmed", "Note it")


@page("buying.edit", "GET", "POST")
def chase_order(request: HttpRequest, pk: int) -> HttpResponse:
    form = forms.ChaseForm(request.POST or None, initial={"version": _order(pk).version})

    def work() -> PurchaseOrder:
        given = form.cleaned_data
        return actions.chase_order(pk, given["version"], by=by(request), how=given["how"], note=given["note"])

    return _follow(request, pk, form, work, "Asked where it stays.", "Ask where it stays", "Ask")


@page("buying.edit", "GET", "POST")
def close_order(request: HttpRequest, pk: int) -> HttpResponse:
    form = forms.CloseForm(request.POST or None, initial={"version": _order(pk).version})
    work = lambda: actions.close_order(  # noqa: E731
        pk, form.cleaned_data["version"], by=by(request), reason=form.cleaned_data["reason"]
    )
    return _follow(request, pk, form, work, "Closed.", "Await nothing more of this order", "Close it")


@page("buying.edit", "GET", "POST")
def close_line(request: HttpRequest, pk: int) -> HttpResponse:
    row = _line(pk)
    form = forms.CloseForm(request.POST or None, initial={"version": row.order.version})
    work = lambda: actions.close_order_line(  # noqa: E731
        pk, form.cleaned_data["version"], by=by(request), reason=form.cleaned_data["reason"]
    )
    heading = f"Await no more of {row.part.number} {row.name}"
    return _follow(request, row.order_id, form, work, "Closed.", heading, "Close the line")


@page("buying.read")
def pdf(request: HttpRequest, pk: int) -> HttpResponse:
    row = _order(pk)
    return pdf_answer(printing.pdf(row), printing.file_name(row))
