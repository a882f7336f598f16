"""/api/v1/reorder-proposals/, reorder-runs/, reorder-rules/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.parts.models import PartKind
from shop.api.fields import AnyJson, Body, Choice, Day, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, verb

from . import actions, queries


class ProposalOut(Out):
    id = Id()
    run_id = Id()
    part_id = Id()
    part_number = serializers.CharField(source="part.number")
    part_name = serializers.CharField(source="part.name")
    unit = serializers.CharField(source="part.unit")
    site_id = Id()
    supplier_id = Id(allow_null=True)
    quantity = Number(help_text="In the part's unit.")
    price = Money(places=6, allow_null=True, help_text="Expected, of one unit; null: not known.")
    rank = Int(help_text="1: the most urgent of its run.")
    reason = serializers.CharField(help_text="Why so much and why now, in one sentence.")
    figures = AnyJson(help_text="What the sentence is made from; quantities as text in the part's unit.")
    state = serializers.CharField(help_text="open, ordered or put-off.")
    ordered_at = Moment(allow_null=True)
    ordered_as = serializers.CharField()
    put_off_at = Moment(allow_null=True)
    put_off_until = Day(allow_null=True)
    note = serializers.CharField()
    version = Int()

    def to_representation(self, row: Any) -> Any:
        shown = super().to_representation(row)
        if "costs.read" not in self.context["rights"]:
            shown["price"] = None
        return shown


class ProposalQuery(Query):
    state = serializers.ChoiceField(choices=queries.STATES, default="open")
    site_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    part_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    supplier_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    kind = serializers.ChoiceField(choices=PartKind.choices, required=False)


class OrderIn(Body):
    quantity = Number(required=False, min_value=0, help_text="Another quantity than proposed, in the part's unit.")
    supplier_id = Id(required=False)


class PutOffIn(Body):
    note = Text(max_length=200, help_text="Why not now.")
    until = Day(required=False, help_text="Not proposed again before this day; a month from now if left out.")


class Proposals(Resource):
    kind = "proposal"
    out = ProposalOut

    @lists("reorder.read", query=ProposalQuery, orders={"urgent": ("rank", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.proposals(**query)

    @reads("reorder.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.proposal(pk)

    @verb("reorder.edit", path="order", body=OrderIn)
    def order(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Order what is proposed."""
        return actions.order(pk, None, by=request.user, **body)

    @verb("reorder.edit", path="put-off", body=PutOffIn)
    def put_off(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Not now; the part isn't proposed again before a day."""
        return actions.put_off(pk, None, by=request.user, **body)


class RunOut(Out):
    id = Id()
    at = Moment()
    by_id = Id(allow_null=True)
    months = Int(help_text="Of history.")
    looked_at = Int(help_text="Parts at a site with demand, a need or a limit of their own.")
    proposed = Int()
    left_out = Int(
        help_text="Below their level and not proposed: the money, a no not long ago, or too old before used."
    )


class Asked(Out):
    asked = serializers.BooleanField(help_text="It is worked out a moment later; look at the newest run.")


class Runs(Resource):
    kind = "reorderrun"
    out = RunOut

    @lists("reorder.read", orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.runs(**query)

    @reads("reorder.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.run(pk)

    @posts("reorder.edit", out=Asked)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Have all proposals worked out anew."""
        actions.ask_for_run(by=request.user)
        return {"asked": True}


class RuleEdit(Body):
    service_percent = Number(
        places=2,
        digits=5,
        required=False,
        allow_null=True,
        min_value=0,
        help_text="Of 100 waits so many without missing.",
    )
    order_cost = Money(places=6, required=False, allow_null=True, min_value=0, help_text="Of one order line.")
    holding_percent = Number(
        places=2, digits=5, required=False, allow_null=True, min_value=0, help_text="Of the price, a year."
    )
    lead_days = Int(required=False, allow_null=True, min_value=0, max_value=730)
    review_days = Int(required=False, allow_null=True, min_value=1, max_value=180)
    budget = Money(places=6, required=False, allow_null=True, min_value=0, help_text="Of the whole shop, for one run.")
    for_cards_only = Flag(
        required=False, allow_null=True, help_text="Not kept on the shelf: ordered when a card needs it."
    )


class RuleIn(RuleEdit):
    part_id = Id(required=False, allow_null=True)
    kind = Choice(choices=PartKind.choices, required=False, allow_blank=True)


class RuleOut(Out):
    id = Id()
    part_id = Id(allow_null=True)
    kind = serializers.CharField()
    service_percent = Number(places=2, allow_null=True)
    order_cost = Money(places=6, allow_null=True)
    holding_percent = Number(places=2, allow_null=True)
    lead_days = Int(allow_null=True)
    review_days = Int(allow_null=True)
    budget = Money(places=6, allow_null=True)
    for_cards_only = serializers.BooleanField(allow_null=True)
    version = Int()


class Rules(Resource):
    kind = "reorderrule"
    out = RuleOut

    @lists("reorder.read", orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.rules(**query)

    @reads("reorder.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.rule(pk)

    @posts("reorder.edit", body=RuleIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_rule(by=request.user, **body)

    @edits("reorder.edit", body=RuleEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_rule(pk, expect, by=request.user, **body)


def register(router: Any) -> None:
    router.register("reorder-proposals", Proposals, basename="reorder-proposals")
    router.register("reorder-runs", Runs, basename="reorder-runs")
    router.register("reorder-rules", Rules, basename="reorder-rules")
