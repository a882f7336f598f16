"""What a supplier's electronic invoice states (EN 16931), and whether its figures hold. On plain values.

The business terms (BT) and rules (BR) are those of EN 16931-1:2017; `einvoice_xml` reads them out of a file.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput
from shop.kernel.rounding import EXACT, round_money
from shop.kernel.totals import Adjustment, Totals, Vat, VatGroup, broken_rules

from . import days

ZERO = Decimal(0)
ONE = Decimal(1)
INVOICES = {"326", "380", "383", "393"}  # UNTDID 1001: partial, commercial, debit note, factored
CREDITS = {"81", "83", "261", "296", "308", "381", "396", "420", "458", "532"}
OTHERS = {"384": "corrects an earlier one", "386": "asks for a payment in advance", "389": "is one that you issued"}
VAT_SLACK = Decimal(1)  # the published rules let BT-117 be off by less than 1.00


@dataclass(frozen=True, slots=True)
class Party:
    """Seller (BT-27, 28, 31) or buyer (BT-44, 45, 48)."""

    name: str = ""
    trading_name: str = ""
    vat_no: str = ""


@dataclass(frozen=True, slots=True)
class Charge:
    """An allowance (BG-20, BG-27) or a charge (BG-21, BG-28), before tax."""

    amount: Decimal
    is_charge: bool
    reason: str = ""
    category: str = ""
    rate: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Tax:
    """One VAT breakdown: BT-116 to 119."""

    base: Decimal
    amount: Decimal
    category: str
    rate: Decimal


@dataclass(frozen=True, slots=True)
class Stated:
    """One line. `quantity` (BT-129) of `unit` (BT-130); `price` (BT-146) for each `price_per` (BT-149) of it; `net` BT-131."""

    position: int
    name: str
    quantity: Decimal
    unit: str
    price: Decimal
    net: Decimal
    price_per: Decimal = ONE
    detail: str = ""
    seller_no: str = ""  # BT-155
    buyer_no: str = ""  # BT-156
    gtin: str = ""  # BT-157
    charges: tuple[Charge, ...] = ()
    category: str = ""
    rate: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class EInvoice:
    """A whole document. `credits` is the invoice that a credit note names (BT-25)."""

    syntax: str  # "cii" or "ubl"
    kind: str  # BT-3
    number: str  # BT-1
    dated_on: date  # BT-2
    due_on: date | None  # BT-9
    currency: str  # BT-5
    order: str  # BT-13
    credits: str
    seller: Party
    buyer: Party
    lines: tuple[Stated, ...]
    charges: tuple[Charge, ...]
    taxes: tuple[Tax, ...]
    sum_lines: Decimal  # BT-106
    sum_allowances: Decimal  # BT-107
    sum_charges: Decimal  # BT-108
    net: Decimal  # BT-109
    tax: Decimal  # BT-110
    gross: Decimal  # BT-112
    paid: Decimal  # BT-113
    rounding: Decimal  # BT-114
    due: Decimal  # BT-115

    @property
    def is_credit(self) -> bool:
        return self.kind in CREDITS


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to be told. `stops`: it can't be recorded from the file as it is."""

    code: str
    text: str
    stops: bool = True


def cannot_be_taken(invoice: EInvoice) -> Finding | None:
    """Why a document of this kind isn't recorded as an invoice or credit note, in words; None when it is."""
    if invoice.kind not in INVOICES | CREDITS:
        what = OTHERS.get(invoice.kind, f"is of the kind {invoice.kind} (UNTDID 1001)")
        return Finding(
            "other-kind", f"{invoice.number} is no plain invoice: it {what}. Record it by hand if it is right."
        )
    if not invoice.lines:
        return Finding("no-lines", "This file states totals and no lines. Record the invoice by hand.")
    return None


def credits_nothing_known(invoice: EInvoice) -> Finding:
    """A credit note whose invoice isn't recorded."""
    about = f" of invoice {invoice.credits}" if invoice.credits else ""
    which = f"Invoice {invoice.credits} of theirs isn't recorded: record it" if invoice.credits else (
        "It names no invoice that it credits: look for it, and record the credit note by hand on the page of that invoice"
    )  # fmt: skip
    text = f"{invoice.number} is a credit note{about} over {plain(abs(invoice.gross))} {invoice.currency}. {which}"
    return Finding("credit-note", text + (" first." if invoice.credits else "."))


def due_day(invoice: EInvoice) -> date | None:
    """BT-9 where it can be right: on the day of the invoice or within a year of it."""
    due = invoice.due_on
    return due if due and days.can_be_due(due, invoice.dated_on) else None


def wrong_day(invoice: EInvoice) -> str:
    """Why BT-2 can't be the day of an invoice, in words; "" where it can."""
    if days.can_be_dated(invoice.dated_on):
        return ""
    return (
        f"The file says that {invoice.number} is of {invoice.dated_on} (BT-2): that is more than three years ago or more than a "
        "week ahead. Ask the supplier for a file with the right day."
    )


