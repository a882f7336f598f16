"""/api/v1/parts/"""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shop.api.fields import Body, Choice, Day, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel import units

from .. import actions, ghs, pricing, queries
from ..barcodes import LONGEST
from ..models import PartKind

UNITS = [(u.code, u.name) for u in units.UNITS.values()]


class PartEdit(Body):
    number = Text(max_length=40, help_text="Unique, whatever its case.")
    name = Text(max_length=160)
    kind = Choice(choices=PartKind.choices)
    unit = Choice(
        choices=UNITS,
        required=False,
        help_text="UN/ECE Recommendation 20 code that quantities, price and cost are counted in; C62 (piece) if left out.",
    )
    single_use = Flag(required=False, help_text="Once fitted it does not come back.")
    sale_price = Money(
        required=False,
        allow_null=True,
        places=6,
        min_value=0,
        help_text="Per unit, before tax, in the shop's currency.",
    )
    tax_code = Text(max_length=20, required=False, help_text="Blank: the shop's usual rate.")
    shelf_life_days = Int(required=False, allow_null=True, min_value=1, max_value=actions.DAYS_LIMIT)
    open_life_days = Int(required=False, allow_null=True, min_value=1, max_value=actions.DAYS_LIMIT)
    hazards = serializers.ListField(
        child=Text(max_length=40),
        required=False,
        max_length=60,
        help_text="UN GHS codes, such as H225 or P305+P351+P338.",
    )
    storage_note = Text(max_length=200, required=False)
    reorder_point = Number(required=False, allow_null=True, min_value=0)
    note = Text(max_length=4000, lines=True, required=False)


class PartIn(PartEdit):
    barcodes = serializers.ListField(
        child=Text(max_length=LONGEST), required=False, max_length=20, help_text="More of them: POST /api/v1/barcodes/."
    )


class CodeOut(Out):
    id = Id()
    code = Text(max_length=LONGEST)
    is_gtin = serializers.BooleanField()
    used_by = Text(max_length=80)


class StatementOut(Out):
    code = serializers.CharField()
    text = serializers.CharField(help_text="In English, as the GHS has it; blank for a code it doesn't know.")


class HazardsOut(Out):
    signal = serializers.CharField(help_text="Danger, Warning or blank.")
    pictograms = serializers.ListField(child=serializers.CharField(), help_text="GHS01 to GHS09.")
    statements = StatementOut(many=True)
    precautions = StatementOut(many=True)


class PartOut(Out):
    id = Id()
    number = Text(max_length=40)
    name = Text(max_length=160)
    kind = serializers.CharField()
    unit = serializers.CharField()
    single_use = serializers.BooleanField()
    sale_price = Money(places=6, allow_null=True)
    tax_code = Text(max_length=20)
    barcodes = CodeOut(many=True)
    shelf_life_days = Int(allow_null=True)
    open_life_days = Int(allow_null=True)
    hazards = serializers.ListField(child=serializers.CharField())
    hazard_label = serializers.SerializerMethodField(
        help_text="What the codes come to after UN GHS. The safety data sheet rules."
    )
    storage_note = Text(max_length=200)
    reorder_point = Number(allow_null=True)
    note = Text(max_length=4000)
    archived_at = Moment(allow_null=True)
    version = Int()

    @extend_schema_field(HazardsOut)
    def get_hazard_label(self, part: Any) -> Any:
        return HazardsOut(ghs.read(part.hazards)).data


class PriceQuery(serializers.Serializer):
    customer_class = serializers.CharField(max_length=40, required=False, allow_blank=True)
    on = Day(required=False, help_text="Today if left out.")


class PriceOut(Out):
    amount = Money(places=6, allow_null=True, help_text="Of one unit, before tax; null: there is none.")
    how = serializers.ChoiceField(
        choices=[pricing.HAND, pricing.RULE, pricing.NONE],
        source="source",
        help_text="Set by hand, by a rule, or none.",
    )
    rule_id = serializers.SerializerMethodField(help_text="Which price rule gave it; only for who may see markups.")
    rule = serializers.SerializerMethodField()

    @extend_schema_field({"type": ["integer", "null"]})
    def get_rule_id(self, price: pricing.Price) -> int | None:
        return price.rule.id if price.rule and "prices.read" in self.context["rights"] else None

    def get_rule(self, price: pricing.Price) -> str:
        return price.rule.name if price.rule and "prices.read" in self.context["rights"] else ""


class PartQuery(Query):
    text = serializers.CharField(max_length=80, required=False, help_text="All words, in number, name or barcode.")
    code = serializers.CharField(max_length=48, required=False, help_text="The scanned barcode or the whole number.")
    kind = serializers.ChoiceField(choices=PartKind.choices, required=False)
    archived = serializers.BooleanField(default=False)


class Parts(Resource):
    kind = "part"
    out = PartOut

    @lists("parts.read", query=PartQuery, orders={"number": ("number", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.parts(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.part(pk)

    @posts("parts.edit", body=PartIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_part(by=request.user, **body)

    @edits("parts.edit", body=PartEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_part(pk, expect, by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.archive_part(pk, expect, by=request.user)

    @reads("parts.read", path="price", query=PriceQuery, out=PriceOut)
    def price(self, request: Any, pk: int, query: dict[str, Any]) -> Any:
        """What one unit is sold at: the price set by hand, else by the price rules."""
        part = queries.part(pk)
        day = query.pop("on", None)
        return queries.prices([part], day=day, **query)[part.pk] if part else None

    @verb("parts.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Offer an archived part again."""
        return actions.restore_part(pk, by=request.user)
