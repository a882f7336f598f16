"""/api/v1/kit-parts/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Id, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, removes

from .. import actions, queries


class KitPartIn(Body):
    kit_id = Id()
    part_id = Id()
    quantity = Number(help_text="In the part's unit, in one kit.")
    share = Number(
        places=3, digits=9, required=False, allow_null=True, min_value=0,
        help_text="Of the kit's cost, on any scale; for all parts or none. null: by sale price.",
    )  # fmt: skip


class KitPartOut(Out):
    id = Id()
    kit_id = Id()
    part_id = Id()
    number = Text(max_length=40, source="part.number")
    quantity = Number()
    unit = serializers.CharField(source="part.unit")
    share = Number(places=3, allow_null=True)


class KitPartQuery(Query):
    kit_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class KitParts(Resource):
    kind = "kit-part"
    out = KitPartOut

    @lists("parts.read", query=KitPartQuery, orders={"oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.kit_parts(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.kit_part(pk)

    @posts("parts.edit", body=KitPartIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Put a part in a kit; for one that is in it, say how much anew."""
        return actions.put_in_kit(body.pop("kit_id"), by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.take_out_of_kit(pk, by=request.user)
