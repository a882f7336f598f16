"""What the pages of this room share."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from django.urls import reverse

from jobs.machines.models import Customer

from .. import queries
from ..models import Invoice


def invoice_or_404(pk: int) -> Invoice:
    row = queries.invoice(pk)
    if row is None:
        raise Http404
    return row


def customer_or_404(pk: int) -> Customer:
    row = Customer.objects.filter(pk=pk).first()
    if row is None:
        raise Http404
    return row


def invoice_url(pk: int) -> str:
    return reverse("invoices:invoice", args=[pk])


def account_url(customer_id: int) -> str:
    return reverse("invoices:account", args=[customer_id])


def to_invoice(row: Any) -> str:
    return invoice_url(row.pk)


def with_state(rows: Any) -> list[tuple[Any, str, str, Any]]:
    """(invoice, word, mark, outstanding) for a table."""
    return [(r, *queries.STATES[queries.state_of(r)], queries.outstanding(r)) for r in rows]
