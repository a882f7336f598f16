"""/api/v1/outbox/"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import Choice, Id, Int, Moment, Out, Query, Text
from shop.api.kit import Resource, lists, reads, verb
from shop.trail import actions, queries

STATES = ("open", "waiting", "failed", "done", "all")


class OutboxOut(Out):
    id = Id()
    topic = Text(max_length=60)
    about = Text(max_length=200, help_text="What it is, in words; never its content.")
    created_at = Moment()
    due_at = Moment(help_text="When the next attempt is due.")
    attempts = Int()
    claimed_at = Moment(allow_null=True, help_text="Set while it is being delivered.")
    done_at = Moment(allow_null=True)
    failed_at = Moment(allow_null=True, help_text="Set when it was given up; send-again tries it anew.")
    last_error = Text(max_length=2000)


class OutboxQuery(Query):
    state = Choice(choices=STATES, default="open", help_text="`open` is waiting or given up.")
    topic = serializers.CharField(max_length=60, required=False)


class Outbox(Resource):
    kind = "outbox"
    out = OutboxOut

    @lists("outbox.read", query=OutboxQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.outbox_rows(**query)

    @reads("outbox.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.outbox_row(pk)

    @verb("outbox.edit", path="send-again")
    def send_again(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return actions.send_again(pk, by=request.user)


def register(router: Any) -> None:
    router.register("outbox", Outbox, basename="outbox")
