"""A supplier's electronic invoice out of its file: UN/CEFACT CII (D16B) or OASIS UBL 2.1, as XML or inside a PDF (PDF/A-3).

The file comes from outside, so nothing in it is trusted: no document type, no entities, nothing fetched; bounds on size,
depth and number of elements. Every refusal is a BadInput at "file" that says what to do.
"""

from __future__ import annotations

import io
import re
from datetime import date
from decimal import Decimal
from typing import Any

from shop.kernel.errors import BadInput, field_error
from shop.kernel.text import clean_line

from .einvoice import ONE, ZERO, Charge, EInvoice, Party, Stated, Tax

MAX_XML = 5 * 1024 * 1024
MAX_DEPTH = 40
MAX_ELEMENTS = 100_000
MAX_LINES = 500
INSIDE = ("factur-x.xml", "zugferd-invoice.xml", "xrechnung.xml")
_ENCODINGS = {"utf-8", "us-ascii", "ascii", "iso-8859-1", "iso-8859-15", "windows-1252"}
_DECLARED = re.compile(rb"""^<\?xml[^>]*?encoding\s*=\s*["']([^"']*)["']""", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(\d{1,15}(\.\d{0,12})?|\.\d{1,12})")
_GTIN = {"0160", "0002", ""}  # ISO 6523: GTIN; written by some as another or without scheme

_UBL = "urn:oasis:names:specification:ubl:schema:xsd:"
_CII = "urn:un:unece:uncefact:data:standard:"
NS = {
    "cac": f"{_UBL}CommonAggregateComponents-2",
    "cbc": f"{_UBL}CommonBasicComponents-2",
    "rsm": f"{_CII}CrossIndustryInvoice:100",
    "ram": f"{_CII}ReusableAggregateBusinessInformationEntity:100",
    "udt": f"{_CII}UnqualifiedDataType:100",
}
CII_ROOT = f"{{{NS['rsm']}}}CrossIndustryInvoice"
UBL_ROOTS = {f"{{{_UBL}{kind}-2}}{kind}": kind for kind in ("Invoice", "CreditNote")}


def read(content: bytes) -> EInvoice:
    """What the file states. Raises BadInput at "file" (codes "no-einvoice", "unsafe-xml", "damaged", "too-large-file",
    "missing-field", "bad-field")."""
    root = _parsed(inside_pdf(content) if content.startswith(b"%PDF-") else content)
    if root.tag == CII_ROOT:
        return _cii(root)
    if root.tag in UBL_ROOTS:
        return _ubl(root, UBL_ROOTS[root.tag])
    raise _wrong(
        "no-einvoice",
        "This XML is no electronic invoice: neither UN/CEFACT Cross Industry Invoice nor UBL 2.1 Invoice.",
    )


def inside_pdf(content: bytes) -> bytes:
    """The XML in a hybrid PDF. Raises BadInput."""
    from pypdf import PdfReader

    try:
        reader = PdfReader(io.BytesIO(content))
        if reader.is_encrypted:
            raise _wrong("damaged", "This PDF is locked with a password. Ask for one without.")
        names = {n.lower(): n for n in list(reader.attachments)[:50]}
        for name in INSIDE:
            if name in names:
                return bytes(reader.attachments[names[name]][0])
    except BadInput:
        raise
    except Exception as error:  # the library raises many kinds on a broken or hostile file
        raise _wrong("damaged", "This PDF can't be read. Save it again, or ask for the XML alone.") from error
    raise _wrong(
        "no-einvoice",
        "This PDF has no electronic invoice inside. Record the invoice by hand, and put the PDF to its files.",
    )


def _parsed(content: bytes) -> Any:
    from lxml import etree

    if len(content) > MAX_XML:
        raise _wrong("too-large-file", f"An electronic invoice has at most {MAX_XML // 1048576} MB of XML.")
    text = content.removeprefix(b"\xef\xbb\xbf").lstrip()
    declared = _DECLARED.match(text[:200])
    if (
        not text.startswith(b"<")
        or b"\0" in text
        or (declared and declared[1].decode("latin-1").lower() not in _ENCODINGS)
    ):
        raise _wrong("no-einvoice", "This is neither XML in UTF-8 nor a PDF with an electronic invoice inside.")
    if b"<!doctype" in text.lower() or b"<!entity" in text.lower():
        raise _unsafe()
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False, huge_tree=False, recover=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(text, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise _wrong("damaged", "This XML is broken or cut off. Fetch the file again.") from error
    if root.getroottree().docinfo.doctype:
        raise _unsafe()
    depth = count = 0
    for event, _ in etree.iterwalk(root, events=("start", "end")):
        depth += 1 if event == "start" else -1
        count += event == "start"
        if depth > MAX_DEPTH or count > MAX_ELEMENTS:
            raise _wrong("unsafe-xml", "This XML is nested or filled as no invoice is. It is not read.")
    return root


def _unsafe() -> Exception:
    return _wrong(
        "unsafe-xml", "This XML brings a document type of its own, as no electronic invoice does. It is not read."
    )


def _wrong(code: str, text: str) -> BadInput:
    return field_error("file", text, code=code)


class _At:
    """An element, and what stands below it."""

    def __init__(self, element: Any, where: str = "") -> None:
        self.element, self.where = element, where

    def all(self, path: str) -> list[_At]:
        return [_At(x, self.where) for x in self.element.iterfind(path, NS)]

    def text(self, path: str, bt: str = "", *, most: int = 200) -> str:
        """The text there as one clean line, cut after `most` characters; "" where there is none. `bt`: it has to be there."""
        found = self.element.find(path, NS)
        said = ""
        if found is not None:
            raw = " ".join((found.text or "").split())[: most * 2]
            # composing makes three characters of one at most (UAX #15)
            said = clean_line(raw, field="file", max_length=most * 6)[:most].strip()
        if bt and not said:
            raise _wrong("missing-field", f"{bt}{self.where} is missing. Ask the supplier for a complete file.")
        return said

    def attribute(self, path: str, name: str) -> str:
        found = self.element.find(path, NS)
        return (found.get(name) or "").strip()[:20] if found is not None else ""

    def number(self, path: str, bt: str, *, default: Decimal | None = None) -> Decimal:
        said = self.text(path, "" if default is not None else bt, most=40)
        if not said and default is not None:
            return default
        if not _NUMBER.fullmatch(said):
            raise _wrong("bad-field", f"{bt}{self.where} is “{said[:30]}”, which is no number.")
        return Decimal(said)

    def day(self, path: str, bt: str, *, required: bool = True) -> date | None:
        said = self.text(path, bt if required else "", most=40)
        if not said:
            return None
        try:
            if re.fullmatch(r"\d{8}", said):
                return date(int(said[:4]), int(said[4:6]), int(said[6:]))
            return date.fromisoformat(said[:10])
        except ValueError as error:
            raise _wrong("bad-field", f"{bt}{self.where} is “{said[:30]}”, which is no day.") from error

    def flag(self, path: str) -> bool:
        return self.text(path, most=10).lower() in ("true", "1")


def _lines(found: list[_At]) -> list[_At]:
    if len(found) > MAX_LINES:
        raise _wrong(
            "too-large-file", f"This invoice has {len(found)} lines; {MAX_LINES} are taken. Record it by hand."
        )
    return found


def _per(value: Decimal, where: str) -> Decimal:
    if value <= 0:
        raise _wrong("bad-field", f"BT-149{where} must be above zero.")
    return value


def _gtin(number: str, scheme: str) -> str:
    return number if scheme in _GTIN and re.fullmatch(r"\d{8}|\d{12,14}", number) else ""


# --- UN/CEFACT CII -----------------------------------------------------------------------------------


def _cii(root: Any) -> EInvoice:
    doc, deal = "rsm:ExchangedDocument/", "rsm:SupplyChainTradeTransaction/"
    agreed, settled = f"{deal}ram:ApplicableHeaderTradeAgreement/", f"{deal}ram:ApplicableHeaderTradeSettlement/"
    total = f"{settled}ram:SpecifiedTradeSettlementHeaderMonetarySummation/"
    at = _At(root)
    currency = at.text(f"{settled}ram:InvoiceCurrencyCode", "BT-5 (currency)", most=3)
    tax = ZERO
    for x in root.iterfind(f"{total}ram:TaxTotalAmount", NS):
        if x.get("currencyID", currency) == currency:
            tax = _At(x).number(".", "BT-110", default=ZERO)
    dated = at.day(f"{doc}ram:IssueDateTime/udt:DateTimeString", "BT-2 (date)")
    assert dated is not None  # noqa: S101 - required
    return EInvoice(
        syntax="cii",
        kind=at.text(f"{doc}ram:TypeCode", "BT-3 (kind)", most=6),
        number=at.text(f"{doc}ram:ID", "BT-1 (number)", most=60),
        dated_on=dated,
        due_on=at.day(f"{settled}ram:SpecifiedTradePaymentTerms/ram:DueDateDateTime/udt:DateTimeString", "BT-9", required=False),
        currency=currency,
        order=at.text(f"{agreed}ram:BuyerOrderReferencedDocument/ram:IssuerAssignedID", most=60),
        credits=at.text(f"{settled}ram:InvoiceReferencedDocument/ram:IssuerAssignedID", most=60),
        seller=_cii_party(at, f"{agreed}ram:SellerTradeParty/"),
        buyer=_cii_party(at, f"{agreed}ram:BuyerTradeParty/"),
        lines=tuple(
            _cii_line(n, x) for n, x in enumerate(_lines(at.all(f"{deal}ram:IncludedSupplyChainTradeLineItem")), 1)
        ),
        charges=tuple(_cii_charge(x) for x in at.all(f"{settled}ram:SpecifiedTradeAllowanceCharge")),
        taxes=tuple(
            Tax(
                x.number("ram:BasisAmount", "BT-116"), x.number("ram:CalculatedAmount", "BT-117"),
                x.text("ram:CategoryCode", "BT-118", most=3), x.number("ram:RateApplicablePercent", "BT-119", default=ZERO),
            )
            for x in at.all(f"{settled}ram:ApplicableTradeTax")
        ),
        sum_lines=at.number(f"{total}ram:LineTotalAmount", "BT-106 (sum of lines)", default=ZERO),
        sum_allowances=at.number(f"{total}ram:AllowanceTotalAmount", "BT-107", default=ZERO),
        sum_charges=at.number(f"{total}ram:ChargeTotalAmount", "BT-108", default=ZERO),
        net=at.number(f"{total}ram:TaxBasisTotalAmount", "BT-109 (total before tax)"),
        tax=tax,
        gross=at.number(f"{total}ram:GrandTotalAmount", "BT-112 (total with tax)"),
        paid=at.number(f"{total}ram:TotalPrepaidAmount", "BT-113", default=ZERO),
        rounding=at.number(f"{total}ram:RoundingAmount", "BT-114", default=ZERO),
        due=at.number(f"{total}ram:DuePayableAmount", "BT-115 (to pay)"),
    )  # fmt: skip


def _cii_party(at: _At, path: str) -> Party:
    vat = at.text(f"{path}ram:SpecifiedTaxRegistration/ram:ID[@schemeID='VA']", most=30)
    return Party(
        at.text(f"{path}ram:Name"), at.text(f"{path}ram:SpecifiedLegalOrganization/ram:TradingBusinessName"), vat
    )


def _cii_charge(x: _At) -> Charge:
    return Charge(
        x.number("ram:ActualAmount", "The amount of an allowance or charge"), x.flag("ram:ChargeIndicator/udt:Indicator"),
        x.text("ram:Reason"), x.text("ram:CategoryTradeTax/ram:CategoryCode", most=3),
        x.number("ram:CategoryTradeTax/ram:RateApplicablePercent", "BT-96", default=ZERO),
    )  # fmt: skip


def _cii_line(position: int, x: _At) -> Stated:
    x.where = f" of line {position}"
    item, settled = "ram:SpecifiedTradeProduct/", "ram:SpecifiedLineTradeSettlement/"
    price = "ram:SpecifiedLineTradeAgreement/ram:NetPriceProductTradePrice/"
    billed = "ram:SpecifiedLineTradeDelivery/ram:BilledQuantity"
    return Stated(
        position=position,
        name=x.text(f"{item}ram:Name", "BT-153 (name)"),
        detail=x.text(f"{item}ram:Description"),
        quantity=x.number(billed, "BT-129 (quantity)"),
        unit=x.attribute(billed, "unitCode"),
        price=x.number(f"{price}ram:ChargeAmount", "BT-146 (price)"),
        price_per=_per(x.number(f"{price}ram:BasisQuantity", "BT-149", default=ONE), x.where),
        net=x.number(
            f"{settled}ram:SpecifiedTradeSettlementLineMonetarySummation/ram:LineTotalAmount", "BT-131 (amount)"
        ),
        seller_no=x.text(f"{item}ram:SellerAssignedID", most=60),
        buyer_no=x.text(f"{item}ram:BuyerAssignedID", most=60),
        gtin=_gtin(x.text(f"{item}ram:GlobalID", most=20), x.attribute(f"{item}ram:GlobalID", "schemeID")),
        charges=tuple(_cii_charge(c) for c in x.all(f"{settled}ram:SpecifiedTradeAllowanceCharge")),
        category=x.text(f"{settled}ram:ApplicableTradeTax/ram:CategoryCode", most=3),
        rate=x.number(f"{settled}ram:ApplicableTradeTax/ram:RateApplicablePercent", "BT-152", default=ZERO),
    )


# --- UBL 2.1 -----------------------------------------------------------------------------------------


def _ubl(root: Any, kind: str) -> EInvoice:
    at, total = _At(root), "cac:LegalMonetaryTotal/cbc:"
    currency = at.text("cbc:DocumentCurrencyCode", "BT-5 (currency)", most=3)
    stated = [x for x in at.all("cac:TaxTotal") if x.attribute("cbc:TaxAmount", "currencyID") in ("", currency)]
    dated = at.day("cbc:IssueDate", "BT-2 (date)")
    assert dated is not None  # noqa: S101 - required
    of_line = "CreditedQuantity" if kind == "CreditNote" else "InvoicedQuantity"
    return EInvoice(
        syntax="ubl",
        kind=at.text(f"cbc:{kind}TypeCode", "BT-3 (kind)", most=6),
        number=at.text("cbc:ID", "BT-1 (number)", most=60),
        dated_on=dated,
        due_on=at.day("cbc:DueDate", "BT-9", required=False),
        currency=currency,
        order=at.text("cac:OrderReference/cbc:ID", most=60),
        credits=at.text("cac:BillingReference/cac:InvoiceDocumentReference/cbc:ID", most=60),
        seller=_ubl_party(at, "cac:AccountingSupplierParty/cac:Party/"),
        buyer=_ubl_party(at, "cac:AccountingCustomerParty/cac:Party/"),
        lines=tuple(_ubl_line(n, x, of_line) for n, x in enumerate(_lines(at.all(f"cac:{kind}Line")), 1)),
        charges=tuple(_ubl_charge(x) for x in at.all("cac:AllowanceCharge")),
        taxes=tuple(
            Tax(
                x.number("cbc:TaxableAmount", "BT-116"), x.number("cbc:TaxAmount", "BT-117"),
                x.text("cac:TaxCategory/cbc:ID", "BT-118", most=3),
                x.number("cac:TaxCategory/cbc:Percent", "BT-119", default=ZERO),
            )
            for t in stated
            for x in t.all("cac:TaxSubtotal")
        ),
        sum_lines=at.number(f"{total}LineExtensionAmount", "BT-106 (sum of lines)"),
        sum_allowances=at.number(f"{total}AllowanceTotalAmount", "BT-107", default=ZERO),
        sum_charges=at.number(f"{total}ChargeTotalAmount", "BT-108", default=ZERO),
        net=at.number(f"{total}TaxExclusiveAmount", "BT-109 (total before tax)"),
        tax=stated[0].number("cbc:TaxAmount", "BT-110", default=ZERO) if stated else ZERO,
        gross=at.number(f"{total}TaxInclusiveAmount", "BT-112 (total with tax)"),
        paid=at.number(f"{total}PrepaidAmount", "BT-113", default=ZERO),
        rounding=at.number(f"{total}PayableRoundingAmount", "BT-114", default=ZERO),
        due=at.number(f"{total}PayableAmount", "BT-115 (to pay)"),
    )  # fmt: skip


def _ubl_party(at: _At, path: str) -> Party:
    vat = next(
        (
            x.text("cbc:CompanyID", most=30)
            for x in at.all(f"{path}cac:PartyTaxScheme")
            if x.text("cac:TaxScheme/cbc:ID", most=10).upper() == "VAT"
        ),
        "",
    )
    return Party(
        at.text(f"{path}cac:PartyLegalEntity/cbc:RegistrationName"), at.text(f"{path}cac:PartyName/cbc:Name"), vat
    )


def _ubl_charge(x: _At) -> Charge:
    return Charge(
        x.number("cbc:Amount", "The amount of an allowance or charge"), x.flag("cbc:ChargeIndicator"),
        x.text("cbc:AllowanceChargeReason"), x.text("cac:TaxCategory/cbc:ID", most=3),
        x.number("cac:TaxCategory/cbc:Percent", "BT-96", default=ZERO),
    )  # fmt: skip


def _ubl_line(position: int, x: _At, of_line: str) -> Stated:
    x.where = f" of line {position}"
    standard = "cac:Item/cac:StandardItemIdentification/cbc:ID"
    return Stated(
        position=position,
        name=x.text("cac:Item/cbc:Name", "BT-153 (name)"),
        detail=x.text("cac:Item/cbc:Description"),
        quantity=x.number(f"cbc:{of_line}", "BT-129 (quantity)"),
        unit=x.attribute(f"cbc:{of_line}", "unitCode"),
        price=x.number("cac:Price/cbc:PriceAmount", "BT-146 (price)"),
        price_per=_per(x.number("cac:Price/cbc:BaseQuantity", "BT-149", default=ONE), x.where),
        net=x.number("cbc:LineExtensionAmount", "BT-131 (amount)"),
        seller_no=x.text("cac:Item/cac:SellersItemIdentification/cbc:ID", most=60),
        buyer_no=x.text("cac:Item/cac:BuyersItemIdentification/cbc:ID", most=60),
        gtin=_gtin(x.text(standard, most=20), x.attribute(standard, "schemeID")),
        charges=tuple(_ubl_charge(c) for c in x.all("cac:AllowanceCharge")),
        category=x.text("cac:Item/cac:ClassifiedTaxCategory/cbc:ID", most=3),
        rate=x.number("cac:Item/cac:ClassifiedTaxCategory/cbc:Percent", "BT-152", default=ZERO),
    )