def sums(invoice: EInvoice) -> list[Finding]:
    """What does not add up by EN 16931 (BR-CO-10 to 17, BR-S-08 and its like, BR-DEC), each with both figures; and, told only,
    a line whose net is not quantity times price, which no rule of the standard asks for."""
    try:
        stated, adjustments = _totals(invoice)
        broken = broken_rules(stated, adjustments)
    except BadInput as error:
        return [Finding("tax", f"The invoice's figures can't be checked: {error.message}")]
    says = _says(invoice)
    found = [Finding(rule, f"{says[rule]} ({rule})") for rule in broken if rule != "BR-CO-17"]
    if "BR-CO-17" in broken:
        found += _tax_off(invoice)
    return found + _bases(invoice) + [_line_off(x, invoice.currency) for x in invoice.lines if _is_off(x, invoice)]


def _totals(invoice: EInvoice) -> tuple[Totals, list[Adjustment]]:
    groups = tuple(VatGroup(Vat(t.category, t.rate), t.base, t.amount) for t in invoice.taxes)
    given = [Adjustment(c.amount, Vat(c.category, c.rate), is_charge=c.is_charge) for c in invoice.charges]
    return Totals(
        currency=invoice.currency, line_nets=tuple(x.net for x in invoice.lines), groups=groups, lines=invoice.sum_lines,
        allowances=invoice.sum_allowances, charges=invoice.sum_charges, net=invoice.net, vat=invoice.tax, gross=invoice.gross,
        paid=invoice.paid, rounding=invoice.rounding, due=invoice.due,
    ), given  # fmt: skip


def _says(i: EInvoice) -> dict[str, str]:
    def off(what: str, adds_up: Decimal, stated: Decimal) -> str:
        return f"{what} {plain(adds_up)} {i.currency}, the invoice states {plain(stated)}"

    allowances = sum((c.amount for c in i.charges if not c.is_charge), ZERO)
    charges = sum((c.amount for c in i.charges if c.is_charge), ZERO)
    return {
        "BR-CO-10": off("The lines add up to", sum((x.net for x in i.lines), ZERO), i.sum_lines),
        "BR-CO-11": off("The allowances add up to", allowances, i.sum_allowances),
        "BR-CO-12": off("The charges add up to", charges, i.sum_charges),
        "BR-CO-13": off("Before tax it comes to", i.sum_lines - i.sum_allowances + i.sum_charges, i.net),
        "BR-CO-14": off("The tax of all rates adds up to", sum((t.amount for t in i.taxes), ZERO), i.tax),
        "BR-CO-15": off("With tax it comes to", i.net + i.tax, i.gross),
        "BR-CO-16": off("To pay remain", i.gross - i.paid + i.rounding, i.due),
        "BR-DEC": f"An amount has more decimals than {i.currency} has",
    }


def _tax_off(i: EInvoice) -> list[Finding]:
    found = []
    for t in i.taxes:
        right = round_money(EXACT.divide(EXACT.multiply(t.base, t.rate), Decimal(100)), i.currency)
        if right != t.amount:
            text = f"{plain(t.rate)} % of {plain(t.base)} is {plain(right)}, the invoice states {plain(t.amount)} (BR-CO-17)"
            found.append(Finding("BR-CO-17", text, stops=abs(right - t.amount) >= VAT_SLACK))
    return found


def _bases(i: EInvoice) -> list[Finding]:
    """BT-116 of each rate against its lines, allowances and charges."""
    adds_up: dict[tuple[str, Decimal], Decimal] = defaultdict(Decimal)
    for x in i.lines:
        adds_up[x.category, x.rate] += x.net
    for c in i.charges:
        adds_up[c.category, c.rate] += c.amount if c.is_charge else -c.amount
    stated: dict[tuple[str, Decimal], Decimal] = defaultdict(Decimal)
    for t in i.taxes:
        stated[t.category, t.rate] += t.base
    return [
        Finding(
            "BR-S-08", f"What is taxed at {category} {plain(rate)} % adds up to {plain(adds_up[category, rate])} {i.currency}, "
            f"the invoice states {plain(stated[category, rate])} (BR-{category or 'S'}-08)",
        )
        for category, rate in sorted({*adds_up, *stated})
        if adds_up[category, rate] != stated[category, rate]
    ]  # fmt: skip


def _is_off(x: Stated, i: EInvoice) -> bool:
    return _line_net(x, i.currency) != x.net


def _line_net(x: Stated, currency: str) -> Decimal:
    whole = round_money(EXACT.divide(EXACT.multiply(x.quantity, x.price), x.price_per), currency)
    return whole + sum((c.amount if c.is_charge else -c.amount for c in x.charges), ZERO)


def _line_off(x: Stated, currency: str) -> Finding:
    text = f"Line {x.position}: quantity times price comes to {plain(_line_net(x, currency))} {currency}, it states {plain(x.net)}"
    return Finding("line-net", text, stops=False)
