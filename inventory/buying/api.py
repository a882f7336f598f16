"""/api/v1/suppliers/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Email, Id, Int, Moment, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb

from . import actions, queries


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


def register(router: Any) -> None:
    router.register("suppliers", Suppliers, basename="suppliers")
