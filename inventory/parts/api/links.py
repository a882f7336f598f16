"""/api/v1/barcodes/, /api/v1/replacements/, /api/v1/alternatives/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Day, Flag, Id, Moment, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, removes

from .. import actions, queries
from ..barcodes import LONGEST


class OfPart(Query):
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class BarcodeIn(Body):
    part_id = Id()
    code = Text(max_length=LONGEST, help_text="A GTIN of 12 to 14 digits must have the right check digit.")
    used_by = Text(max_length=80, required=False, help_text="Who prints it, in words; blank: everybody.")
    plain = Flag(required=False, help_text="It is no GTIN, though it may look like one.")


class BarcodeOut(Out):
    id = Id()
    part_id = Id()
    code = Text(max_length=LONGEST)
    is_gtin = serializers.BooleanField(help_text="A GTIN with the right check digit.")
    used_by = Text(max_length=80)
    added_at = Moment()


class BarcodeQuery(OfPart):
    code = serializers.CharField(max_length=LONGEST, required=False, help_text="As scanned.")


class Barcodes(Resource):
    kind = "barcode"
    out = BarcodeOut

    @lists("parts.read", query=BarcodeQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.barcodes(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.barcode(pk)

    @posts("parts.edit", body=BarcodeIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_barcode(body.pop("part_id"), by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.remove_barcode(pk, by=request.user)


class ReplacementIn(Body):
    old_part_id = Id()
    new_part_id = Id()
    either_way = Flag(required=False, help_text="The old one does for the new one as well.")
    since = Day(required=False, allow_null=True, help_text="Today if left out.")
    note = Text(max_length=200, required=False)


class ReplacementOut(Out):
    id = Id()
    old_part_id = Id(source="old_id")
    new_part_id = Id(source="new_id")
    old_number = Text(max_length=40, source="old.number")
    new_number = Text(max_length=40, source="new.number")
    either_way = serializers.BooleanField()
    since = Day()
    note = Text(max_length=200)


class Replacements(Resource):
    kind = "replacement"
    out = ReplacementOut

    @lists("parts.read", query=OfPart, orders={"newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.replacements(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.replacement(pk)

    @posts("parts.edit", body=ReplacementIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.replace_part(body.pop("old_part_id"), by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.undo_replacement(pk, by=request.user)


class AlternativeIn(Body):
    part_id = Id()
    other_part_id = Id()
    note = Text(max_length=200, required=False, help_text="What to mind when the one is taken for the other.")


class AlternativeOut(Out):
    id = Id()
    part_id = Id()
    other_part_id = Id(source="other_id")
    number = Text(max_length=40, source="part.number")
    other_number = Text(max_length=40, source="other.number")
    note = Text(max_length=200)
    added_at = Moment()


class Alternatives(Resource):
    kind = "alternative"
    out = AlternativeOut

    @lists("parts.read", query=OfPart, orders={"oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.alternatives(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.alternative(pk)

    @posts("parts.edit", body=AlternativeIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_alternative(body.pop("part_id"), by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.remove_alternative(pk, by=request.user)
