"""/api/v1/packages/"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Id, Moment, Number, Out, Text
from shop.api.kit import Resource, lists, posts, reads, removes
from shop.kernel.errors import BadInput

from .. import actions, packing, queries
from ..models import Package
from .links import OfPart
from .parts import UNITS


class PackageIn(Body):
    part_id = Id()
    kind = Choice(
        choices=list(packing.KINDS.items()),
        help_text="UN/ECE Recommendation 21 with an X in front, as Recommendation 20 has it.",
    )
    content = Number(min_value=0)
    unit = Choice(choices=UNITS, required=False, help_text="What the content is given in; the part's unit if left out.")
    gtin = Text(max_length=20, required=False, help_text="Printed on the package itself; scanned, it means all of it.")


class PackageOut(Out):
    id = Id()
    part_id = Id()
    kind = serializers.CharField()
    name = serializers.CharField(source="get_kind_display")
    content = Number(help_text="In the part's unit.")
    unit = serializers.CharField(source="part.unit")
    gtin = serializers.CharField(help_text="With 14 digits; empty: none of its own.")
    added_at = Moment()


class HowManyQuery(serializers.Serializer):
    packages = Number(
        required=False, min_value=0, help_text="So many packages, in the part's unit; one if nothing is given."
    )
    quantity = Number(required=False, min_value=0, help_text="So much of the part's unit, in whole packages.")


class HowManyOut(Out):
    packages = Number()
    quantity = Number(help_text="In the part's unit.")
    unit = Text(max_length=3)


class Packages(Resource):
    kind = "package"
    out = PackageOut

    @lists("parts.read", query=OfPart, orders={"oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.packages(**query)

    @reads("parts.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.package(pk)

    @posts("parts.edit", body=PackageIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_package(body.pop("part_id"), by=request.user, **body)

    @removes("parts.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.remove_package(pk, by=request.user)

    @reads("parts.read", out=HowManyOut, path="convert", query=HowManyQuery)
    def convert(self, request: Any, pk: int, query: dict[str, Any]) -> Any:
        """Packages in the part's unit, or the other way round; exactly, or refused."""
        row = queries.package(pk)
        return how_many(row, **query) if row else None


def how_many(row: Package, *, packages: Any = None, quantity: Any = None) -> dict[str, Any]:
    if packages is not None and quantity is not None:
        raise BadInput("Give either packages or a quantity, not both.", code="one-of-two")
    if quantity is None:
        packages = Decimal(1) if packages is None else packages
        return {
            "packages": packages,
            "quantity": packing.unpacked(packages, row.pack, field="packages"),
            "unit": row.pack.unit,
        }
    return {"packages": packing.packed(quantity, row.pack), "quantity": quantity, "unit": row.pack.unit}
