"""Staff pages of a customer's account: payments, what they settle, and money that goes back."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext as _

from shop.business import queries as business
from shop.kernel import clock
from shop.people.pages.who import by
from shop.ui.formats import day, money
from shop.ui.lists import page_of
from shop.ui.pages import page, status_of, submit

from .. import actions, forms, queries
from ..models import OPEN, Invoice, Payment
from .common import account_url, customer_or_404, invoice_or_404, invoice_url, with_state


@page("invoices.read")
def account(request: HttpRequest, customer: int) -> HttpResponse:
    """What a customer owes and has paid."""
    who = customer_or_404(customer)
    found = page_of(request, queries.invoices(customer_id=customer), ("-id",), size=25)
    balance = queries.balance(customer)
    payments = [
        (p, queries.usable(queries.exact(p.left), balance.credit))  # type: ignore[attr-defined]
        for p in queries.payments(customer_id=customer).order_by("-id")[:50]
    ]
    context = {
        "customer": who, "balance": balance, "page": found, "rows": with_state(found.items), "payments": payments,
        "currency": business.profile().currency,
    }  # fmt: skip
    return render(request, "jobs_invoices/account.html", context)


@page("payments.record", "GET", "POST")
def pay(request: HttpRequest, customer: int) -> HttpResponse:
    """A payment, shared over the open invoices; ?invoice= fills in what that one still owes."""
    who = customer_or_404(customer)
    chosen = request.GET.get("invoice", "")
    rows = list(queries.invoices(customer_id=customer).filter(OPEN).order_by("due_on", "id")[:100])
    form = forms.PaymentForm(
        request.POST or None, invoices=rows, chosen=int(chosen) if chosen.isdecimal() and len(chosen) < 19 else None
    )

    def work() -> Any:
        return actions.record_payment(
            by=by(request), customer_id=customer, allocations=form.shares(), early=form.early(), **form.values()
        )

    one = next((r for r in rows if str(r.pk) == chosen), None)
    answer = submit(request, form, work, to=invoice_url(one.pk) if one else account_url(customer), done=_recorded)
    context = {
        "form": form, "customer": who, "currency": business.profile().currency,
        "cash_step": business.money_terms().cash_step,
    }  # fmt: skip
    return answer or render(request, "jobs_invoices/pay.html", context, status=status_of(form))


def _recorded(row: Payment) -> str:
    """What is left over is said, with what can be done with it."""
    left = queries.unused(row)
    if not left:
        return _("Payment recorded.")
    return _(
        "Payment recorded. %(left)s of it settles nothing and stands to the credit of %(name)s: set it against an open or "
        "later invoice, or pay it back, both under Account."
    ) % {"left": money(left, row.currency), "name": row.customer.name}


@page("payments.record", "GET", "POST")
def allocate(request: HttpRequest, pk: int) -> HttpResponse:
    """What is left of a payment, set against invoices."""
    row = queries.payment(pk)
    if row is None:
        raise Http404
    return _allocate(request, row, payment_id=pk)


@page("payments.record", "GET", "POST")
def allocate_credit(request: HttpRequest, pk: int) -> HttpResponse:
    """What is left of a credit note, set against invoices."""
    row = invoice_or_404(pk)
    if row.kind != Invoice.Kind.CREDIT or not row.issued_at:
        return HttpResponseRedirect(invoice_url(pk))
    return _allocate(request, row, credit_note_id=pk)


def _allocate(request: HttpRequest, source: Payment | Invoice, **named: int) -> HttpResponse:
    rows = list(queries.invoices(customer_id=source.customer_id).filter(OPEN).order_by("due_on", "id")[:100])
    free = queries.unused(source)
    form = forms.AllocateForm(request.POST or None, invoices=rows, free=free)
    answer = submit(
        request, form, lambda: actions.allocate(by=by(request), allocations=form.shares(), **named),
        to=account_url(source.customer_id), done=_("Set against the invoices."),
    )  # fmt: skip
    context = {"form": form, "customer": source.customer, "source": source, "free": free, "currency": source.currency}
    return answer or render(request, "jobs_invoices/allocate.html", context, status=status_of(form))


@page("payments.record", "GET", "POST")
def refund(request: HttpRequest, customer: int) -> HttpResponse:
    who = customer_or_404(customer)
    free = queries.free_credit(customer)
    initial = {"amount": forms.money(free) if free > 0 else None, "paid_on": clock.today()}
    form = forms.RefundForm(request.POST or None, initial=initial)
    answer = submit(
        request, form, lambda: actions.refund(by=by(request), customer_id=customer, **form.cleaned_data),
        to=account_url(customer), done=_("Paid back."),
    )  # fmt: skip
    context = {
        "form": form,
        "title": _("Pay %(name)s back") % {"name": who.name},
        "go": _("Record it"),
        "back": account_url(customer),
    }
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))


def _said(row: Payment) -> str:
    """Which payment it is."""
    when = _("paid back on %(day)s") if row.amount < 0 else _("received on %(day)s")
    facts = [
        money(abs(row.amount), row.currency),
        when % {"day": day(row.received_on)},
        row.get_method_display(),
        row.reference,
    ]
    return f"{row.customer.name}: {', '.join(x for x in facts if x)}"


def _reversed(row: Payment) -> str:
    """Names the debit notes that were issued with it."""
    notes = Invoice.objects.filter(kind=Invoice.Kind.DEBIT, issued_at__gte=row.at, customer=row.customer_id).order_by(
        "id"
    )
    if not notes:
        return _("Reversed by a counter-entry.")
    return _("Reversed by a counter-entry. The discount for early payment is charged again: %(numbers)s.") % {
        "numbers": ", ".join(x.number for x in notes)
    }


@page("payments.record", "GET", "POST")
def reverse_payment(request: HttpRequest, pk: int) -> HttpResponse:
    row = queries.payment(pk)
    if row is None:
        raise Http404
    form = forms.ReverseForm(request.POST or None)
    back = account_url(row.customer_id)
    answer = submit(
        request, form, lambda: actions.reverse_payment(pk, by=by(request), **form.cleaned_data),
        to=back, done=_reversed,
    )  # fmt: skip
    context = {"form": form, "title": _("Reverse a payment"), "lead": _said(row), "go": _("Reverse it"), "back": back}
    return answer or render(request, "jobs_cards/ask.html", context, status=status_of(form))
