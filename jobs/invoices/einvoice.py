"""An issued invoice or credit note as an electronic one by EN 16931: UN/CEFACT CII (also inside its PDF) and OASIS UBL 2.1.

The business terms (BT) and groups (BG) are those of EN 16931-1:2017; the XML is made by the library factur-x. Every amount
is the one the document states, nothing is added up here.

A deposit invoice is type 386. The invoice after it takes it off as lines below zero at the same VAT rate and names it (BG-3):
its VAT is that on the rest. Were the deposit stated as a paid amount (BT-113) alone, the whole VAT would stand on the invoice
once more, with no term to say that part of it was charged already. A tax adviser confirms what a country asks for beyond the standard.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC
from decimal import Decimal
from typing import Any

from jobs.estimates import pricing
from jobs.estimates.printing import said, writer
from shop.kernel.errors import Refused
from shop.kernel.rounding import minor_units
from shop.kernel.totals import percent_of

from .models import Invoice, InvoiceLine
from .terms import early_discount

ZERO = Decimal(0)
PROFILE = "en16931"
# UNTDID 1001
TYPES = {
    Invoice.Kind.INVOICE: "380",
    Invoice.Kind.DEPOSIT: "386",
    Invoice.Kind.CREDIT: "381",
    Invoice.Kind.DEBIT: "383",
}
TRANSFER = {True: "58", False: "30"}  # UNTDID 4461: SEPA credit transfer in euro, credit transfer
DISCOUNT = "95"  # UNTDID 5189
EARLY = {
    "en": "{percent} % discount ({off} {currency}) if paid by {day}.",
    "de": "{percent} % Skonto ({off} {currency}) bei Zahlung bis {day}.",
}
NOTHING_OWED = {
    "en": "Set against what is owed, or paid back.",
    "de": "Wird mit Offenem verrechnet oder zurückgezahlt.",
}
NOTHING_TO_PAY = {"en": "Nothing to pay.", "de": "Nichts zu zahlen."}
PDF_TIME = re.compile(rb"(?<=Date \(D\\072)\d{14}(?=\\053)")  # as pypdf writes it, with octal escapes
XMP_TIME = re.compile(rb"(?<=>)\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00(?=<)")


def cii(invoice: Invoice) -> bytes:
    """The XML that goes into the PDF (Factur-X, profile EN 16931), checked against its schema. Raises Refused."""
    return _xml(invoice, "factur-x")


def ubl(invoice: Invoice) -> bytes:
    """The same as UBL 2.1, checked against its schema. Raises Refused."""
    return _xml(invoice, "ubl-2.1")


def hybrid(pdf: bytes, invoice: Invoice) -> bytes:
    """A PDF/A-3 with the CII file inside. `pdf`: typeset with the standard a-3b. The same bytes whenever it is made: its dates
    are those of the issue. Raises Refused."""
    from facturx import generate_from_binary

    made: bytes = generate_from_binary(
        pdf, cii(invoice), flavor="factur-x", level=PROFILE, check_xsd=False, lang=invoice.language, xmp_compression=False,
        pdf_metadata={
            "author": invoice.seller["name"], "keywords": "Factur-X", "title": f"{invoice.seller['name']} {invoice.number}",
            "subject": invoice.number,
        },
    )  # fmt: skip
    assert invoice.issued_at is not None  # noqa: S101 - cii() refuses a draft
    issued = invoice.issued_at.astimezone(UTC)
    made = PDF_TIME.sub(issued.strftime("%Y%m%d%H%M%S").encode(), made)  # the library writes the present
    return XMP_TIME.sub(issued.strftime("%Y-%m-%dT%H:%M:%S+00:00").encode(), made)


def possible(invoice: Invoice) -> bool:
    """Whether there is one: issued, and in a currency of at most two decimals, which is all EN 16931 knows (BR-DEC)."""
    return bool(invoice.issued_at) and minor_units(invoice.currency) <= 2


def file_name(invoice: Invoice, syntax: str) -> str:
    return f"{invoice.number}-{syntax}.xml"


def _xml(invoice: Invoice, flavor: str) -> bytes:
    if not invoice.issued_at:
        raise Refused("A draft has no electronic invoice. Issue it first.", code="not-issued")
    if not possible(invoice):
        raise Refused(
            f"Electronic invoices by EN 16931 have at most two decimals, {invoice.currency} has more. Send the PDF.",
            code="currency",
        )
    from facturx import generate_xml, xml_check_xsd

    made: bytes = generate_xml(
        terms(invoice, list(invoice.lines.select_related("deducts"))),
        flavor=flavor,
        level=PROFILE,
        check_xsd=False,
        check_schematron=None,
    )
    if invoice.supplied_on is None:
        made = _without_nil(made)
    xml_check_xsd(made)
    return made


def _without_nil(xml: bytes) -> bytes:
    """CII wants an empty element for a delivery that hasn't been (a deposit); the library marks it nil, which its schema
    forbids."""
    from lxml import etree

    tree = etree.fromstring(xml, etree.XMLParser(resolve_entities=False, no_network=True))
    for element in tree.iter("{*}ApplicableHeaderTradeDelivery"):
        for name in [k for k in element.attrib if k.endswith("}nil")]:
            del element.attrib[name]
    return etree.tostring(tree, xml_declaration=True, encoding="UTF-8")


def terms(invoice: Invoice, lines: Sequence[InvoiceLine]) -> dict[str, Any]:
    """The document in business terms. `lines`: all of it, in order."""
    credit = invoice.kind == Invoice.Kind.CREDIT
    seller, buyer = invoice.seller, invoice.buyer
    if any(g["category"] == "O" for g in invoice.tax_groups):
        # outside VAT no VAT number may stand as such (BR-O-02), yet the seller must be known by some number (BR-CO-26)
        seller, buyer = seller | {"vat_no": "", "known_as": seller["vat_no"]}, buyer | {"vat_no": ""}
    due = invoice.total_gross + invoice.rounding
    found: dict[str, Any] = {
        "BT-1": invoice.number,
        "BT-2": invoice.issued_on,
        "BT-3": TYPES[Invoice.Kind(invoice.kind)],
        "BT-5": invoice.currency,
        "BG-4": _party(seller, seller["country"])
        | {"contacts": [{k: seller[v] for k, v in _CONTACT.items() if seller.get(v)}]},
        "BG-7": _party(buyer, buyer["country"] or seller["country"]),
        "BT-106": _amount(invoice.sum_net, invoice),
        "BT-109": _amount(invoice.total_net, invoice),
        "BT-110": _amount(invoice.total_tax, invoice),
        "BT-112": _amount(invoice.total_gross, invoice),
        "BT-115": _amount(due, invoice),
        "BG-23": [_breakdown(g, invoice) for g in invoice.tax_groups],
        "BG-25": [_line(x, n, invoice) for n, x in enumerate(lines, 1)],
    }
    if invoice.counters:  # the credit note that it takes back settles it
        found |= {"BT-113": _amount(due, invoice), "BT-115": _amount(ZERO, invoice)}
    if invoice.rounding:
        found["BT-114"] = _amount(invoice.rounding, invoice)
    if invoice.supplied_on:
        found["BT-72"] = invoice.supplied_on
    if any(g["category"] == "K" for g in invoice.tax_groups):  # deliver-to country: BT-80, which BR-IC-12 asks for
        found["BG-13"] = {"name": buyer["name"], "country_code": buyer["country"] or seller["country"]}
    if invoice.due_on and not credit:
        found["BT-9"] = invoice.due_on
    if invoice.early_until and not credit:
        found["BT-20"] = _early(invoice)
    elif "BT-9" not in found:
        found["BT-20"] = said(NOTHING_OWED if credit else NOTHING_TO_PAY, invoice.language)
    if seller["iban"] and not credit and not invoice.counters:
        found |= {"BT-81": TRANSFER[invoice.currency == "EUR"], "BT-83": invoice.number, "BT-84": seller["iban"]}
        if seller["bic"]:
            found["BT-86"] = seller["bic"]
    apart: dict[tuple[str, Decimal], Decimal] = {}
    for x in lines:
        if x.deducts_id or not pricing.takes_discount(x):
            vat = (x.tax_category, x.tax_percent)
            apart[vat] = apart.get(vat, Decimal(0)) + x.net
    allowances = [_discount(g, invoice, apart) for g in invoice.tax_groups if Decimal(g["discount"])]
    if allowances:
        found["BG-20"] = allowances
        found["BT-107"] = _amount(invoice.sum_net - invoice.total_net, invoice)
    if before := _before(invoice, lines):
        found["BG-3"] = [{"BT-25": number, "BT-26": on} for number, on in before]
    notes = [invoice.note, invoice.reason, _about(invoice.subject), seller.get("note", "")]
    if notes := [x for x in notes if x]:
        found["BG-1"] = [{"BT-22": x} for x in notes]
    return found


def _early(invoice: Invoice) -> str:
    """Payment terms (BT-20): what is off for paying early, and by when. For a German seller the line that XRechnung's rule
    BR-DE-18 has for it, too, which programs read."""
    issued = invoice.issued_on or invoice.early_until
    until = invoice.early_until
    if issued is None or until is None:
        return ""
    write = writer(invoice)
    off = early_discount(invoice.total_gross + invoice.rounding, invoice.early_percent, invoice.currency)
    told = said(EARLY, invoice.language).format(
        percent=write.percent(invoice.early_percent), off=write.money(off), currency=invoice.currency, day=write.day(until)
    )  # fmt: skip
    if invoice.seller["country"] != "DE":
        return told
    days = (until - issued).days
    return f"{told}\n#SKONTO#TAGE={days}#PROZENT={invoice.early_percent:.2f}#\n"


def _before(invoice: Invoice, lines: Sequence[InvoiceLine]) -> list[tuple[str, Any]]:
    """The invoices this one refers to: what it credits, or the deposits it takes off."""
    if note := invoice.counters:
        return [(x.number, x.issued_on) for x in (note.credits, note) if x]
    if invoice.credits:
        return [(invoice.credits.number, invoice.credits.issued_on)]
    deposits = {x.deducts_id: x.deducts for x in lines if x.deducts}
    return [(x.number, x.issued_on) for _, x in sorted(deposits.items())]


_CONTACT = {"name": "contact", "phone": "phone", "email": "email"}


def _party(party: dict[str, Any], country: str) -> dict[str, Any]:
    found: dict[str, Any] = {"name": party["name"], "country_code": country}
    if "city" in party:
        stated = {"addr_l1": party["street"], "postcode": party["postcode"], "city": party["city"]}
    else:  # issued before street, postcode and town were kept apart
        stated = {f"addr_l{n}": line for n, line in enumerate(party["address"][:3], 1)}
    found |= {k: v for k, v in stated.items() if v}
    if party["vat_no"]:
        found["vat_identifier"] = party["vat_no"]
    if party.get("registration"):
        found["legal_identifier"] = party["registration"]
    elif number := party.get("known_as"):
        found["identifiers"] = {None: number}
    return found


def _about(subject: dict[str, Any]) -> str:
    stated = [subject.get("card", ""), subject.get("machine", ""), subject.get("serial", "")]
    return ", ".join(x for x in stated if x)


def _breakdown(group: dict[str, str], invoice: Invoice) -> dict[str, Any]:
    found = {
        "BT-116": _amount(Decimal(group["base"]), invoice),
        "BT-117": _amount(Decimal(group["tax"]), invoice),
        "BT-118": group["category"],
    }
    if group["category"] != "O":
        found["BT-119"] = _plain(Decimal(group["percent"]))
    if group["reason"]:
        found["BT-120"] = group["reason"]
    return found


def _discount(group: dict[str, str], invoice: Invoice, apart: Mapping[tuple[str, Decimal], Decimal]) -> dict[str, Any]:
    """`apart`: by VAT rate what the discount isn't of: deposits that are taken off, below zero, and core deposits."""
    of = Decimal(group["lines"]) - apart.get((group["category"], Decimal(group["percent"])), Decimal(0))
    found = {
        "amount": _amount(Decimal(group["discount"]), invoice),
        "reason": invoice.discount_reason,
        "reason_code": DISCOUNT,
        "vat_category_code": group["category"],
    }
    if percent_of(of, invoice.discount_percent, invoice.currency) == Decimal(group["discount"]):
        # not of the last credit note of several, which takes off what the others left
        found |= {"base_amount": _amount(of, invoice), "rate": _plain(invoice.discount_percent)}
    if group["category"] != "O":
        found["vat_rate"] = _plain(Decimal(group["percent"]))
    return found


def _line(line: InvoiceLine, position: int, invoice: Invoice) -> dict[str, Any]:
    found: dict[str, Any] = {
        "BT-126": str(position),
        "BT-129": _plain(line.quantity),
        "BT-130": line.unit,
        "BT-131": _amount(line.net, invoice),
        "BT-146": _plain(line.unit_price),
        "BT-151": line.tax_category,
        "BT-153": line.text,
    }
    if line.tax_category != "O":
        found["BT-152"] = _plain(line.tax_percent)
    if line.detail:
        found["BT-154"] = line.detail
    if number := line.basis.get("part_number"):
        found["BT-155"] = number
    if line.discount_percent:
        whole = pricing.before_discount(line, invoice.currency)
        found["BG-27"] = [
            {
                "amount": _amount(whole - line.net, invoice),
                "base_amount": _amount(whole, invoice),
                "rate": _plain(line.discount_percent),
                "reason": line.discount_reason,
                "reason_code": DISCOUNT,
            }
        ]
    return found


def _amount(value: Decimal, invoice: Invoice) -> str:
    return f"{value:.{minor_units(invoice.currency)}f}"


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"
