"""/api/v1/alerts/, alert-lists/, alert-mail/: each person's own."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from shop.api.fields import AnyJson, Body, Choice, Day, Id, Int, Moment, Out, Query
from shop.api.kit import Resource, edits, lists, posts, reads, verb

from . import actions, queries, words
from .models import Alert, MailChoice
from .telling import CONCERNS


class AlertOut(Out):
    id = Id()
    kind = serializers.ChoiceField(list(CONCERNS))
    text = serializers.SerializerMethodField(help_text="What is the matter and what to do about it.")
    due_on = Day(allow_null=True, help_text="The day that it is about.")
    facts = AnyJson(help_text="What the sentence is made from; quantities as text in the part's unit.")
    found_at = Moment()
    changed_at = Moment(help_text="When it became what it is now.")
    new = serializers.BooleanField(source="fresh", help_text="Since your list before the last one.")
    set_aside = serializers.BooleanField(source="is_aside")
    set_aside_until = Day(source="aside_until", allow_null=True, help_text="null: until it changes.")

    def get_text(self, alert: Alert) -> str:
        return words.sentence(alert)


class AlertQuery(Query):
    kind = serializers.ChoiceField(list(CONCERNS), required=False)
    set_aside = serializers.BooleanField(required=False, allow_null=True, default=None)
    new = serializers.BooleanField(required=False, allow_null=True, default=None)


class AsideIn(Body):
    until = Day(required=False, help_text="Left out: until it changes. A change always brings it back.")


class Looked(Out):
    waiting = Int(help_text="On your list and not set aside.")


class Alerts(Resource):
    kind = "alert"
    out = AlertOut

    @lists("alerts.own", query=AlertQuery, orders={"urgent": ("rank", "id"), "newest": ("-id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """What asks for you."""
        rows = queries.of(request.user, aside=query.get("set_aside"))
        if query.get("kind"):
            rows = rows.filter(kind=query["kind"])
        return rows if query.get("new") is None else rows.filter(fresh=query["new"])

    @reads("alerts.own")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.one(request.user, pk)

    @posts("alerts.own", out=Looked)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        """Look now, not only in the morning: the lists become what is true at this moment."""
        actions.look(by=request.user)
        return {"waiting": queries.waiting_for(request.user)}

    @verb("alerts.own", path="set-aside", body=AsideIn)
    def set_aside(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Off your own list until a day or until it changes; others keep it on theirs."""
        return actions.set_aside(pk, by=request.user, **body)

    @verb("alerts.own", path="bring-back")
    def bring_back(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Onto your own list again."""
        return actions.bring_back(pk, by=request.user)


class ListOut(Out):
    id = Id()
    day = Day()
    made_at = Moment()
    since = Moment(allow_null=True, help_text="What changed after it was new; null: your first list.")
    waiting = Int(help_text="On it and not set aside, as of the last look that day.")
    mailed_to = serializers.CharField(help_text="Empty: no mail went.")


class Lists(Resource):
    kind = "dailylist"
    out = ListOut

    @lists("alerts.own", orders={"newest": ("-day", "-id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """Your lists, one a day."""
        return queries.lists(request.user)

    @reads("alerts.own")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.lists(request.user).filter(pk=pk).first()


class MailOut(Out):
    mail = serializers.ChoiceField(MailChoice.Mail.choices)
    version = Int()


class MailEdit(Body):
    mail = Choice(
        choices=MailChoice.Mail.choices, help_text="From the next list on; a mail goes only when something is new."
    )


class Mail(Resource):
    kind = "mailchoice"
    single = True
    out = MailOut

    @reads("own.edit")
    def retrieve(self, request: Any) -> Any:
        """Whether your list comes as a mail."""
        return queries.mail_choice(request.user)

    @edits("own.edit", body=MailEdit)
    def partial_update(self, request: Any, body: dict[str, Any], expect: int) -> Any:
        return actions.choose_mail(body["mail"], expect, by=request.user)


def register(router: Any) -> None:
    router.register("alerts", Alerts, basename="alerts")
    router.register("alert-lists", Lists, basename="alert-lists")
    router.register("alert-mail", Mail, basename="alert-mail")
