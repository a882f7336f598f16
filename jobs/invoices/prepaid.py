"""Reads of deposit invoices: what of each is left to take off."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal

from django.db.models import QuerySet

from shop.kernel.rounding import EXACT, round_to
from shop.kernel.totals import Vat

from .deposits import Share
from .models import Invoice, InvoiceLine

ZERO = Decimal(0)


def deposits(*, card_id: int | None = None, customer_id: int | None = None) -> QuerySet[Invoice]:
    """Issued deposit invoices of a card; of a customer those without a card. Oldest first."""
    rows = Invoice.objects.filter(kind=Invoice.Kind.DEPOSIT, issued_at__isnull=False).order_by("id")
    return rows.filter(card=card_id) if card_id else rows.filter(customer=customer_id, card__isnull=True)


def asked(card_id: int) -> dict[str, Decimal]:
    """Net of each issued deposit invoice of a card less its credit notes, by number; those that were credited whole aside."""
    rows = {x.pk: x for x in deposits(card_id=card_id)}
    nets = {pk: x.total_net for pk, x in rows.items()}
    for note in Invoice.objects.filter(credits__in=list(rows), issued_at__isnull=False):
        nets[note.credits_id or 0] -= note.total_net
    return {rows[pk].number: net for pk, net in nets.items() if net > 0}


def taken_off(deposit_ids: Collection[int]) -> dict[int, dict[Vat, tuple[Decimal, Decimal]]]:
    """(net, tax) that issued invoices took off for each deposit, by VAT rate, less what credit notes of them gave back."""
    found: dict[int, dict[Vat, tuple[Decimal, Decimal]]] = {pk: {} for pk in deposit_ids}
    rows = InvoiceLine.objects.filter(deducts__in=list(deposit_ids), invoice__issued_at__isnull=False)
    for row in rows.select_related("invoice"):
        sign = -1 if row.invoice.kind == Invoice.Kind.CREDIT else 1
        vat = Vat(row.tax_category, row.tax_percent)
        net, tax = found[row.deducts_id or 0].get(vat, (ZERO, ZERO))
        found[row.deducts_id or 0][vat] = (net - sign * row.net, tax + sign * Decimal(row.basis["tax"]))
    return found


def left(rows: Iterable[Invoice]) -> list[Share]:
    """What of these deposit invoices is neither taken off nor credited, by rate. In a fixed number of queries."""
    listed = list(rows)
    taken = taken_off([row.pk for row in listed])
    credited: dict[int, dict[Vat, tuple[Decimal, Decimal]]] = {row.pk: {} for row in listed}
    for note in Invoice.objects.filter(credits__in=listed, issued_at__isnull=False):
        for g in note.tax_groups:
            vat, mine = Vat(g["category"], Decimal(g["percent"])), credited[note.credits_id or 0]
            net, tax = mine.get(vat, (ZERO, ZERO))
            mine[vat] = (net + Decimal(g["base"]), tax + Decimal(g["tax"]))
    codes = {
        (x.invoice_id, Vat(x.tax_category, x.tax_percent)): x.tax_code
        for x in InvoiceLine.objects.filter(invoice__in=listed).order_by("-position")
    }
    found = []
    for row in listed:
        for g in row.tax_groups:
            vat = Vat(g["category"], Decimal(g["percent"]))
            gone = [taken[row.pk].get(vat, (ZERO, ZERO)), credited[row.pk].get(vat, (ZERO, ZERO))]
            net = Decimal(g["base"]) - sum((n for n, _ in gone), ZERO)
            tax = max(ZERO, Decimal(g["tax"]) - sum((t for _, t in gone), ZERO))
            if net > 0 and row.issued_on:
                found.append(Share(row.pk, row.number, row.issued_on, vat, codes[row.pk, vat], net, tax))
    return found


def left_for(invoice: Invoice) -> list[Share]:
    """What an invoice could take off: deposits of its card; of its customer when it is for no card."""
    return left(deposits(card_id=invoice.card_id, customer_id=invoice.customer_id))


def taken_by_line(deposit: Invoice) -> dict[int, tuple[Decimal, Decimal]]:
    """(quantity, net) of each line of a deposit invoice that is taken off elsewhere: the first lines of a rate first."""
    gone = {vat: net for vat, (net, _) in taken_off([deposit.pk])[deposit.pk].items()}
    found: dict[int, tuple[Decimal, Decimal]] = {}
    for line in deposit.lines.all():
        vat = Vat(line.tax_category, line.tax_percent)
        net = min(gone.get(vat, ZERO), line.net)
        if net > 0:
            gone[vat] -= net
            share = line.quantity if net == line.net else EXACT.divide(EXACT.multiply(line.quantity, net), line.net)
            found[line.pk] = (round_to(share, 6), net)
    return found


def taken_gross(deposit: Invoice) -> Decimal:
    """What was taken off for a deposit, with its VAT."""
    return sum((net + tax for net, tax in taken_off([deposit.pk])[deposit.pk].values()), ZERO)


def users(deposit: Invoice) -> QuerySet[Invoice]:
    """Issued invoices that take this deposit off, oldest first."""
    lines = InvoiceLine.objects.filter(deducts=deposit, invoice__kind=Invoice.Kind.INVOICE)
    return Invoice.objects.filter(pk__in=lines.values("invoice"), issued_at__isnull=False).order_by("id")
