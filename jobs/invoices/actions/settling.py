"""Keeping `settled_at` and a customer's standing credit beside the allocations."""

from __future__ import annotations

from shop.kernel import clock

from .. import queries
from ..models import Invoice, StandingCredit


def settle(invoice: Invoice) -> None:
    """Note whether anything is still owed, after an allocation was written. The invoice is locked by the caller."""
    fresh = Invoice.objects.get(pk=invoice.pk)
    done = queries.outstanding(fresh) <= 0
    if done != (fresh.settled_at is not None):
        Invoice.objects.filter(pk=invoice.pk).update(settled_at=clock.now() if done else None)


def keep_credit(customer_id: int) -> None:
    """Note what stands to a customer's credit, after payments, credit notes or allocations were written. The customer is
    locked by the caller."""
    amount = queries.free_credit(customer_id)
    if amount:
        StandingCredit.objects.update_or_create(customer_id=customer_id, defaults={"amount": amount})
    else:
        StandingCredit.objects.filter(customer=customer_id).delete()
