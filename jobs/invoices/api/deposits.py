"""/api/v1/deposits/: ask for money before the work is billed, and what of it is still to be taken off."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Money, Number, Out, Text
from shop.api.kit import Resource, posts, reads

from .. import actions, prepaid
from ..models import Invoice
from .invoices import InvoiceOut


class DepositIn(Body):
    card_id = Id(required=False, help_text="Either a card,")
    customer_id = Id(required=False, help_text="or a customer, for a sale without a card.")
    percent = Number(required=False, places=3, digits=6, help_text="Of what is agreed on the card; or")
    amount = Money(required=False, help_text="so much without VAT, shared over the VAT rates of what is agreed.")
    text = Text(max_length=240, required=False, help_text="What stands on it.")


class DepositShareOut(Out):
    """What of a deposit invoice is neither taken off nor credited, at one VAT rate."""

    deposit_id = Id(source="deposit")
    number = serializers.CharField()
    issued_on = Day(source="on")
    tax_category = serializers.CharField(source="vat.category")
    tax_percent = Number(source="vat.rate")
    net = Money()
    tax = Money()


class DepositLeftOut(Out):
    items = DepositShareOut(many=True)


class Deposits(Resource):
    kind = "invoice"
    out = InvoiceOut

    @posts("invoices.issue", body=DepositIn, out=InvoiceOut)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """A draft of a deposit or stage invoice. It is looked at, changed and issued as an invoice."""
        return actions.draft_deposit(by=request.user, **body)

    @reads("invoices.read", path="left", out=DepositLeftOut)
    def left(self, request: Any, pk: int) -> Any:
        """What of a deposit invoice is still to be taken off, by VAT rate."""
        row = Invoice.objects.filter(pk=pk, kind=Invoice.Kind.DEPOSIT, issued_at__isnull=False).first()
        return None if row is None else {"items": prepaid.left([row])}
