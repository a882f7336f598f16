"""Count lists, their lines, and what was said of each lot. What the ledger expected is told when a line is closed."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Body, Id, Int, Moment, Money, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, counts
from ..actions.counts import LIMIT_PERCENT, LIMIT_VALUE, MOST_LINES


class Limits(Body):
    note = Text(max_length=200, required=False)
    limit_value = Money(
        places=6, min_value=0, default=LIMIT_VALUE, help_text="A difference worth this much is looked at twice."
    )
    limit_percent = Number(default=LIMIT_PERCENT, help_text="Or one of this share of what was expected.")
    site_id = Id()


class CountIn(Limits):
    bin_ids = serializers.ListField(child=Id(), min_length=1, max_length=MOST_LINES)


class DueIn(Limits):
    most = Int(min_value=1, max_value=MOST_LINES, default=20, help_text="So many places at most.")


class CountListOut(Out):
    id = Id()
    number = serializers.CharField()
    site_id = Id()
    note = serializers.CharField()
    limit_value = Money(places=6)
    limit_percent = Number()
    created_at = Moment()
    created_by_id = Id()
    cancelled_at = Moment(allow_null=True)


class CountLineOut(Out):
    id = Id()
    count_id = Id()
    bin_id = Id()
    bin_code = serializers.CharField(source="bin.code")
    part_id = Id(allow_null=True, help_text="Null: all that lies in the bin.")
    finished_at = Moment(allow_null=True, help_text="When all of it had been looked at.")
    finished_by_id = Id(allow_null=True)
    closed_at = Moment(allow_null=True, help_text="When what differs was posted.")
    closed_by_id = Id(allow_null=True)
    reason = serializers.CharField()


class CountTallyOut(Out):
    id = Id()
    line_id = Id()
    lot_id = Id()
    counted = Number()
    again = serializers.BooleanField(help_text="A second look.")
    expected = Number(allow_null=True, help_text="By the ledger at that moment; null until the line is closed.")
    at = Moment()
    by_id = Id()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown = super().to_representation(instance)
        if instance.line.closed_at is None:
            shown["expected"] = None
        return shown


class TallyIn(Body):
    lot_id = Id()
    counted = Number(help_text="What lies there in the part's unit, zero or more.")


class FinishIn(Body):
    gone_lot_ids = serializers.ListField(
        child=Id(), max_length=5000, default=list, help_text="Lots of the ledger of which nothing lies there."
    )


class CloseIn(Body):
    reason = Text(max_length=200, help_text="Why it differs.")


class CountQuery(Query):
    open = serializers.BooleanField(default=False, help_text="Only lists that still have something to count.")


class LineQuery(Query):
    count_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class TallyQuery(Query):
    line_id = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class Counts(Resource):
    kind = "count"
    out = CountListOut

    @lists("stock.count", query=CountQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return counts.lists(open_only=query["open"])

    @reads("stock.count")
    def retrieve(self, request: Any, pk: int) -> Any:
        return counts.one(pk)

    @posts("stock.count", body=CountIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """A list of bins to be counted."""
        return actions.start_count(by=request.user, **body)

    @verb("stock.count", path="due", body=DueIn, detail=False)
    def due(self, request: Any, body: dict[str, Any]) -> Any:
        """A list of what is due, by value, movements and time since the last count."""
        return actions.start_cycle(by=request.user, **body)

    @verb("stock.count", path="cancel")
    def cancel(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Give the list up. What was posted from it stays."""
        return actions.cancel_count(pk, by=request.user)


class CountLines(Resource):
    kind = "count-line"
    out = CountLineOut

    @lists("stock.count", query=LineQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return counts.lines(**query)

    @reads("stock.count")
    def retrieve(self, request: Any, pk: int) -> Any:
        return counts.line(pk)

    @verb("stock.count", path="tally", body=TallyIn, out=CountTallyOut)
    def tally(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Say how much of a lot lies there. The last word counts; after the line is finished it is the second look."""
        return actions.tally(by=request.user, line_id=pk, **body)

    @verb("stock.count", path="finish", body=FinishIn)
    def finish(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """All was looked at. Where all agrees, the line is closed."""
        return actions.finish_line(by=request.user, line_id=pk, **body)

    @verb("stock.count", path="close", body=CloseIn)
    def close(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Post what differs."""
        return actions.close_line(by=request.user, line_id=pk, **body)


class CountTallies(Resource):
    kind = "count-tally"
    out = CountTallyOut

    @lists("stock.count", query=TallyQuery, orders={"oldest": ("id",), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return counts.tallies(**query)
