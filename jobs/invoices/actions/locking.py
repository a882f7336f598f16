"""The locks of this room, in one order: the customer, the payment, invoices by id; then, in other rooms, the card.

The customer's row stands for what is not allocated yet; the invoice's for what is still owed on it."""

from __future__ import annotations

from collections.abc import Collection

from jobs.machines.models import Customer
from shop.kernel.errors import NotFound, Refused
from shop.kernel.versions import refuse_stale

from ..models import Invoice, Payment


def lock_account(customer_id: int, invoice_ids: Collection[int] = ()) -> dict[int, Invoice]:
    """Lock a customer and these invoices of theirs. Raises NotFound."""
    if not Customer.objects.select_for_update(of=("self",), no_key=True).filter(pk=customer_id).exists():
        raise NotFound("There is no such customer.")
    rows = Invoice.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=set(invoice_ids))
    return {row.pk: row for row in rows.order_by("pk")}


def lock_payment(payment_id: int) -> Payment:
    """The payment, with its customer locked before it. Raises NotFound."""
    owner = Payment.objects.filter(pk=payment_id).values_list("customer_id", flat=True).first()
    if owner is None:
        raise NotFound("There is no such payment.")
    lock_account(owner)
    return Payment.objects.select_for_update(of=("self",), no_key=True).get(pk=payment_id)


def lock_issued(invoice_id: int) -> Invoice:
    """An issued invoice, with its customer locked before it. Raises NotFound, Refused for a draft."""
    owner = Invoice.objects.filter(pk=invoice_id).values_list("customer_id", flat=True).first()
    if owner is None:
        raise NotFound("There is no such invoice.")
    invoice = lock_account(owner, [invoice_id])[invoice_id]
    if invoice.issued_at is None:
        raise Refused("This is a draft: change or discard it instead.", code="not-issued")
    return invoice


def lock_draft(invoice_id: int, expect: int | None) -> Invoice:
    """Raises NotFound, Stale, Refused when it was issued."""
    row = Invoice.objects.select_for_update(of=("self",)).filter(pk=invoice_id).first()
    if row is None:
        raise NotFound("There is no such invoice.")
    if row.issued_at:
        raise Refused(
            f"{row.get_kind_display()} {row.number} is issued and stays as it is. Correct it with a credit note.",
            code="issued",
        )
    refuse_stale(row, expect)
    return row
