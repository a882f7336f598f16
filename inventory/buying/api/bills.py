"""Suppliers' invoices."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Flag, Id, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, queries
from ..models import SupplierInvoice, SupplierInvoiceLine

_ID: dict[str, Any] = {"min_value": 1, "max_value": 2**63 - 1, "required": False}


class BilledIn(Body):
    receipt_line_id = Id()
    quantity = Number(min_value=0, required=False, help_text="In the part's unit; all that came if left out.")
    price = Money(
        places=6, min_value=0, required=False, help_text="Of a package as ordered; the receipt's if left out."
    )


class CreditedIn(Body):
    receipt_line_id = Id(help_text="One that the invoice charges.")
    quantity = Number(min_value=0, help_text="In the part's unit: what went back, or whose price is corrected.")
    price = Money(
        places=6, min_value=0, required=False,
        help_text="Of a package as ordered: what is credited of each; as charged if left out.",
    )  # fmt: skip
    corrects = Flag(required=False, help_text="It was kept, and its price is less by `price`.")


class SupplierCreditIn(Body):
    number = Text(max_length=60, help_text="The supplier's; recorded once.")
    dated_on = Day()
    lines = serializers.ListField(child=CreditedIn(), min_length=1, max_length=500)
    freight = Money(min_value=0, required=False, help_text="That comes back.")
    duty = Money(min_value=0, required=False)
    allowance = Money(min_value=0, required=False, help_text="What they keep of it, before tax.")
    total = Money(min_value=0, help_text="Before tax, as it states; must be the sum.")
    tax = Money(min_value=0, required=False)
    note = Text(max_length=200, required=False)


class SupplierInvoiceIn(Body):
    supplier_id = Id()
    number = Text(max_length=60, help_text="The supplier's; recorded once.")
    dated_on = Day()
    due_on = Day(required=False, allow_null=True)
    lines = serializers.ListField(child=BilledIn(), min_length=1, max_length=500)
    freight = Money(min_value=0, required=False)
    duty = Money(min_value=0, required=False)
    allowance = Money(min_value=0, required=False, help_text="Taken off the whole of it, before tax.")
    total = Money(min_value=0, help_text="Before tax, as it states; must be the sum.")
    tax = Money(min_value=0, required=False)
    note = Text(max_length=200, required=False)


class SupplierInvoiceLineOut(Out):
    receipt_line_id = Id()
    quantity = Number()
    price = Money(places=6)
    price_per = Number()
    effect = serializers.ChoiceField(choices=SupplierInvoiceLine.Effect.choices)
    net = Money(help_text="Charged; on a credit note credited.")
    difference = Money(help_text="What the lot turned out to cost more by it, in the shop's currency.")


class SupplierInvoiceOut(Out):
    id = Id()
    supplier_id = Id()
    credits_id = Id(allow_null=True, help_text="The invoice that a credit note credits.")
    number = serializers.CharField()
    dated_on = Day()
    due_on = Day(allow_null=True)
    currency = serializers.CharField()
    freight = Money()
    duty = Money()
    allowance = Money()
    total_net = Money()
    tax = Money()
    note = serializers.CharField()
    at = Moment()
    lines = SupplierInvoiceLineOut(many=True)

    def to_representation(self, row: Any) -> Any:
        data = super().to_representation(row)
        data["lines"] = SupplierInvoiceLineOut(row.lines.all(), many=True, context=self.context).data
        return data


class SupplierInvoiceQuery(Query):
    supplier_id = serializers.IntegerField(**_ID)
    number = serializers.CharField(max_length=60, required=False, help_text="Whole.")


class SupplierInvoices(Resource):
    kind = "supplier-invoice"
    out = SupplierInvoiceOut

    @lists("buying.read", query=SupplierInvoiceQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.supplier_invoices(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> SupplierInvoice | None:
        return queries.supplier_invoice(pk)

    @posts("buying.bill", body=SupplierInvoiceIn)
    def create(self, request: Any, body: dict[str, Any]) -> SupplierInvoice:
        """Record it; another price than received goes into the value of the lots."""
        given = [actions.Billed(**x) for x in body.pop("lines")]
        return actions.record_supplier_invoice(by=request.user, lines=given, **body)

    @verb("buying.bill", path="credit", body=SupplierCreditIn, status=201, out=SupplierInvoiceOut)
    def credit(self, request: Any, body: dict[str, Any], pk: int) -> SupplierInvoice:
        """Record their credit note over it: what went back is no longer charged, a corrected price goes into the lots."""
        given = [actions.Credited(**x) for x in body.pop("lines")]
        return actions.record_supplier_credit(pk, by=request.user, lines=given, **body)
