"""Lots: received, moved, opened, counted, scrapped."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb
from shop.kernel.errors import DomainError

from .. import actions, queries
from .ledger import COST, Costed, MovementOut, MovementsOut


class LotIn(Body):
    part_id = Id()
    bin_id = Id()
    quantity = Number(help_text="In the part's unit.")
    unit_cost = Money(places=6, min_value=0, help_text="Per unit of the part, before tax.")
    currency = Text(max_length=3, required=False, help_text="The shop's own, which is taken if left out.")
    batch = Text(max_length=40, required=False, help_text="The supplier's.")
    expires_on = Day(
        required=False,
        allow_null=True,
        help_text="Last day it may be used. Left out: the part's shelf life from receipt, if it has one.",
    )
    serial_no = Text(max_length=60, required=False, help_text="For exactly one piece.")
    source = Text(max_length=120, required=False, help_text="Supplier and delivery note, or opening stock.")  # type: ignore[assignment]
    accept_expired = Text(
        max_length=200, required=False, help_text="Why an owner takes an expired batch into quarantine."
    )
    received_at = Moment(required=False, allow_null=True, help_text="When it came, if not now.")


class LotOut(Costed):
    costs = ("unit_cost", "cost_now")

    id = Id()
    number = serializers.CharField(help_text="Ours, on the label.")
    part_id = Id()
    batch = serializers.CharField()
    serial_no = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    received_at = Moment()
    expires_on = Day(allow_null=True)
    opened_at = Moment(allow_null=True)
    last_day = Day(allow_null=True, help_text="The last day it may be used, opened or not.")
    opened_from_id = Id(allow_null=True)
    unit_cost = Money(places=6, allow_null=True, help_text="As received; " + COST)
    cost_now = Money(source="cost", places=6, allow_null=True, help_text="As far as is known now; " + COST)
    currency = serializers.CharField()


class ManyIn(Body):
    items = serializers.ListField(child=LotIn(), min_length=1, max_length=500)


class FieldWrong(Out):
    pointer = serializers.CharField(help_text="JSON pointer of the field in the item.")
    detail = serializers.CharField()


class ItemRefused(Out):
    code = serializers.CharField()
    detail = serializers.CharField(source="message")
    errors = serializers.SerializerMethodField()  # type: ignore[assignment]

    @extend_schema_field(FieldWrong(many=True))
    def get_errors(self, error: DomainError) -> list[dict[str, str]]:
        return [{"pointer": f"/{name}", "detail": text} for name, texts in error.fields.items() for text in texts]


class ItemOut(Out):
    lot = LotOut(allow_null=True)
    error = ItemRefused(allow_null=True, help_text="Why this one was not received.")


class ManyOut(Out):
    """What became of each item, in the order sent."""

    results = ItemOut(many=True)


class Move(Body):
    from_bin_id = Id()
    to_bin_id = Id()
    quantity = Number()
    reason = Text(max_length=200, required=False)


class Scrap(Body):
    bin_id = Id()
    quantity = Number()
    reason = Text(max_length=200)


class Count(Body):
    bin_id = Id()
    counted = Number(help_text="What lies there, zero or more.")
    reason = Text(max_length=200, required=False, help_text="Needed when it differs from the ledger.")


class CountOut(Out):
    movement = MovementOut(allow_null=True, help_text="The difference; null when the count agrees.")


class Open(Body):
    bin_id = Id(required=False, allow_null=True)
    quantity = Number(
        required=False,
        allow_null=True,
        help_text="How much of the lot was opened (one tube of six); left out: all of it.",
    )


class Revalue(Body):
    new_unit_cost = Money(places=6, min_value=0, help_text="Per unit of the part, before tax, with freight and duty.")
    reason = Text(max_length=200, help_text="The invoice that says so.")


class RevaluationOut(Out):
    id = Id()
    lot_id = Id()
    was = Money(places=6)
    now = Money(places=6)
    on_hand = Number(help_text="What lay here then, in the part's unit.")
    used = Number(help_text="What had left the lot by then.")
    on_hand_value = Money(places=6, help_text="What the stock is worth more, or less.")
    used_value = Money(places=6, help_text="What the use of it cost more, or less.")
    reason = serializers.CharField()
    at = Moment()
    by_id = Id()


class LotQuery(Query):
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    number = serializers.CharField(max_length=24, required=False)
    batch = serializers.CharField(max_length=40, required=False)


class BreakOpen(Body):
    bin_id = Id()
    quantity = Number(help_text="So many kits.")
    to_bin_id = Id(required=False, allow_null=True, help_text="Where the parts go; the same bin if left out.")


class BrokenOpen(Out):
    lots = LotOut(many=True)


class Lots(Resource):
    kind = "lot"
    out = LotOut

    @lists("stock.read", query=LotQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.lots(**query)

    @reads("stock.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.lot(pk)

    @posts("stock.receive", body=LotIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Receive a lot into a bin."""
        return actions.receive(by=request.user, **body)

    @verb("stock.receive", path="receive-many", body=ManyIn, out=ManyOut, detail=False)
    def receive_many(self, request: Any, body: dict[str, Any]) -> Any:
        """Receive up to 500 lots. What can't be received is named beside what was; nothing of it is written."""
        arrivals = [actions.Arrival(**item) for item in body["items"]]
        return {"results": actions.receive_each(by=request.user, arrivals=arrivals)}

    @verb("stock.move", path="transfer", body=Move, out=MovementsOut)
    def transfer(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Move some of it into another bin."""
        return {"movements": actions.transfer(by=request.user, lot_id=pk, **body)}

    @verb("stock.scrap", path="scrap", body=Scrap, out=MovementOut)
    def scrap(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Throw some of it away."""
        return actions.scrap(by=request.user, lot_id=pk, **body)

    @verb("stock.count", path="count", body=Count, out=CountOut)
    def count(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Say what lies in a bin; a difference is posted with its reason."""
        return {"movement": actions.count(by=request.user, lot_id=pk, **body)}

    @verb("stock.move", path="open", body=Open)
    def open(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """A container was opened: the days it keeps open count from now."""
        return actions.open_lot(by=request.user, lot_id=pk, **body)

    @verb("stock.move", path="break-open", body=BreakOpen, out=BrokenOpen)
    def break_open(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Take kits apart: they leave the bin, their parts come in as lots of their own; no cent is lost."""
        return {"lots": actions.break_open(by=request.user, lot_id=pk, **body)}

    @verb("stock.revalue", path="revalue", body=Revalue, out=RevaluationOut)
    def revalue(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """A late invoice says another cost: the difference is posted, what was posted before stays."""
        return actions.revalue(by=request.user, lot_id=pk, **body)


class RevaluationQuery(Query):
    lot_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class Revaluations(Resource):
    kind = "revaluation"
    out = RevaluationOut

    @lists("stock.value", query=RevaluationQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.revaluations(**query)

    @reads("stock.value")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.revaluations().filter(pk=pk).first()
