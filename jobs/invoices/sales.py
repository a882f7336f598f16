"""What issued documents sold, before tax: the rule that the journal posts sales by, for whoever adds documents up.

A deposit is no sale, nor is what credits it: the final invoice that takes it off turns it into one. So deposit invoices and
their credit notes count nothing, and what a final invoice took off for deposits counts again; a credit note's less.
"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from django.db.models import Q, QuerySet

from .models import Invoice, InvoiceLine

DEPOSIT = Invoice.Kind.DEPOSIT


def of_deposit(invoice: Invoice) -> bool:
    """Whether it is a deposit invoice or credits one."""
    return (invoice.credits or invoice).kind == DEPOSIT


def selling(documents: QuerySet[Invoice]) -> QuerySet[Invoice]:
    """Those of them that charge or credit what was sold."""
    return documents.exclude(Q(kind=DEPOSIT) | Q(credits__isnull=False, credits__kind=DEPOSIT))


def lines(documents: QuerySet[Invoice]) -> QuerySet[InvoiceLine]:
    """Lines of these documents that say what was sold; `sign(invoice__kind)` is theirs."""
    return InvoiceLine.objects.filter(invoice__in=selling(documents), deducts__isnull=True)


def sign(kind: str) -> int:
    """-1 for a credit note, whose amounts are above zero."""
    return -1 if kind == Invoice.Kind.CREDIT else 1


def by_card(documents: QuerySet[Invoice]) -> dict[int, Decimal]:
    """What these documents sold, by card."""
    sold = selling(documents).filter(card__isnull=False).order_by()
    found: dict[int, Decimal] = defaultdict(Decimal)
    for card, kind, net in sold.values_list("card", "kind", "total_net"):
        found[card or 0] += sign(kind) * net
    taken = InvoiceLine.objects.filter(invoice__in=sold, deducts__isnull=False).order_by()
    for card, kind, net in taken.values_list("invoice__card", "invoice__kind", "net"):
        found[card or 0] -= sign(kind) * net
    return dict(found)
