"""Documents with priced lines: estimate, invoice and its kin, purchase order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shop.documents.fields import Code, Day, Money, Percent, Price, Prose, Quantity, ShortDay, Text
from shop.documents.shapes.common import Business, Machine, Mark, Party

SectionKind = Literal[
    "", "labour", "parts", "sublet", "sundries", "freight", "environmental", "core", "storage", "optional"
]


@dataclass(frozen=True)
class Line:
    """One priced line (Art. 226 (6), (8), (9)). `unit` is a UN/ECE Rec 20 code; one without a word prints
    as it is.
    """

    text: Text
    net: Money
    vat_rate: Percent | None = None
    position: Text = ""
    number: Text = ""
    """Part number or the like, printed before the text."""
    detail: Prose = ""
    qty: Quantity | None = None
    unit: Text = ""
    unit_price: Price | None = None
    discount_percent: Percent | None = None
    discount: Money | None = None
    discount_reason: Text = ""
    decision: Literal["", "accepted", "declined", "open", "optional"] = ""


@dataclass(frozen=True)
class Section:
    """Lines under a heading: `title`, or the word for `kind` in the document's language."""

    lines: tuple[Line, ...]
    kind: SectionKind = ""
    title: Text = ""
    net: Money | None = None
    counted: bool = True
    """False for optional work that the totals leave out."""


@dataclass(frozen=True)
class Allowance:
    """Discount (negative) or charge (positive) on the whole document (Art. 226 (8))."""

    text: Text
    net: Money
    percent: Percent | None = None
    vat_rate: Percent | None = None


@dataclass(frozen=True)
class VatRow:
    """VAT of one category and rate (Art. 226 (8) to (11)). `category` is a UN/ECE 5305 code as EN 16931
    uses it.
    """

    rate: Percent
    taxable: Money
    vat: Money
    category: Literal["S", "Z", "E", "AE", "K", "G", "O", "L", "M"] = "S"
    reason: Text = ""
    """Why no VAT is charged, with the provision; needed for E, AE, K, G, O."""


@dataclass(frozen=True)
class Deduction:
    """A deposit invoice or payment taken off the total, VAT included; `vat` is the part that is VAT."""

    text: Text
    gross: Money
    number: Text = ""
    date: ShortDay | None = None
    net: Money | None = None
    vat_rate: Percent | None = None
    vat: Money | None = None


@dataclass(frozen=True)
class Totals:
    net: Money
    vat: Money
    gross: Money
    due: Money
    """What is still to pay; equals `gross` when nothing was deducted."""
    rounding: Money | None = None


@dataclass(frozen=True)
class Reference:
    """An earlier document this one refers to."""

    number: Text
    date: Day | None = None


@dataclass(frozen=True)
class TaxRepresentative:
    """Art. 226 (15)."""

    name: Text
    address: tuple[Text, ...]
    vat_no: Text


@dataclass(frozen=True)
class Statutory:
    """Mentions that Directive 2006/112/EC Art. 226 asks for in given cases; all wording from the strings
    table.
    """

    cash_accounting: bool = False
    """(7a)"""
    self_billing: bool = False
    """(10a)"""
    reverse_charge: bool = False
    """(11a)"""
    new_transport: Text = ""
    """(12) particulars of a new means of transport"""
    travel_agents: bool = False
    """(13)"""
    second_hand: Literal["", "goods", "art", "collectors"] = ""
    """(14)"""
    representative: TaxRepresentative | None = None
    """(15)"""
    vat_in_national_currency: Text = ""
    """Art. 230: the VAT payable in the national currency, worded with rate and its source"""


@dataclass(frozen=True)
class Range:
    """Likely (P50) and careful (P80) figure of an estimate, net of VAT."""

    likely: Money
    careful: Money
    likely_hours: Quantity | None = None
    careful_hours: Quantity | None = None


@dataclass(frozen=True)
class Estimate:
    """Estimate, firm quotation or notice of additional work: one layout, different words by `kind`."""

    kind: Literal["estimate", "quotation", "additional_work"]
    number: Text
    date: Day
    currency: Text
    business: Business
    customer: Party
    sections: tuple[Section, ...]
    vat: tuple[VatRow, ...]
    totals: Totals
    revision: int = 1
    valid_until: Day | None = None
    replaces: Reference | None = None
    card_number: Text = ""
    customer_reference: Text = ""
    contact: Text = ""
    machine: Machine | None = None
    complaint: Prose = ""
    intro: Prose = ""
    range: Range | None = None
    allowances: tuple[Allowance, ...] = ()
    notes: tuple[Prose, ...] = ()
    cautions: tuple[Prose, ...] = ()
    terms: Prose = ""
    reply_by: Text = ""
    """How to give the go-ahead, such as a link's address."""
    signature: bool = True
    mark: Mark = ""


@dataclass(frozen=True)
class Invoice:
    """Invoice, deposit invoice, credit note. Which Art. 226 point each field serves stands beside it.

    A credit note states positive amounts and names what it corrects in `corrects`.
    """

    number: Text
    """(2)"""
    date: Day
    """(1)"""
    currency: Text
    business: Business
    """(3), (5)"""
    customer: Party
    """(4), (5)"""
    sections: tuple[Section, ...]
    """(6), (8)"""
    vat: tuple[VatRow, ...]
    """(8) to (11)"""
    totals: Totals
    kind: Literal["invoice", "deposit_invoice", "credit_note", "debit_note", "corrected_invoice", "stage_invoice"] = (
        "invoice"
    )
    supplied_on: Day | None = None
    """(7) when the supply was made or completed"""
    supplied_from: Day | None = None
    """(7) first day of a period that ends with `supplied_on`"""
    paid_on: Day | None = None
    """(7) when the payment on account was received"""
    statutory: Statutory = Statutory()
    """(7a), (10a), (11a) to (15)"""
    corrects: Reference | None = None
    """Art. 219: reference to the invoice that is amended"""
    estimate: Reference | None = None
    estimate_kind: Literal["estimate", "quotation", "additional_work"] = "estimate"
    card_number: Text = ""
    customer_reference: Text = ""
    contact: Text = ""
    machine: Machine | None = None
    intro: Prose = ""
    allowances: tuple[Allowance, ...] = ()
    deductions: tuple[Deduction, ...] = ()
    due_date: Day | None = None
    payment_terms: Prose = ""
    payment_reference: Text = ""
    payment_code: Code | None = None
    """Content of a QR code for payment, printed beside the bank details."""
    notes: tuple[Prose, ...] = ()
    cautions: tuple[Prose, ...] = ()
    terms: Prose = ""
    mark: Mark = ""


@dataclass(frozen=True)
class PurchaseOrder:
    """An order to a supplier. `number` of a line is the supplier's own part number."""

    number: Text
    date: Day
    currency: Text
    business: Business
    supplier: Party
    lines: tuple[Line, ...]
    total: Money
    deliver_to: tuple[Text, ...] = ()
    wanted_by: Day | None = None
    supplier_reference: Text = ""
    contact: Text = ""
    card_number: Text = ""
    intro: Prose = ""
    notes: tuple[Prose, ...] = ()
    terms: Prose = ""
    mark: Mark = ""
