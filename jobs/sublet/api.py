"""/api/v1/sublet-bills/: what outside firms charge for stages that were sent out."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Moment, Money, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from . import actions, queries
from .models import SubletBill

_ID: dict[str, Any] = {"min_value": 1, "max_value": 2**63 - 1, "required": False}


class SubletBillIn(Body):
    stage_id = Id(help_text="A stage of the kind sublet.")
    supplier_id = Id()
    number = Text(max_length=60, help_text="The supplier's.")
    dated_on = Day(help_text="As it stands on the invoice.")
    net = Money(help_text="Before tax, in the shop's currency.")
    tax = Money(required=False, help_text="As stated; left out: none.")
    note = Text(max_length=200, required=False)


class TakeBackIn(Body):
    reason = Text(max_length=200)


class SubletBillOut(Out):
    id = Id()
    card_id = Id(source="stage.card_id")
    stage_id = Id()
    supplier_id = Id()
    supplier_name = serializers.CharField(source="supplier.name")
    number = serializers.CharField()
    dated_on = Day()
    net = Money(help_text="Before tax, in the shop's currency; below zero on a row that takes another back.")
    tax = Money()
    note = serializers.CharField()
    reverses_id = Id(allow_null=True, help_text="The bill that this row takes back.")
    reversed_by_id = serializers.SerializerMethodField(help_text="The row that took this bill back.")
    reason = serializers.CharField(help_text="Why it was taken back.")
    by_id = Id()
    at = Moment()

    def get_reversed_by_id(self, row: SubletBill) -> int | None:
        found = getattr(row, "reversal", None)
        return found.pk if found else None


class SubletBillQuery(Query):
    card_id = serializers.IntegerField(**_ID)
    stage_id = serializers.IntegerField(**_ID)
    supplier_id = serializers.IntegerField(**_ID)
    number = serializers.CharField(max_length=60, required=False, help_text="Whole.")


class SubletBills(Resource):
    kind = "sublet-bill"
    out = SubletBillOut

    @lists("costs.read", query=SubletBillQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.bills(**query)

    @reads("costs.read")
    def retrieve(self, request: Any, pk: int) -> SubletBill | None:
        return queries.bill(pk)

    @posts("buying.bill", body=SubletBillIn)
    def create(self, request: Any, body: dict[str, Any]) -> SubletBill:
        """Record what an outside firm charges for a stage of the kind sublet."""
        return actions.record_bill(by=request.user, **body)

    @verb("buying.bill", path="take-back", body=TakeBackIn, status=201, out=SubletBillOut)
    def take_back(self, request: Any, body: dict[str, Any], pk: int) -> SubletBill:
        """It was wrong: the answer is the row that takes it back."""
        return actions.take_back(pk, by=request.user, **body)


def register(router: Any) -> None:
    router.register("sublet-bills", SubletBills, basename="sublet-bills")
