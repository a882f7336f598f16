"""Nets, totals and rounding of an invoice, written onto its rows: `jobs.estimates.figures.reckon`, and what deposits do to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

from jobs.estimates import figures
from jobs.estimates.models import EstimateLine

from . import deposits
from .models import Invoice, InvoiceLine

TOTALS = (*figures.TOTALS, "rounding")


def reckon(invoice: Invoice, lines: Sequence[InvoiceLine], reasons: dict[str, str]) -> None:
    """Set `net` of each line, totals and rounding of a draft; nothing is saved. Raises BadInput."""
    charged = [x for x in lines if x.deducts_id is None]
    taken = [x for x in lines if x.deducts_id is not None]
    base_of = _base_of(invoice, charged)
    if not taken:
        figures.reckon(invoice, lines, reasons, base_of=base_of)
        invoice.rounding = Decimal(0)
        return
    # first a percentage for sundries, which its discount is taken of, too
    figures.reckon(invoice, charged, reasons, base_of=base_of)
    given = deposits.allowances(charged, invoice.discount_percent, invoice.currency)
    figures.reckon(invoice, lines, reasons, given, base_of)
    invoice.rounding = rounding(invoice, lines)


def _base_of(invoice: Invoice, lines: Sequence[InvoiceLine]) -> Callable[[InvoiceLine], list[InvoiceLine]] | None:
    """For each percentage for sundries the lines that it is of: those of its own estimate, since it was agreed on them, in
    whichever revision. Lines of no estimate go to the first percentage."""
    percents = [x for x in lines if x.basis.get("price") == "percent"]
    if not percents or invoice.card_id is None:
        return None
    numbers = dict(EstimateLine.objects.filter(estimate__card=invoice.card_id).values_list("pk", "estimate__number"))
    first = numbers.get(percents[0].estimate_line_id or 0)

    def of(line: InvoiceLine) -> str | None:
        return numbers.get(line.estimate_line_id or 0, first)

    return lambda percent: [x for x in lines if of(x) == of(percent)]


def rounding(invoice: Invoice, lines: Sequence[InvoiceLine]) -> Decimal:
    """What BT-114 of an invoice with these lines is."""
    charged = [x for x in lines if x.deducts_id is None]
    taken = [(-x.net, Decimal(x.basis["tax"])) for x in lines if x.deducts_id is not None]
    if not taken:
        return Decimal(0)
    return deposits.rounding(charged, taken, invoice.discount_percent, invoice.currency, invoice.total_gross)
