"""Nets, totals and rounding of an invoice, written onto its rows: `jobs.estimates.figures.reckon`, and what deposits do to it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from jobs.estimates import figures

from . import deposits
from .models import Invoice, InvoiceLine

TOTALS = (*figures.TOTALS, "rounding")


def reckon(invoice: Invoice, lines: Sequence[InvoiceLine], reasons: dict[str, str]) -> None:
    """Set `net` of each line, totals and rounding of a draft; nothing is saved. Raises BadInput."""
    charged = [x for x in lines if x.deducts_id is None]
    taken = [x for x in lines if x.deducts_id is not None]
    if not taken:
        figures.reckon(invoice, lines, reasons)
        invoice.rounding = Decimal(0)
        return
    figures.reckon(invoice, charged, reasons)  # first a percentage for sundries, which its discount is taken of, too
    given = deposits.allowances(charged, invoice.discount_percent, invoice.currency)
    figures.reckon(invoice, lines, reasons, given)
    invoice.rounding = rounding(invoice, lines)


def rounding(invoice: Invoice, lines: Sequence[InvoiceLine]) -> Decimal:
    """What BT-114 of an invoice with these lines is."""
    charged = [x for x in lines if x.deducts_id is None]
    taken = [(-x.net, Decimal(x.basis["tax"])) for x in lines if x.deducts_id is not None]
    if not taken:
        return Decimal(0)
    return deposits.rounding(charged, taken, invoice.discount_percent, invoice.currency, invoice.total_gross)
