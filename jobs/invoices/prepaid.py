"""Reads of deposit invoices: what of each is left to take off."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from decimal import Decimal

from django.db.models import QuerySet

from shop.kernel.rounding import EXACT, round_money, round_to
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
    """What of these deposit invoices is neither taken off nor credited, by rate; together what is left of each with VAT. Where
    only cents of VAT are, since it was rounded on each deposit, they are a share without a net. In a fixed number of queries."""
    listed = list(rows)
    taken = taken_off([row.pk for row in listed])
    credited: dict[int, dict[Vat, tuple[Decimal, Decimal]]] = {row.pk: {} for row in listed}
    whole = {row.pk: row.payable - _gross(taken[row.pk]) for row in listed}
    for note in Invoice.objects.filter(credits__in=listed, issued_at__isnull=False):
        whole[note.credits_id or 0] -= note.payable
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
        its = []
        for g in row.tax_groups:
            vat = Vat(g["category"], Decimal(g["percent"]))
            gone = [taken[row.pk].get(vat, (ZERO, ZERO)), credited[row.pk].get(vat, (ZERO, ZERO))]
            net = Decimal(g["base"]) - sum((n for n, _ in gone), ZERO)
            tax = max(ZERO, Decimal(g["tax"]) - sum((t for _, t in gone), ZERO))
            if row.issued_on:
                its.append(Share(row.pk, row.number, row.issued_on, vat, codes[row.pk, vat], net, tax))
        found += _to_the_cent([x for x in its if x.net > 0] or its[:1], round_money(whole[row.pk], row.currency))
    return found


def _to_the_cent(its: list[Share], whole: Decimal) -> list[Share]:
    """Shares of one deposit whose nets and VAT are no more than what is left of it; without a net, all VAT that is left."""
    if its and its[0].net <= 0:
        return [replace(its[0], net=ZERO, tax=whole)] if whole > 0 else []
    over = sum((x.net + x.tax for x in its), ZERO) - whole
    for n, share in enumerate(its):
        less = min(share.tax, max(over, ZERO))
        its[n] = replace(share, tax=share.tax - less)
        over -= less
    return its


def _gross(rates: dict[Vat, tuple[Decimal, Decimal]]) -> Decimal:
    return sum((net + tax for net, tax in rates.values()), ZERO)


def left_for(invoice: Invoice) -> list[Share]:
    """What an invoice could take off: deposits of its card; of its customer when it is for no card."""
    rows = deposits(card_id=invoice.card_id, customer_id=invoice.customer_id)
    return [x for x in left(rows) if x.net > 0]


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
    return _gross(taken_off([deposit.pk])[deposit.pk])


def users(deposit: Invoice) -> QuerySet[Invoice]:
    """Issued invoices that take this deposit off, oldest first."""
    lines = InvoiceLine.objects.filter(deducts=deposit, invoice__kind=Invoice.Kind.INVOICE)
    return Invoice.objects.filter(pk__in=lines.values("invoice"), issued_at__isnull=False).order_by("id")
