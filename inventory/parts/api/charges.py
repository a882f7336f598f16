"""/api/v1/part-charges/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Id, Int, Moment, Money, Number, Out, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes

from .. import actions, queries
from ..models import ChargeKind
from .links import OfPart

MANY = "As it stands on documents."


class PartChargeEdit(Body):
    text = Text(max_length=120, required=False, help_text=MANY)
    amount = Number(required=False, help_text="For one unit of the part, before tax; at most 6 decimals.")
    tax_code = Text(max_length=20, required=False, help_text="Code of a tax rate; empty: the part's.")


class PartChargeIn(Body):
    part_id = Id()
    kind = Choice(
        choices=ChargeKind.choices, help_text="core: a deposit that comes back with the old part, one for a part."
    )
    text = Text(max_length=120, help_text=MANY)
    amount = Number(help_text="For one unit of the part, before tax; at most 6 decimals.")
    tax_code = Text(max_length=20, required=False, help_text="Code of a tax rate; empty: the part's.")


class PartChargeOut(Out):
    id = Id()
    part_id = Id()
    kind = serializers.CharField()
    text = serializers.CharField()
    amount = Money(places=6, help_text="For one unit of the part, before tax.")
    tax_code = serializers.CharField(help_text="Empty: the part's.")
    archived_at = Moment(allow_null=True)
    version = Int()


class PartChargeQuery(OfPart):
    archived = serializers.BooleanField(default=False)


class PartCharges(Resource):
    kind = "part-charge"
    out = PartChargeOut

    @lists("parts.read", query=PartChargeQuery, orders={"oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.charges(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.charge(pk)

    @posts("parts.edit", body=PartChargeIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_charge(body.pop("part_id"), by=request.user, **body)

    @edits("parts.edit", body=PartChargeEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_charge(pk, expect, by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        """It goes with nothing new any more; documents keep it."""
        actions.archive_charge(pk, expect, by=request.user)
