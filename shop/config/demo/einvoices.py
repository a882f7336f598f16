"""The electronic invoice that waits in the invented shop, as its supplier's program would write it (UBL 2.1)."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from inventory.buying import actions as buying
from inventory.buying.models import ReceiptLine
from shop.kernel import clock
from shop.kernel.rounding import round_money
from shop.people.models import Person

FREIGHT = Decimal("6.90")
RATE = Decimal("0.23")
_FILE = """<?xml version="1.0" encoding="UTF-8"?>
<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"
 xmlns:cac="urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
 xmlns:cbc="urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2">
<cbc:CustomizationID>urn:cen.eu:en16931:2017</cbc:CustomizationID><cbc:ID>BSD-50117</cbc:ID>
<cbc:IssueDate>{day}</cbc:IssueDate><cbc:DueDate>{due}</cbc:DueDate><cbc:InvoiceTypeCode>380</cbc:InvoiceTypeCode>
<cbc:DocumentCurrencyCode>EUR</cbc:DocumentCurrencyCode><cac:OrderReference><cbc:ID>{order}</cbc:ID></cac:OrderReference>
<cac:AccountingSupplierParty><cac:Party><cac:PartyLegalEntity><cbc:RegistrationName>{seller}</cbc:RegistrationName>
</cac:PartyLegalEntity></cac:Party></cac:AccountingSupplierParty>
<cac:AllowanceCharge><cbc:ChargeIndicator>true</cbc:ChargeIndicator><cbc:AllowanceChargeReason>Freight</cbc:AllowanceChargeReason>
<cbc:Amount currencyID="EUR">{freight}</cbc:Amount><cac:TaxCategory><cbc:ID>S</cbc:ID><cbc:Percent>23</cbc:Percent>
<cac:TaxScheme><cbc:ID>VAT</cbc:ID></cac:TaxScheme></cac:TaxCategory></cac:AllowanceCharge>
<cac:TaxTotal><cbc:TaxAmount currencyID="EUR">{tax}</cbc:TaxAmount><cac:TaxSubtotal>
<cbc:TaxableAmount currencyID="EUR">{net}</cbc:TaxableAmount><cbc:TaxAmount currencyID="EUR">{tax}</cbc:TaxAmount>
<cac:TaxCategory><cbc:ID>S</cbc:ID><cbc:Percent>23</cbc:Percent><cac:TaxScheme><cbc:ID>VAT</cbc:ID></cac:TaxScheme>
</cac:TaxCategory></cac:TaxSubtotal></cac:TaxTotal>
<cac:LegalMonetaryTotal><cbc:LineExtensionAmount currencyID="EUR">{goods}</cbc:LineExtensionAmount>
<cbc:TaxExclusiveAmount currencyID="EUR">{net}</cbc:TaxExclusiveAmount>
<cbc:TaxInclusiveAmount currencyID="EUR">{gross}</cbc:TaxInclusiveAmount>
<cbc:ChargeTotalAmount currencyID="EUR">{freight}</cbc:ChargeTotalAmount>
<cbc:PayableAmount currencyID="EUR">{gross}</cbc:PayableAmount></cac:LegalMonetaryTotal>
<cac:InvoiceLine><cbc:ID>1</cbc:ID><cbc:InvoicedQuantity unitCode="C62">{quantity}</cbc:InvoicedQuantity>
<cbc:LineExtensionAmount currencyID="EUR">{goods}</cbc:LineExtensionAmount><cac:Item><cbc:Name>{name}</cbc:Name>
<cac:SellersItemIdentification><cbc:ID>{number}</cbc:ID></cac:SellersItemIdentification><cac:ClassifiedTaxCategory>
<cbc:ID>S</cbc:ID><cbc:Percent>23</cbc:Percent><cac:TaxScheme><cbc:ID>VAT</cbc:ID></cac:TaxScheme></cac:ClassifiedTaxCategory>
</cac:Item><cac:Price><cbc:PriceAmount currencyID="EUR">{price:.2f}</cbc:PriceAmount></cac:Price></cac:InvoiceLine>
</Invoice>
"""


def came(line: ReceiptLine, *, office: Person) -> None:
    """The invoice over one line of a delivery, at a price a little higher than ordered, waits to be recorded."""
    order_line = line.order_line
    assert order_line is not None  # noqa: S101 - it was ordered
    price = line.price + Decimal("0.80")
    goods = round_money(price * line.quantity, "EUR")
    net = goods + FREIGHT
    tax = round_money(net * RATE, "EUR")
    today = clock.today()
    text = _FILE.format(
        day=today, due=today + timedelta(days=30), order=order_line.order.number, seller=line.receipt.supplier.name,
        freight=FREIGHT, tax=tax, net=net, gross=net + tax, goods=goods, quantity=f"{line.quantity:.0f}", name=order_line.name,
        number=order_line.number, price=price,
    )  # fmt: skip
    buying.keep_einvoice(buying.read_einvoice("BSD-50117.xml", text.encode()), by=office)
