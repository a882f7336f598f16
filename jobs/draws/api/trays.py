"""/api/v1/trays/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Flag, Id, Moment, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, queries


class TrayIn(Body):
    stage_id = Id()
    number = Text(max_length=20, help_text="What stands on the tray.")
    shared = Flag(required=False, help_text="Although the parts for another stage are in it.")


class TrayOut(Out):
    id = Id()
    number = serializers.CharField(source="called")
    stage_id = Id()
    card_id = Id(source="stage.card_id")
    card_number = serializers.CharField(source="stage.card.number")
    since = Moment()
    cleared_at = Moment(allow_null=True, help_text="When nothing was in it any more.")


class TrayQuery(Query):
    card_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    stage_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    in_use = serializers.BooleanField(required=False, help_text="Left out: both.", allow_null=True, default=None)


class Trays(Resource):
    """Which kit tray holds the parts for which stage."""

    kind = "tray"
    out = TrayOut

    @lists("draws.read", query=TrayQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.trays(**query)

    @reads("draws.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.tray_use(pk)

    @posts("draws.plan", body=TrayIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """The parts for a stage are in a tray. Refused ("tray-in-use") while another stage's are, unless `shared`."""
        return actions.put_in_tray(by=request.user, **body)

    @verb("draws.plan", path="clear")
    def clear(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Nothing for the stage is in it any more."""
        return actions.clear_tray(pk, by=request.user)
