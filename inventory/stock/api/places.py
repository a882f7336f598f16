"""Bins and reservations."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Choice, Day, Id, Int, Moment, Number, Out, Query, Text
from shop.api.kit import Resource, edits, lists, posts, reads, removes, verb

from .. import actions, queries
from ..models import Bin


class BinEdit(Body):
    code = Text(max_length=24, help_text="Unique at the site; also its barcode.")
    rack = Text(max_length=24, required=False)
    name = Text(max_length=80, required=False)
    kind = Choice(choices=Bin.Kind.choices, required=False, help_text="What lies in quarantine can't be drawn.")
    keeper_id = Id(required=False, allow_null=True, help_text="Whose box it is.")


class BinIn(BinEdit):
    site_id = Id()


class BinOut(Out):
    id = Id()
    site_id = Id()
    code = serializers.CharField()
    rack = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    keeper_id = Id(allow_null=True)
    archived_at = Moment(allow_null=True)
    version = Int()


class BinQuery(Query):
    site_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    kind = serializers.ChoiceField(choices=Bin.Kind.choices, required=False)
    code = serializers.CharField(max_length=24, required=False, help_text="Part of the code.")
    archived = serializers.BooleanField(default=False)


class Bins(Resource):
    kind = "bin"
    out = BinOut

    @lists("stock.read", query=BinQuery, orders={"code": ("code", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.bins(**query)

    @reads("stock.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.bin_(pk)

    @posts("stock.move", body=BinIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_bin(by=request.user, **body)

    @edits("stock.move", body=BinEdit)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_bin(pk, expect, by=request.user, **body)

    @removes("stock.move")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.archive_bin(pk, expect, by=request.user)


class ReservationIn(Body):
    part_id = Id()
    site_id = Id()
    quantity = Number(help_text="In the part's unit; at most what is free.")
    label = Text(max_length=120, help_text="What it is kept for, in words.")  # type: ignore[assignment]
    wanted_on = Day(required=False, allow_null=True)


class ReservationOut(Out):
    id = Id()
    part_id = Id()
    site_id = Id()
    quantity = Number(help_text="Still promised.")
    label = serializers.CharField()  # type: ignore[assignment]
    wanted_on = Day(allow_null=True)
    created_at = Moment()
    ended_at = Moment(allow_null=True)


class ReservationQuery(Query):
    part_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    site_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    ended = serializers.BooleanField(default=False)


class HowMuch(Body):
    quantity = Number()


class Reservations(Resource):
    kind = "reservation"
    out = ReservationOut

    @lists("stock.read", query=ReservationQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.reservations(**query)

    @reads("stock.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.reservation(pk)

    @posts("stock.move", body=ReservationIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Keep some of what is free. What a card needs is kept there (needs)."""
        return actions.reserve(by=request.user, **body)

    @verb("stock.move", path="change", body=HowMuch)
    def change(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Keep another quantity in its place."""
        return actions.change_reservation(pk, body["quantity"], by=request.user)

    @verb("stock.move", path="release")
    def release(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Free what is kept."""
        return actions.release(pk, by=request.user)
