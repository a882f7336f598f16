"""The discount for paying early: a credit note over it, VAT and all, made with the payment; and the debit note that charges
it again when the payment is reversed (the taxable amount rises again, so it takes a document with a number)."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from jobs.estimates.figures import TOTALS, reckon
from shop.documents.formatting import Formatter
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput, Refused
from shop.kernel.money import Money
from shop.kernel.totals import Vat
from shop.kernel.versions import save_next
from shop.numbering.actions import number
from shop.people.models import Person
from shop.trail.record import announce, record

from .. import gathering, queries, standing, terms
from ..models import Allocation, Invoice, InvoiceLine
from .settling import settle

ZERO = Decimal(0)
REASON = {
    "en": "{percent} % discount for early payment of {number}",
    "de": "{percent} % Skonto auf {number}",
}
AGAIN = {
    "en": "{percent} % discount for early payment of {number} charged again: its payment was reversed",
    "de": "{percent} % Skonto auf {number} nachberechnet: die Zahlung wurde storniert",
}


def check_early(invoice: Invoice, share: Decimal, received_on: date) -> Decimal:
    """The discount that a payment of `share` on this day earns. The invoice is locked by the caller.

    Raises Refused when it offers none, the day is past or something was credited; BadInput when `share` isn't what is then owed.
    """
    if not invoice.early_percent or invoice.early_until is None:
        raise Refused(f"{invoice.number} offers no discount for early payment.", code="no-early-discount")
    if received_on > invoice.early_until:
        raise Refused(
            f"The discount of {invoice.number} was for payment by {invoice.early_until:%-d %B %Y}; this came on "
            f"{received_on:%-d %B %Y}. Record it without the discount; the rest stays owed.",
            code="too-late-for-discount",
        )
    if standing.credited(invoice):
        raise Refused(
            f"{invoice.number} was credited in part, so its discount is not what it states. Credit the discount by hand.",
            code="credited-already",
        )
    discount = terms.early_discount(invoice.total_gross + invoice.rounding, invoice.early_percent, invoice.currency)
    wanted = queries.outstanding(invoice) - discount
    if share != wanted:
        raise BadInput(
            f"With {plain(invoice.early_percent.normalize())} % off, {Money(wanted, invoice.currency)} of {invoice.number} is to "
            f"pay, not {Money(share, invoice.currency)}.",
            code="not-the-discounted-amount",
            fields={"allocations": [f"{invoice.number}: {Money(wanted, invoice.currency)}"]},
            invoice_id=invoice.pk,
            wanted=str(wanted),
        )
    return discount


def credit_early(invoice: Invoice, discount: Decimal, *, by: Person) -> Invoice:
    """The credit note over the discount, by VAT rate; it settles what is left of the invoice."""
    percent = invoice.early_percent
    write = Formatter(invoice.language, invoice.currency)
    reason = REASON.get(invoice.language, REASON["en"]).format(percent=write.percent(percent), number=invoice.number)
    note = Invoice.objects.create(
        kind=Invoice.Kind.CREDIT, card_id=invoice.card_id, customer_id=invoice.customer_id, credits=invoice, reason=reason,
        currency=invoice.currency, language=invoice.language, created_at=clock.now(), created_by=by, early_percent=percent,
    )  # fmt: skip
    codes = {Vat(x.tax_category, x.tax_percent): x.tax_code for x in invoice.lines.order_by("-position")}
    nets = terms.early_nets(invoice.tax_groups, percent, invoice.currency)
    if not nets:  # a cent that no rate alone comes to: it stands at the one that charges most
        largest = max(invoice.tax_groups, key=lambda g: Decimal(g["base"]))
        nets = {Vat(largest["category"], Decimal(largest["percent"])): discount}
    lines = [
        gathering.lump(
            note, n, reason, net, codes[vat], vat, {"quantity": "lump", "price": "credited", "credits": invoice.number}
        )
        for n, (vat, net) in enumerate(nets.items(), start=1)
    ]
    why = {g["category"]: g["reason"] for g in invoice.tax_groups}
    reckon(note, lines, {x.tax_code: why.get(x.tax_category, "") for x in lines})
    InvoiceLine.objects.bulk_create(lines)
    today = clock.today()
    save_next(
        note,
        number=number("CRN", "credit-note", today.year), issued_at=clock.now(), issued_on=today, issued_by=by,
        supplied_on=invoice.supplied_on, seller=invoice.seller | {"contact": by.name}, buyer=invoice.buyer,
        subject=invoice.subject, rounding=discount - note.total_gross, **{name: getattr(note, name) for name in TOTALS},
    )  # fmt: skip
    Allocation.objects.create(invoice=invoice, credit_note=note, amount=discount, at=note.issued_at)
    settle(invoice)
    record(
        by, "invoice.early-discount", note, root=invoice.card, number=note.number, credits=invoice.number,
        gross=str(discount),
    )  # fmt: skip
    announce("invoice.issued", invoice=note.pk)
    return note


def charge_again(invoice: Invoice, *, by: Person) -> Invoice | None:
    """The debit note over a discount whose payment was reversed, settled by the credit note that gave it: the invoice is owed
    whole again. What of the discount went with goods credited since stays given. None when nothing is left to charge. The
    invoice is locked by the caller."""
    given = standing.early(invoice)
    if given is None:
        return None
    percent, had = given.early_percent, given.total_gross + given.rounding
    since = standing.credited(invoice) - had
    if since >= invoice.total_gross + invoice.rounding - had:
        return None  # all of it was credited
    credited = standing.bases(invoice)
    for g in given.tax_groups:
        credited[Vat(g["category"], Decimal(g["percent"]))] -= Decimal(g["base"])
    nets = terms.early_left(given.tax_groups, credited, percent, invoice.currency)
    if not nets:
        return None
    write = Formatter(invoice.language, invoice.currency)
    reason = AGAIN.get(invoice.language, AGAIN["en"]).format(percent=write.percent(percent), number=invoice.number)
    note = Invoice.objects.create(
        kind=Invoice.Kind.DEBIT, card_id=invoice.card_id, customer_id=invoice.customer_id, counters=given, reason=reason,
        currency=invoice.currency, language=invoice.language, created_at=clock.now(), created_by=by,
    )  # fmt: skip
    codes = {Vat(x.tax_category, x.tax_percent): x.tax_code for x in given.lines.all()}
    lines = [
        gathering.lump(
            note, n, reason, net, codes[vat], vat, {"quantity": "lump", "price": "credited", "credits": given.number}
        )
        for n, (vat, net) in enumerate(nets.items(), start=1)
    ]
    why = {g["category"]: g["reason"] for g in given.tax_groups}
    reckon(note, lines, {x.tax_code: why.get(x.tax_category, "") for x in lines})
    InvoiceLine.objects.bulk_create(lines)
    due = min(had, note.total_gross) if since else had
    today = clock.today()
    save_next(
        note,
        number=number("DBN", "debit-note", today.year), issued_at=clock.now(), issued_on=today, issued_by=by,
        supplied_on=invoice.supplied_on, seller=invoice.seller | {"contact": by.name}, buyer=invoice.buyer,
        subject=invoice.subject, rounding=due - note.total_gross, settled_at=clock.now(),
        **{name: getattr(note, name) for name in TOTALS},
    )  # fmt: skip
    for to, amount in ((invoice, -due), (note, due)):
        Allocation.objects.create(invoice=to, credit_note=given, amount=amount, at=note.issued_at)
    settle(invoice)
    record(
        by, "invoice.discount-charged-again", note, root=invoice.card, number=note.number, counters=given.number,
        credits=invoice.number, gross=str(due),
    )  # fmt: skip
    announce("invoice.issued", invoice=note.pk)
    return note
