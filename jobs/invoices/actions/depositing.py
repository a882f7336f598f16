"""Deposit invoices, and taking them off the invoice that follows."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from jobs.cards.actions import lock_card
from jobs.cards.models import JobCard
from jobs.estimates import parties
from jobs.estimates import queries as estimates
from jobs.estimates.gathering import Prices, reasons
from jobs.estimates.pricing import takes_discount
from jobs.machines.models import Customer
from shop.documents.formatting import Formatter
from shop.kernel import clock
from shop.kernel.decimals import as_decimal, decimals_of, plain
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.money import Money, limit
from shop.kernel.text import clean_line
from shop.kernel.totals import Vat
from shop.kernel.versions import save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import deposits, gathering, prepaid
from ..deposits import Share
from ..figures import TOTALS, reckon
from ..models import Invoice, InvoiceLine
from .locking import lock_draft

ZERO = Decimal(0)


@writes
def draft_deposit(
    *,
    by: Person,
    card_id: int | None = None,
    customer_id: int | None = None,
    percent: Decimal | None = None,
    amount: Decimal | None = None,
    text: str = "",
) -> Invoice:
    """A draft that asks for money before the work is billed: a deposit or a stage payment.

    For a card either `percent` of what is agreed or `amount`, net, shared over its VAT rates; for a customer without a card
    an amount at the default rate. `text`: what stands on it. Raises NotFound, BadInput, Refused (a draft is there already).
    """
    if (card_id is None) == (customer_id is None):
        raise field_error("card_id", "Give either a card or a customer.", code="card-or-customer")
    if (percent is None) == (amount is None):
        raise field_error(
            "amount", "Give either a percentage of what is agreed or an amount.", code="percent-or-amount"
        )
    card = lock_card(card_id) if card_id is not None else None
    customer = card.customer if card else Customer.objects.filter(pk=customer_id, archived_at__isnull=True).first()
    if customer is None:
        raise NotFound("There is no such customer.")
    other = (
        Invoice.objects.filter(card=card, kind=Invoice.Kind.DEPOSIT, issued_at__isnull=True).first() if card else None
    )
    if other:
        raise Refused("A draft of a deposit is there already. Go on with it, or discard it first.", code="draft-open",
                      invoice_id=other.pk)  # fmt: skip
    prices = Prices(customer_class=customer.customer_class)
    currency = prices.profile.currency
    weights = agreed_by_code(card) if card else {}
    net, said = _wanted(percent, amount, sum(weights.values(), ZERO), currency)
    shares = deposits.by_rate(net, weights or {prices.tax().code: Decimal(1)}, currency)
    invoice = Invoice.objects.create(
        kind=Invoice.Kind.DEPOSIT, card=card, customer=customer, currency=currency,
        language=parties.language_of(customer), created_at=clock.now(), created_by=by,
    )  # fmt: skip
    text = clean_line(text, field="text", max_length=240) or TEXTS.get(invoice.language, TEXTS["en"])[
        said is not None
    ].format(percent=said and Formatter(invoice.language, currency).percent(said))
    lines = []
    for n, (code, share) in enumerate(shares.items(), start=1):
        tax = prices.tax(code)
        basis = {"quantity": "hand", "price": "hand", "by": by.name}
        lines.append(gathering.lump(invoice, n, text, share, tax.code, Vat(tax.category, tax.percent), basis))
    reckon(invoice, lines, reasons((x.tax_code for x in lines), prices))
    InvoiceLine.objects.bulk_create(lines)
    invoice.save(update_fields=TOTALS)
    record(by, "invoice.deposit-drafted", invoice, root=card, net=str(invoice.total_net))
    return invoice


TEXTS = {
    "en": {False: "Payment on account", True: "Deposit, {percent} % of what is agreed"},
    "de": {False: "Abschlag", True: "Anzahlung, {percent} % der vereinbarten Summe"},
}


def _wanted(
    percent: Decimal | None, amount: Decimal | None, agreed: Decimal, currency: str
) -> tuple[Decimal, Decimal | None]:
    """The net amount asked for, and the percentage that it is."""
    if percent is not None:
        percent = as_decimal(percent, "percent")
        if not 0 < percent <= 100 or decimals_of(percent) > 3:
            raise field_error("percent", "Give more than 0 and at most 100 percent, with at most 3 decimals.")
        if agreed <= 0:
            raise field_error(
                "percent", "Nothing is agreed on this card yet. Give an amount instead.", code="nothing-agreed"
            )
        net = deposits.percent(agreed, percent, currency)
        if net <= 0:
            raise field_error("percent", "This comes to nothing. Ask for more.", code="not-positive")
        return net, percent
    net = as_decimal(amount or ZERO, "amount")
    if not net.is_finite() or net <= 0:
        raise field_error("amount", "Give an amount above zero.", code="not-positive")
    if net >= limit(currency):
        raise field_error("amount", "This amount is too large to be right.", code="too-large")
    if not Money(net, currency).is_payable:
        raise field_error(
            "amount", f"{plain(net)} has more decimals than {currency}. Round it.", code="too-many-decimals"
        )
    if agreed and net > agreed:
        raise field_error(
            "amount", f"Only {Money(agreed, currency).rounded()} without VAT is agreed. Ask for at most that.",
            code="more-than-agreed",
        )  # fmt: skip
    return net, None


def agreed_by_code(card: JobCard) -> dict[str, Decimal]:
    """What the customer agreed to on a card, net of discounts, by tax code."""
    found: dict[str, Decimal] = {}
    for one in estimates.agreed_on_card(card.pk):
        line = one.at_price
        if line is None:
            continue
        percent = line.estimate.discount_percent if takes_discount(line) else ZERO
        off = deposits.percent(line.net, percent, line.estimate.currency)
        found[line.tax_code] = found.get(line.tax_code, ZERO) + line.net - off
    return {code: net for code, net in found.items() if net > 0}


@writes
def take_off_deposits(invoice_id: int, expect: int | None, *, by: Person) -> Invoice:
    """Take off a draft what deposit invoices of its card charged already (of its customer, when it is for no card): of each
    VAT rate at most what the draft charges. Done anew each time. Raises NotFound, Stale, Refused (nothing to take off)."""
    invoice = lock_draft(invoice_id, expect)
    if invoice.kind != Invoice.Kind.INVOICE:
        raise Refused("Deposits are taken off an invoice, not off another deposit.", code="not-an-invoice")
    lines = list(invoice.lines.all())
    had = [x for x in lines if x.deducts_id]
    rows = deduction_lines(invoice, [x for x in lines if not x.deducts_id], prepaid.left_for(invoice))
    if not rows and not had:
        raise Refused(
            "No issued deposit invoice has anything left at the VAT rates of this invoice.", code="no-deposit-left"
        )
    InvoiceLine.objects.filter(pk__in=[x.pk for x in had]).delete()
    lines = [x for x in lines if not x.deducts_id] + rows
    reckon(invoice, lines, reasons((x.tax_code for x in lines), Prices()))
    InvoiceLine.objects.bulk_create(rows)
    save_next(invoice, **{name: getattr(invoice, name) for name in TOTALS})
    record(
        by, "invoice.deposits-taken-off", invoice, root=invoice.card,
        net=str(-sum((x.net for x in rows), ZERO)), deposits=sorted({x.basis["deposit"] for x in rows}),
    )  # fmt: skip
    return invoice


def deduction_lines(invoice: Invoice, charged: Sequence[InvoiceLine], left: Sequence[Share]) -> list[InvoiceLine]:
    """Unsaved lines that take deposits off a draft which charges these lines."""
    taken = deposits.take(left, charged, invoice.discount_percent, invoice.currency)
    words = DEDUCTED.get(invoice.language, DEDUCTED["en"])
    write = Formatter(invoice.language, invoice.currency)
    return [
        gathering.lump(
            invoice,
            len(charged) + n,
            words.format(number=share.number, on=write.short_day(share.on)),
            share.net,
            share.tax_code,
            share.vat,
            {"quantity": "deposit", "price": "deposit", "deposit": share.number, "tax": str(share.tax)},
            times=-1,
            deducts_id=share.deposit,
        )
        for n, share in enumerate(taken, start=1)
    ]


DEDUCTED = {"en": "Deposit invoice {number} of {on}", "de": "Anzahlungsrechnung {number} vom {on}"}
