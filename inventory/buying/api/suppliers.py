"""Suppliers and how they sell parts."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Email, Flag, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb

from .. import actions, queries
from ..packing import Step


class SupplierIn(Body):
    name = Text(max_length=160)
    account_no = Text(max_length=40, required=False)
    email = Email(required=False, allow_blank=True)
    phone = Text(max_length=40, required=False)
    street = Text(max_length=160, required=False)
    postcode = Text(max_length=20, required=False)
    city = Text(max_length=80, required=False)
    country = Text(max_length=2, required=False)
    vat_no = Text(max_length=20, required=False)
    currency = Text(max_length=3, required=False, help_text="ISO 4217 code they charge in; EUR if left out.")
    lead_days = Int(
        min_value=0, max_value=730, required=False, allow_null=True,
        help_text="Days they promise from order to delivery, where an offer says nothing else.",
    )  # fmt: skip
    note = Text(max_length=4000, lines=True, required=False)


class SupplierOut(Out):
    id = Id()
    name = Text(max_length=160)
    account_no = Text(max_length=40)
    email = serializers.CharField()
    phone = Text(max_length=40)
    street = Text(max_length=160)
    postcode = Text(max_length=20)
    city = Text(max_length=80)
    country = Text(max_length=2)
    vat_no = Text(max_length=20)
    currency = serializers.CharField()
    lead_days = Int(allow_null=True)
    note = Text(max_length=4000)
    archived_at = Moment(allow_null=True)
    version = Int()


class SupplierQuery(Query):
    name = serializers.CharField(max_length=80, required=False, help_text="Part of the name.")
    text = serializers.CharField(
        max_length=80, required=False, help_text="All words, in name, town, e-mail, phone or our account number."
    )
    archived = serializers.BooleanField(default=False)


class Suppliers(Resource):
    kind = "supplier"
    out = SupplierOut

    @lists("buying.read", query=SupplierQuery, orders={"name": ("name", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.suppliers(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.supplier(pk)

    @posts("buying.edit", body=SupplierIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_supplier(**body, by=request.user)

    @edits("buying.edit", body=SupplierIn)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_supplier(pk, expect, by=request.user, **body)

    @removes("buying.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        return actions.archive_supplier(pk, expect, by=request.user)

    @verb("buying.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Offer an archived supplier again."""
        return actions.restore_supplier(pk, by=request.user)


class PriceIn(Body):
    from_packages = Number(min_value=0, help_text="From so many packages on; whole.")
    price = Money(places=6, min_value=0, help_text="Of one package, before tax.")


class OfferEdit(Body):
    number = Text(max_length=60, required=False, help_text="The supplier's own number.")
    name = Text(max_length=160, required=False, help_text="In the supplier's words.")
    package = Text(max_length=40, required=False, help_text="What it comes in, such as box; empty: by the unit.")
    content = Number(min_value=0, required=False, help_text="What one package holds; 1 if left out.")
    content_unit = Text(
        max_length=3, required=False, help_text="UN/ECE Recommendation 20 code of `content`; the part's if left out."
    )
    gtin = Text(max_length=20, required=False, help_text="Of the package; the check digit is checked.")
    currency = Text(max_length=3, required=False, help_text="ISO 4217; the supplier's if left out.")
    min_packages = Number(min_value=0, required=False, help_text="Least number of packages sold.")
    lead_days = Int(
        min_value=0, max_value=730, required=False, allow_null=True, help_text="As promised; null: the supplier's."
    )
    preferred = Flag(required=False, help_text="Where the part is ordered when nobody says otherwise; one of a part.")
    note = Text(max_length=200, required=False)
    prices = serializers.ListField(child=PriceIn(), max_length=20, required=False, help_text="All price breaks.")


class OfferIn(OfferEdit):
    supplier_id = Id()
    part_id = Id()


class PriceOut(Out):
    from_packages = Number()
    price = Money(places=6)


class OfferOut(Out):
    id = Id()
    supplier_id = Id()
    part_id = Id()
    number = serializers.CharField()
    name = serializers.CharField()
    package = serializers.CharField()
    content = Number()
    content_unit = serializers.CharField()
    per_package = Number(help_text="What a package holds in the part's unit, exactly.")
    gtin = serializers.CharField(help_text="Filled up to 14 digits.")
    currency = serializers.CharField()
    min_packages = Number()
    lead_days = Int(allow_null=True)
    preferred = Flag()
    note = serializers.CharField()
    prices = PriceOut(many=True, help_text="Price breaks, the smallest first.")
    archived_at = Moment(allow_null=True)
    version = Int()

    def to_representation(self, row: Any) -> Any:
        data = super().to_representation(row)
        data["prices"] = PriceOut(row.prices.all(), many=True, context=self.context).data
        return data


class OfferQuery(Query):
    part_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    supplier_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    number = serializers.CharField(max_length=60, required=False, help_text="The supplier's, whole.")
    archived = serializers.BooleanField(default=False)


class Offers(Resource):
    kind = "offer"
    out = OfferOut

    @lists("buying.read", query=OfferQuery, orders={"newest": ("-id",), "part": ("part__number", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.offers(**query)

    @reads("buying.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.offer(pk)

    @posts("buying.edit", body=OfferIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_offer(by=request.user, **_steps(body))

    @edits("buying.edit", body=OfferEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_offer(pk, expect, by=request.user, **_steps(body))

    @removes("buying.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.archive_offer(pk, expect, by=request.user)

    @verb("buying.edit", path="restore")
    def restore(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Offer it again."""
        return actions.restore_offer(pk, by=request.user)


def _steps(body: dict[str, Any]) -> dict[str, Any]:
    given = dict(body)
    if "prices" in given:
        given["prices"] = [Step(p["from_packages"], p["price"]) for p in given["prices"]]
    return given
