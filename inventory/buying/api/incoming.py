"""Electronic invoices that came: send the file, look at what was understood, have it recorded as the supplier's bill."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.parsers import MultiPartParser

from shop.api.fields import Body, Choice, Day, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.files import Sent, takes_file
from shop.api.kit import Resource, lists, reads, verb
from shop.api.parsing import JSONBody

from .. import actions, incoming
from ..models import IncomingInvoice, SupplierInvoice
from ..recognising import EFFECTS, WHAT, Assigned
from .bills import SupplierInvoiceOut

_ID: dict[str, Any] = {"min_value": 1, "max_value": 2**63 - 1, "required": False}


class EInvoiceFileIn(Body):
    file = serializers.FileField(
        allow_empty_file=True, max_length=None,
        help_text="EN 16931 as UN/CEFACT CII or UBL 2.1: the XML (5 MB), or a PDF with it inside (15 MB).",
    )  # fmt: skip


class IncomingQuery(Query):
    state = serializers.ChoiceField(
        choices=incoming.STATES, required=False, help_text="open (the default), taken, or set aside."
    )
    supplier_id = serializers.IntegerField(**_ID)


class IncomingRowOut(Out):
    id = Id()
    supplier_id = Id(allow_null=True, help_text="Null: not known, neither by VAT number nor by name.")
    seller = serializers.CharField(help_text="As the file states it.")
    number = serializers.CharField()
    dated_on = Day()
    currency = serializers.CharField()
    total_net = Money()
    at = Moment()
    bill_id = Id(allow_null=True, help_text="The supplier's invoice that it was recorded as.")
    set_aside_at = Moment(allow_null=True)


class FindingOut(Out):
    code = serializers.CharField()
    text = serializers.CharField()
    stops = Flag(help_text="It can't be taken as it is.")


class AssignedOut(Out):
    position = Int()
    what = Choice(choices=WHAT)
    receipt_line_id = Id(allow_null=True)
    quantity = Number(allow_null=True, help_text="In the part's unit.")
    effect = Choice(choices=EFFECTS, allow_null=True, help_text="On a credit note, as in what you send. Else null.")


class IncomingLineOut(Out):
    position = Int(source="stated.position")
    name = serializers.CharField(source="stated.name")
    quantity = Number(source="stated.quantity", places=12)
    unit = serializers.CharField(
        source="stated.unit", help_text="As the file states it (UN/ECE Recommendation 20 or 21)."
    )
    price = Number(source="stated.price", places=12, help_text="For each `price_per`.")
    price_per = Number(source="stated.price_per", places=12)
    net = Number(source="stated.net", places=12)
    part_id = Id(source="part.pk", allow_null=True, help_text="Null: not recognised.")
    told_by = serializers.CharField(help_text="By what the part was recognised; empty when it wasn't.")
    proposed = AssignedOut(many=True)

    def to_representation(self, row: Any) -> Any:
        part, row.part = row.part, row.part or _NoPart
        try:
            return super().to_representation(row)
        finally:
            row.part = part


class _NoPart:
    pk = None


class IncomingOut(IncomingRowOut):
    syntax = Choice(choices=["cii", "ubl"])
    kind = serializers.CharField(help_text="UNTDID 1001, BT-3.")
    due_on = Day(allow_null=True)
    order_id = Id(allow_null=True, help_text="Your order that it names.")
    tax = Number(places=12)
    gross = Number(places=12)
    charges = Number(places=12, help_text="On the whole of it, before tax (BT-108); recorded as freight.")
    allowances = Number(places=12, help_text="Taken off the whole of it, before tax (BT-107).")
    findings = FindingOut(many=True)
    lines = IncomingLineOut(many=True)

    def to_representation(self, look: Any) -> Any:
        row, stated = look.incoming, look.stated
        data = IncomingRowOut(row, context=self.context).data
        shown = {"syntax": stated.syntax, "kind": stated.kind, "due_on": stated.due_on and str(stated.due_on)}
        number = Number(places=12).to_representation
        amounts = {
            "tax": stated.tax, "gross": stated.gross, "charges": stated.sum_charges, "allowances": stated.sum_allowances,
        }  # fmt: skip
        return {
            **data,
            **shown,
            "order_id": look.order and look.order.pk,
            **{name: number(value) for name, value in amounts.items()},
            "findings": FindingOut(look.findings, many=True, context=self.context).data,
            "lines": IncomingLineOut(look.lines, many=True, context=self.context).data,
        }


class WhoseIn(Body):
    supplier_id = Id()


class AssignedIn(Body):
    position = Int(min_value=1, help_text="Of the invoice's line; several for one where it charges several receipts.")
    what = serializers.ChoiceField(choices=WHAT)
    receipt_line_id = Id(required=False, help_text="For goods.")
    quantity = Number(min_value=0, required=False, help_text="For goods, in the part's unit.")
    effect = serializers.ChoiceField(
        choices=EFFECTS, required=False,
        help_text="For goods on a credit note: returned (they went back or never came, or the invoice is cancelled: no longer "
        "charged) or price (they are kept at a lower price). Left out, what went back, never came or is credited at the price "
        "charged is returned.",
    )  # fmt: skip


class TakeIn(Body):
    lines = serializers.ListField(
        child=AssignedIn(), max_length=500, required=False, help_text="What isn't named here is for what is proposed."
    )
    note = Text(max_length=200, required=False)


class IncomingInvoices(Resource):
    kind = "incoming-invoice"
    out = IncomingOut
    parser_classes = (MultiPartParser, JSONBody)

    @lists("buying.read", query=IncomingQuery, out=IncomingRowOut, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return incoming.waiting(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> incoming.Look | None:
        """What was understood of it, and what was not."""
        return incoming.look(pk)

    @takes_file("buying.bill", body=EInvoiceFileIn, out=IncomingOut)
    def create(self, request: Any, given: dict[str, Any], name: str, raw: bytes) -> Sent:
        """Send a file: it is kept, and answered with what was understood. Nothing is recorded yet."""
        found = actions.read_einvoice(name, raw)
        return [], lambda: incoming.look(actions.keep_einvoice(found, by=request.user).pk)

    @verb("buying.bill", path="supplier", body=WhoseIn)
    def supplier(self, request: Any, body: dict[str, Any], pk: int) -> incoming.Look | None:
        """Say whose it is."""
        actions.name_supplier(pk, by=request.user, **body)
        return incoming.look(pk)

    @verb("buying.bill", path="take", body=TakeIn, out=SupplierInvoiceOut)
    def take(self, request: Any, body: dict[str, Any], pk: int) -> SupplierInvoice:
        """Record it as the supplier's bill, with the amounts that it states and the file kept."""
        given = [Assigned(**x) for x in body.pop("lines", [])]
        return actions.take_einvoice(pk, by=request.user, lines=given, **body)

    @verb("buying.bill", path="set-aside", out=IncomingRowOut)
    def set_aside(self, request: Any, body: dict[str, Any], pk: int) -> IncomingInvoice:
        """It is not yours, or was recorded by hand. Its file stays in store."""
        return actions.set_aside_einvoice(pk, by=request.user)
