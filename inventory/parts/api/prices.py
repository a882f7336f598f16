"""/api/v1/price-rules/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Day, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes

from .. import actions, pricing, queries
from ..models import PartKind


class PriceRuleIn(Body):
    name = Text(max_length=80)
    kind = Choice(choices=PartKind.choices, required=False, allow_blank=True, help_text="Blank: any kind of part.")
    customer_class = Text(max_length=40, required=False, help_text="As on the customer; blank: everybody.")
    cost_from = Money(places=6, required=False, min_value=0)
    cost_below = Money(places=6, required=False, allow_null=True, min_value=0, help_text="null: no end.")
    markup_percent = Number(places=3, digits=8, min_value=0)
    step = Number(
        places=4, digits=8, required=False, min_value=0,
        help_text="Prices are multiples of it: " + ", ".join(map(str, pricing.STEPS)) + ".",
    )  # fmt: skip
    valid_from = Day(required=False)
    valid_to = Day(required=False, allow_null=True, help_text="The last day; null: no end.")


class PriceRuleOut(Out):
    id = Id()
    name = Text(max_length=80)
    kind = serializers.CharField()
    customer_class = Text(max_length=40)
    cost_from = Money(places=6)
    cost_below = Money(places=6, allow_null=True)
    markup_percent = Number(places=3)
    step = Number(places=4)
    valid_from = Day()
    valid_to = Day(allow_null=True)
    archived_at = Moment(allow_null=True)
    version = Int()


class PriceRuleQuery(Query):
    archived = serializers.BooleanField(default=False)


class PriceRules(Resource):
    kind = "price-rule"
    out = PriceRuleOut

    @lists("prices.read", query=PriceRuleQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.price_rules(**query)

    @reads("prices.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.price_rule(pk)

    @posts("prices.edit", body=PriceRuleIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_price_rule(by=request.user, **body)

    @edits("prices.edit", body=PriceRuleIn)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_price_rule(pk, expect, by=request.user, **body)

    @removes("prices.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.archive_price_rule(pk, expect, by=request.user)
