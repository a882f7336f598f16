"""Reads of what credit notes take off an invoice, less what debit notes charge again of it."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from shop.kernel.totals import Vat

from .models import Invoice

ZERO = Decimal(0)


def _signed(invoice: Invoice) -> Iterator[tuple[int, Invoice]]:
    """(1, issued credit note) and (-1, debit note that charges it again)."""
    for note in invoice.credit_notes.filter(issued_at__isnull=False).select_related("countered_by").order_by("id"):
        yield 1, note
        if hasattr(note, "countered_by"):
            yield -1, note.countered_by


def credited(invoice: Invoice) -> Decimal:
    """What of an invoice is credited, with VAT and rounding."""
    return sum((sign * (x.total_gross + x.rounding) for sign, x in _signed(invoice)), ZERO)


def bases(invoice: Invoice) -> dict[Vat, Decimal]:
    """The same without VAT, by rate."""
    found: dict[Vat, Decimal] = {}
    for sign, x in _signed(invoice):
        for g in x.tax_groups:
            vat = Vat(g["category"], Decimal(g["percent"]))
            found[vat] = found.get(vat, ZERO) + sign * Decimal(g["base"])
    return found


def early(invoice: Invoice) -> Invoice | None:
    """The credit note that gives its discount for early payment, unless that was charged again."""
    notes = invoice.credit_notes.filter(issued_at__isnull=False, early_percent__gt=0, countered_by__isnull=True)
    return notes.order_by("id").first()
