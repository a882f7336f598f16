"""The ledger read: movements, what there is of each part, what lies where. And bringing back a draw."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Id, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, reads, verb

from .. import actions, queries
from ..models import Balance, Movement

COST = "null unless you may see costs."


class Costed(Out):
    """An answer with fields that only those may see who hold the right costs.read; null for others."""

    costs: tuple[str, ...] = ()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown = super().to_representation(instance)
        if "costs.read" not in self.context["rights"]:
            shown |= dict.fromkeys(self.costs)
        return shown


class MovementOut(Costed):
    costs = ("value",)

    id = Id()
    kind = serializers.ChoiceField(choices=Movement.Kind.choices)
    posting = serializers.UUIDField(help_text="The same for rows that were posted together.")
    part_id = Id()
    lot_id = Id()
    bin_id = Id()
    site_id = Id()
    quantity = Number(help_text="In the part's unit; below zero when it left the bin.")
    value = Money(places=6, allow_null=True, help_text="Quantity times the cost of the lot; " + COST)
    at = Moment()
    by_id = Id(allow_null=True)
    label = serializers.CharField()  # type: ignore[assignment]
    reason = serializers.CharField()
    override = serializers.CharField()
    reverses_id = Id(
        allow_null=True, help_text="The draw that a return brings back, or the use whose cost a difference corrects."
    )


class MovementsOut(Out):
    movements = MovementOut(many=True)


class PutBack(Body):
    quantity = Number(help_text="In the part's unit; at most what was drawn and hasn't come back yet.")
    bin_id = Id(required=False, help_text="Left out: the bin it came from.")
    reason = Text(max_length=200, required=False)
    opened_on = Day(required=False, allow_null=True, help_text="The day the container was opened that this is left of.")


class MovementQuery(Query):
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    lot_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    bin_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    kind = serializers.ChoiceField(choices=Movement.Kind.choices, required=False)


class Movements(Resource):
    kind = "movement"
    out = MovementOut

    @lists("stock.read", query=MovementQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.movements(**query)

    @reads("stock.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.movement(pk)

    @verb("stock.move", path="put-back", body=PutBack)
    def put_back(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Bring back unused what this draw took. What was drawn for a card is brought back there (draws)."""
        return actions.put_back(by=request.user, movement_id=pk, **body)


class StockOut(Costed):
    costs = ("worth",)

    id = Id()
    part_id = Id()
    part_number = serializers.CharField(source="part.number")
    part_name = serializers.CharField(source="part.name")
    unit = serializers.CharField(source="part.unit")
    site_id = Id()
    on_hand = Number()
    reserved = Number(help_text="Promised out of what is on hand.")
    free = Number(help_text="Neither promised, expired nor in quarantine.")
    worth = Money(places=6, allow_null=True, help_text="What is on hand at the cost of its lots; " + COST)


class StockQuery(Query):
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    site_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class Stock(Resource):
    kind = "stock"
    out = StockOut

    @lists("stock.read", query=StockQuery, orders={"part": ("part_id", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.levels(**query)

    @reads("stock.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.levels().filter(pk=pk).first()


class PlaceOut(Costed):
    """Some of a lot in a bin."""

    costs = ("unit_cost",)

    id = Id()
    part_id = Id()
    part_number = serializers.CharField(source="part.number")
    unit = serializers.CharField(source="part.unit")
    lot_id = Id()
    lot_number = serializers.CharField(source="lot.number")
    bin_id = Id()
    bin_code = serializers.CharField(source="bin.code")
    on_hand = Number()
    last_day = Day(source="lot.last_day", allow_null=True, help_text="The last day it may be used.")
    unit_cost = Money(source="lot.cost", places=6, allow_null=True, help_text=COST)


class PlaceQuery(Query):
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    lot_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    bin_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    site_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class Places(Resource):
    kind = "place"
    out = PlaceOut

    @lists("stock.read", query=PlaceQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.balances(**query)

    @reads("stock.read")
    def retrieve(self, request: Any, pk: int) -> Balance | None:
        return queries.balances().filter(pk=pk).first()
