"""Suppliers' invoices."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads

from .. import actions, queries
from ..models import SupplierInvoice

_ID: dict[str, Any] = {"min_value": 1, "max_value": 2**63 - 1, "required": False}


class BilledIn(Body):
    receipt_line_id = Id()
    quantity = Number(min_value=0, required=False, help_text="In the part's unit; all that came if left out.")
    price = Money(
        places=6, min_value=0, required=False, help_text="Of a package as ordered; the receipt's if left out."
    )


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
    net = Money()
    difference = Money(help_text="What the lot turned out to cost more by it, in the shop's currency.")


class SupplierInvoiceOut(Out):
    id = Id()
    supplier_id = Id()
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
