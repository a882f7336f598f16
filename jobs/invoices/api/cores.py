"""/api/v1/cores-out/, /core-returns/, /core-hand-ins/: deposits on old parts, and what became of those parts."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Flag, Id, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, cores
from ..models import InvoiceLine


class CoreOut(Out):
    """A line of an issued invoice that charges a core deposit; its id is that of the line."""

    id = Id()
    invoice_id = Id()
    invoice_number = serializers.CharField(source="invoice.number")
    issued_on = Day(source="invoice.issued_on")
    customer_id = Id(source="invoice.customer_id")
    customer_name = serializers.CharField(source="invoice.customer.name")
    card_id = Id(source="invoice.card_id", allow_null=True)
    card_number = serializers.SerializerMethodField()
    part_id = Id(allow_null=True)
    text = serializers.CharField()
    unit = serializers.CharField(help_text="UN/ECE Recommendation 20 code.")
    unit_price = Money(places=6, help_text="The deposit for one, without tax.")
    currency = serializers.CharField(source="invoice.currency")
    charged = Number(source="quantity")
    left = serializers.SerializerMethodField(help_text="Still out: neither credited nor kept.")

    def get_card_number(self, row: InvoiceLine) -> str:
        return row.invoice.card.number if row.invoice.card else ""

    def get_left(self, row: InvoiceLine) -> str:
        return str(Number().to_representation(cores.left_of(row)))


class CoreQuery(Query):
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    part_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class KeepIn(Body):
    quantity = Number()
    on = Day(help_text="The day of the sale in the books, from that of the invoice to today.")
    reason = Text(max_length=200)


class CoreReturnIn(Body):
    line_id = Id(help_text="A line of an issued invoice that charges a core deposit.")
    quantity = Number()
    condition = Text(max_length=300, help_text="How the old part is, in words.")
    accepted = Flag(required=False, help_text="Left out: yes, and its deposit is credited at once.")
    reason = Text(max_length=200, required=False, help_text="Why it was refused.")


class CoreHandInIn(Body):
    card_id = Id()
    part_id = Id(help_text="A part on which a core deposit is charged.")
    quantity = Number()
    condition = Text(max_length=300, help_text="How the old part is, in words.")
    accepted = Flag(required=False, help_text="Left out: yes, and the invoice charges no deposit for it.")
    reason = Text(max_length=200, required=False, help_text="Why it was refused.")


class CoreReturnOut(Out):
    id = Id()
    line_id = Id(allow_null=True, help_text="Of an invoice; null: handed in with a card, before its invoice.")
    card_id = Id(allow_null=True)
    part_id = Id(allow_null=True)
    quantity = Number()
    outcome = serializers.CharField(help_text="accepted, refused or kept.")
    condition = serializers.CharField()
    reason = serializers.CharField()
    credit_note_id = Id(allow_null=True)
    kept_on = Day(allow_null=True)
    amount = Money(allow_null=True, help_text="Kept, without tax.")
    reverses_id = Id(allow_null=True, help_text="The record that this one undoes.")
    by_id = Id()
    at = Moment()


class CoreReturnQuery(Query):
    customer_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    line_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class UndoIn(Body):
    reason = Text(max_length=200)


class CoresOut(Resource):
    kind = "invoice-line"
    out = CoreOut

    @lists("invoices.read", query=CoreQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """Core deposits of issued invoices whose old part is still out."""
        return cores.charged(**query)

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return cores.charged_line(pk)

    @verb("invoices.override", path="keep", body=KeepIn, status=201, out=CoreReturnOut)
    def keep(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """The old part doesn't come any more: its deposit is a sale."""
        return actions.keep_deposit(pk, by=request.user, **body)


class CoreReturns(Resource):
    kind = "core-return"
    out = CoreReturnOut

    @lists("invoices.read", query=CoreReturnQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return cores.returns(**query)

    @reads("invoices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return cores.core_return(pk)

    @posts("invoices.credit", body=CoreReturnIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """An old part comes back after its deposit was invoiced. Accepted: the credit note is issued with it."""
        return actions.take_core(body.pop("line_id"), by=request.user, **body)

    @verb("invoices.override", path="undo", body=UndoIn, status=201, out=CoreReturnOut)
    def undo(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Record that this was wrong; not for what was credited."""
        return actions.undo_core(pk, by=request.user, **body)


class CoreHandIns(Resource):
    kind = "core-return"
    out = CoreReturnOut

    @posts("draws.draw", body=CoreHandInIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """An old part is here before the invoice is made, which then charges no deposit for it."""
        return actions.hand_in_core(body.pop("card_id"), by=request.user, **body)
