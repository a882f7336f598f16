"""Goods receipts: counted, then posted into stock."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb

from .. import actions, queries
from ..models import GoodsReceipt, ReceiptLine

_ID: dict[str, Any] = {"min_value": 1, "max_value": 2**63 - 1, "required": False}


class ReceiptEdit(Body):
    delivery_note = Text(max_length=60, help_text="The supplier's number; received once.")
    delivered_on = Day(required=False, help_text="Today if left out.")
    bin_id = Id(required=False, help_text="Where it goes unless a line says another.")
    freight = Money(min_value=0, required=False, help_text="Before tax, in the receipt's currency; spread by value.")
    duty = Money(min_value=0, required=False, help_text="The same for duty.")
    rate = Number(
        places=8,
        min_value=0,
        required=False,
        help_text="What one unit of its currency is in the shop's; 1 for its own.",
    )
    note = Text(max_length=200, required=False)


class ReceiptIn(ReceiptEdit):
    order_id = Id(required=False, help_text="What it was ordered with; or `supplier_id`.")
    supplier_id = Id(required=False)


class ReceiptLineEdit(Body):
    quantity = Number(min_value=0, help_text="In the part's unit.")
    bin_id = Id(required=False, allow_null=True)
    batch = Text(max_length=40, required=False, help_text="The supplier's.")
    expires_on = Day(required=False, allow_null=True, help_text="Last day it may be used.")
    serial_no = Text(max_length=60, required=False, help_text="For exactly one piece.")
    price = Money(
        places=6, min_value=0, required=False, help_text="Of a package as ordered; of a unit when it was not ordered."
    )
    quarantine_reason = Text(max_length=200, required=False, help_text="Why an expired batch is taken into quarantine.")


class ReceiptLineIn(ReceiptLineEdit):
    receipt_id = Id()
    order_line_id = Id(required=False, help_text="What it was ordered with; or `part_id`.")
    part_id = Id(required=False)


class ScanIn(Body):
    code = Text(
        max_length=400, help_text="GS1-128 with GS as \\u241d or in brackets, a GTIN, our number or the supplier's."
    )
    bin_id = Id(required=False, allow_null=True)


class OverIn(Body):
    reason = Text(max_length=200)


class SendBackIn(Body):
    quantity = Number(min_value=0, help_text="In the part's unit.")
    bin_id = Id(help_text="Where it lies.")
    reason = Text(max_length=120)
    replace = Flag(required=False, help_text="Awaited again on its order; true if left out.")


class ReceiptOut(Out):
    id = Id()
    number = serializers.CharField(help_text="Empty until it is posted.")
    supplier_id = Id()
    order_id = Id(allow_null=True)
    delivery_note = serializers.CharField()
    delivered_on = Day()
    bin_id = Id()
    currency = serializers.CharField()
    rate = Number(places=8)
    freight = Money()
    duty = Money()
    note = serializers.CharField()
    opened_at = Moment()
    posted_at = Moment(allow_null=True)
    version = Int()


class SentBackOut(Out):
    quantity = Number()
    reason = serializers.CharField()
    replace = Flag()
    movement_id = Id()
    at = Moment()


class ReceiptLineOut(Out):
    id = Id()
    receipt_id = Id()
    position = Int()
    order_line_id = Id(allow_null=True)
    part_id = Id()
    bin_id = Id(allow_null=True, help_text="Null: the receipt's.")
    quantity = Number(help_text="In the part's unit.")
    price = Money(places=6, help_text="For each `price_per`, before tax.")
    price_per = Number()
    batch = serializers.CharField()
    expires_on = Day(allow_null=True)
    serial_no = serializers.CharField()
    quarantine_reason = serializers.CharField()
    over_reason = serializers.CharField(help_text="Why more than was ordered is taken in.")
    net = Money(allow_null=True, help_text="In the receipt's currency; once posted.")
    freight = Money(allow_null=True, help_text="Its share.")
    duty = Money(allow_null=True, help_text="Its share.")
    value = Money(allow_null=True, help_text="Landed, in the shop's currency.")
    lot_id = Id(allow_null=True)
    sent_back = SentBackOut(many=True)
    version = Int(help_text="Of the receipt.")

    def to_representation(self, row: Any) -> Any:
        data = super().to_representation(row)
        data["sent_back"] = SentBackOut(row.sent_back.all(), many=True, context=self.context).data
        return data


class ReceiptQuery(Query):
    supplier_id = serializers.IntegerField(**_ID)
    order_id = serializers.IntegerField(**_ID)
    delivery_note = serializers.CharField(max_length=60, required=False, help_text="Whole.")
    posted = serializers.BooleanField(allow_null=True, default=None)


class GoodsReceipts(Resource):
    kind = "goods-receipt"
    out = ReceiptOut

    @lists("buying.read", query=ReceiptQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.receipts(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.receipt(pk)

    @posts("stock.receive", body=ReceiptIn)
    def create(self, request: Any, body: dict[str, Any]) -> GoodsReceipt:
        """A delivery came; nothing is in stock before it is posted."""
        return actions.open_receipt(by=request.user, **body)

    @edits("stock.receive", body=ReceiptEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> GoodsReceipt:
        return actions.edit_receipt(pk, expect, by=request.user, **body)

    @removes("stock.receive")
    def destroy(self, request: Any, pk: int, expect: int) -> None:
        """Throw it away before it is posted."""
        actions.discard_receipt(pk, expect, by=request.user)

    @verb("stock.receive", path="scan", body=ScanIn, out=ReceiptLineOut, status=201)
    def scan(self, request: Any, body: dict[str, Any], pk: int) -> ReceiptLine:
        """A package was scanned: one more of it came."""
        return actions.scan_receipt_line(pk, by=request.user, **body)

    @verb("stock.receive", path="fill")
    def fill(self, request: Any, body: dict[str, Any], pk: int) -> GoodsReceipt:
        """All that is awaited of its order came."""
        return actions.fill_receipt(pk, by=request.user)

    @verb("stock.receive", path="post")
    def post_it(self, request: Any, body: dict[str, Any], pk: int) -> GoodsReceipt:
        """Into stock, at landed cost. From then on it never changes."""
        return actions.post_receipt(pk, None, by=request.user)


class ReceiptLineQuery(Query):
    receipt_id = serializers.IntegerField(**_ID)
    order_line_id = serializers.IntegerField(**_ID)
    part_id = serializers.IntegerField(**_ID)


class ReceiptLines(Resource):
    kind = "goods-receipt-line"
    out = ReceiptLineOut

    @lists("buying.read", query=ReceiptLineQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.receipt_lines(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> ReceiptLine | None:
        return queries.receipt_line(pk)

    @posts("stock.receive", body=ReceiptLineIn)
    def create(self, request: Any, body: dict[str, Any]) -> ReceiptLine:
        return actions.add_receipt_line(body.pop("receipt_id"), None, by=request.user, **body)

    @edits("stock.receive", body=ReceiptLineEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> ReceiptLine:
        return actions.edit_receipt_line(pk, expect, by=request.user, **body)

    @removes("stock.receive")
    def destroy(self, request: Any, pk: int, expect: int) -> None:
        actions.remove_receipt_line(pk, expect, by=request.user)

    @verb("buying.override", path="accept-over", body=OverIn)
    def accept(self, request: Any, body: dict[str, Any], pk: int) -> ReceiptLine:
        """Take in more than was ordered."""
        return actions.accept_over(pk, by=request.user, **body)

    @verb("stock.receive", path="send-back", body=SendBackIn, out=SentBackOut, status=201)
    def give_back(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Some of it goes back to the supplier."""
        return actions.send_back(receipt_line_id=pk, by=request.user, **body)
