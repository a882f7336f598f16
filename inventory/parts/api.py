"""/api/v1/parts/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb
from shop.kernel import units
from shop.kernel.identity import check_gtin

from . import actions, queries
from .models import Part, PartKind

UNITS = [(u.code, u.name) for u in units.UNITS.values()]


class PartIn(Body):
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
    barcode = Text(max_length=48, required=False)
    shelf_life_days = Int(required=False, allow_null=True, min_value=1, max_value=actions.DAYS_LIMIT)
    open_life_days = Int(required=False, allow_null=True, min_value=1, max_value=actions.DAYS_LIMIT)
    hazards = serializers.ListField(
        child=Text(max_length=16), required=False, max_length=60, help_text="GHS H and P codes, such as H225."
    )
    storage_note = Text(max_length=200, required=False)
    reorder_point = Number(required=False, allow_null=True, min_value=0)
    note = Text(max_length=4000, lines=True, required=False)


class PartOut(Out):
    id = Id()
    number = Text(max_length=40)
    name = Text(max_length=160)
    kind = serializers.CharField()
    unit = serializers.CharField()
    single_use = serializers.BooleanField()
    sale_price = Money(places=6, allow_null=True)
    tax_code = Text(max_length=20)
    barcode = Text(max_length=48)
    barcode_check = serializers.SerializerMethodField(
        help_text="What the check digit says when the barcode can be a GTIN; for information only."
    )
    shelf_life_days = Int(allow_null=True)
    open_life_days = Int(allow_null=True)
    hazards = serializers.ListField(child=serializers.CharField())
    storage_note = Text(max_length=200)
    reorder_point = Number(allow_null=True)
    note = Text(max_length=4000)
    archived_at = Moment(allow_null=True)
    version = Int()

    def get_barcode_check(self, part: Part) -> str:
        return check_gtin(part.barcode).reason if part.barcode.isdecimal() else ""


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

    @edits("parts.edit", body=PartIn)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_part(pk, expect, by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.archive_part(pk, expect, by=request.user)

    @verb("parts.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Offer an archived part again."""
        return actions.restore_part(pk, by=request.user)


def register(router: Any) -> None:
    router.register("parts", Parts, basename="parts")
