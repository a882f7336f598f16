"""Deposit invoices: asking for money before the work is billed."""

from __future__ import annotations

from collections.abc import Mapping
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
from shop.kernel.errors import BadInput, NeedsOverride, NotFound, Refused, field_error
from shop.kernel.money import Money, limit
from shop.kernel.rights import require
from shop.kernel.rounding import minor_unit
from shop.kernel.text import clean_line
from shop.kernel.totals import Vat
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import deposits, gathering, prepaid
from ..figures import TOTALS, reckon
from ..models import Invoice, InvoiceLine

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

    For a card either `percent` of what is agreed or `amount`, net, shared over its VAT rates, and with the deposits before it
    never more than what is agreed; for a customer without a card an amount at the default rate. `text`: what stands on it. Raises NotFound, BadInput, Refused (a draft is there already).
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
    before = prepaid.asked(card.pk) if card else {}
    net, said = _wanted(percent, amount, sum(weights.values(), ZERO), before, currency)
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
    reckon(invoice, lines, reasons((x.tax_code for x in lines), prices, invoice.language))
    InvoiceLine.objects.bulk_create(lines)
    invoice.save(update_fields=TOTALS)
    record(by, "invoice.deposit-drafted", invoice, root=card, net=str(invoice.total_net))
    return invoice


TEXTS = {
    "en": {False: "Payment on account", True: "Deposit, {percent} % of what is agreed"},
    "de": {False: "Abschlag", True: "Anzahlung, {percent} % der vereinbarten Summe"},
}


def _wanted(
    percent: Decimal | None, amount: Decimal | None, agreed: Decimal, before: Mapping[str, Decimal], currency: str
) -> tuple[Decimal, Decimal | None]:
    """The net amount asked for, and the percentage that it is. `before`: what deposits ask for already, by number."""
    left = agreed - sum(before.values(), ZERO)
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
        over = net - left
        if left > 0 and 0 < over <= minor_unit(currency) * len(before):
            net = left  # percentages of the same sum, each rounded
        if net > left:
            raise _more_than_agreed("percent", agreed, before, currency)
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
    if agreed and net > left:
        raise _more_than_agreed("amount", agreed, before, currency)
    return net, None


def _more_than_agreed(field: str, agreed: Decimal, before: Mapping[str, Decimal], currency: str) -> BadInput:
    said = f"Only {Money(agreed, currency).rounded()} without VAT is agreed"
    left = agreed - sum(before.values(), ZERO)
    if before:
        said += f", of which {_asked_by(before, currency)} already"
    said += f". Ask for at most {Money(left, currency).rounded()}." if left > 0 else ". Nothing is left to ask for."
    return field_error(field, said, code="more-than-agreed")


def _asked_by(before: Mapping[str, Decimal], currency: str) -> str:
    each = [f"{number} asks for {Money(net, currency).rounded()}" for number, net in before.items()]
    return " and ".join(each[:5]) + (f" and {len(each) - 5} more" if len(each) > 5 else "")


def check_asked(invoice: Invoice, by: Person, override: str) -> None:
    """Deposit invoices of a card together ask for no more than what is agreed on it, unless the owner says so. The account and
    the card are locked by the caller. Raises NotAllowed, NeedsOverride."""
    if invoice.card is None:
        return
    agreed = sum(agreed_by_code(invoice.card).values(), ZERO)
    before = prepaid.asked(invoice.card.pk)
    if not agreed or sum(before.values(), invoice.total_net) <= agreed:
        return
    if override:
        require(by, "invoices.override")
        return
    others = f", of which {_asked_by(before, invoice.currency)} already" if before else ""
    raise NeedsOverride(
        f"Only {Money(agreed, invoice.currency).rounded()} without VAT is agreed on card {invoice.card.number}{others}. Ask for "
        "less, get the customer's word on more, or let the owner issue it and say why.",
        code="more-than-agreed",
    )


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
