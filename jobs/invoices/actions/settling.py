"""Keeping `settled_at` beside the allocations."""

from __future__ import annotations

from shop.kernel import clock

from .. import queries
from ..models import Invoice


def settle(invoice: Invoice) -> None:
    """Note whether anything is still owed, after an allocation was written. The invoice is locked by the caller."""
    fresh = Invoice.objects.get(pk=invoice.pk)
    done = queries.outstanding(fresh) <= 0
    if done != (fresh.settled_at is not None):
        Invoice.objects.filter(pk=invoice.pk).update(settled_at=clock.now() if done else None)
