"""/api/v1/needs/"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Id, Int, Moment, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel.errors import BadInput

from .. import actions, queries
from ..models import Need
from . import shapes


class NeedIn(Body):
    stage_id = Id()
    part_id = Id(help_text="An archived part is refused.")
    quantity = Number(help_text="In the part's unit.")
    note = Text(max_length=200, required=False)


class NeedEdit(Body):
    quantity = Number()
    note = Text(max_length=200, required=False)


class NeedOut(Out):
    id = Id()
    card_id = Id(source="stage.card_id")
    stage_id = Id()
    part_id = Id()
    part_number = serializers.CharField(source="part.number")
    part_name = serializers.CharField(source="part.name")
    unit = serializers.CharField(source="part.unit")
    quantity = Number()
    drawn = Number(help_text="Drawn less returned.")
    kept = serializers.SerializerMethodField(help_text="Kept on the shelf for it.")
    note = serializers.CharField()
    declined_at = Moment(allow_null=True, help_text="When the customer said no to it: it is neither kept nor drawn.")
    declined_ref = serializers.CharField(help_text="The document that they answered.")
    version = Int()

    def get_kept(self, need: Need) -> str:
        held = need.reservation
        return str(Number().to_representation(held.quantity if held and held.ended_at is None else 0))


class ByCard(Query):
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="Id of the card.")


class ByCardOnly(serializers.Serializer):
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="Id of the card.")


class Needs(Resource):
    kind = "need"
    out = NeedOut

    @lists("draws.read", query=ByCard, orders={"stage": ("stage__position", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.needs(query["card_id"])

    @reads("draws.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return Need.objects.select_related("part", "stage", "reservation").filter(pk=pk, removed_at=None).first()

    @posts("draws.plan", body=NeedIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_need(by=request.user, **body)

    @edits("draws.plan", body=NeedEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        if "quantity" not in body:
            raise BadInput("Send the quantity too.", fields={"quantity": ["Send the quantity that is needed."]})
        return actions.edit_need(pk, expect, by=request.user, **body)

    @removes("draws.plan")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.remove_need(pk, expect, by=request.user)

    @verb("draws.plan", path="keep")
    def keep(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Keep what is free on the shelf for this need."""
        return actions.keep(pk, by=request.user)

    @verb("draws.plan", path="let-go")
    def let_go(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Give back to the shelf what is kept for this need."""
        return actions.let_go(pk, by=request.user)

    @reads("draws.read", path="supply", detail=False, query=ByCardOnly, out=shapes.SuppliesOut)
    def supply(self, request: Any, query: dict[str, Any]) -> Any:
        """Where everything that a card still has to draw comes from."""
        return {"items": queries.supplied(query["card_id"])}

    @reads("draws.read", path="rivals", out=shapes.SuppliesOut)
    def rivals(self, request: Any, pk: int) -> Any:
        """Who else needs this part at this site and what they get, in their turn by the promised days."""
        row = queries.need(pk)
        return None if row is None else {"items": queries.rivals(row)}

    @reads("draws.move", path="move-outlook", query=shapes.MoveQuery, out=shapes.EffectsOut)
    def move_outlook(self, request: Any, pk: int, query: dict[str, Any]) -> Any:
        """What moving so much to this need would do to whom, and to what was promised. Nothing is changed."""
        row = queries.need(pk)
        if row is None:
            return None
        if "from_need_id" not in query:
            return {"items": []}
        return {"items": queries.look_at_move(pk, **{"quantity": Decimal(1), **query})}

    @verb("draws.move", path="move", body=shapes.MoveIn)
    def move(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Give this need what another one has, kept or coming. Ask `move-outlook` first who loses what."""
        return actions.move(pk, by=request.user, **body)

    @verb("draws.order", path="order", body=shapes.OrderIn, out=shapes.OrderedLineOut)
    def order(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Order what it lacks, onto the draft order of who sells it; on arrival it is kept for this need first."""
        return actions.order_for(pk, by=request.user, **body)
