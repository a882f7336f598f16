"""/api/v1/time-bookings/, and cards/ and stages/ with the verbs that see to the clocks."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from rest_framework import serializers

from jobs.cards import api as cards
from jobs.cards import queries as card_queries
from shop.api.fields import Body, Day, Flag, Id, Int, Moment, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, queries
from ..models import TimeBooking


class BookIn(Body):
    person_id = Id(required=False, help_text="Left out: yourself.")
    stage_id = Id()
    started_at = Moment()
    ended_at = Moment()
    break_minutes = Int(min_value=0, max_value=960, required=False, allow_null=True, help_text="Left out: the shop's.")
    reason = Text(max_length=200)


class CorrectIn(Body):
    stage_id = Id(required=False)
    started_at = Moment(required=False)
    ended_at = Moment(required=False)
    break_minutes = Int(min_value=0, max_value=960, required=False, allow_null=True)
    reason = Text(max_length=200)


class ClockOnIn(Body):
    close_running = Flag(default=False, help_text="Let this clock end the one that runs elsewhere.")
    override_reason = Text(max_length=200, required=False)


class BookingOut(Out):
    id = Id()
    person_id = Id()
    person = serializers.CharField()
    stage_id = Id()
    stage = serializers.CharField()
    card_id = Id(source="stage.card_id")
    card_number = serializers.CharField(source="stage.card.number")
    kind = serializers.ChoiceField(choices=TimeBooking.Kind.choices)
    labour_class = serializers.CharField(help_text="Of the person, as it was when the hours were booked.")
    started_at = Moment()
    ended_at = Moment(allow_null=True, help_text="null: the clock runs.")
    break_minutes = Int()
    hours = Number(places=4, source="worked", help_text="Worked hours without the break; of a running clock until now.")
    corrects_id = Id(allow_null=True)
    superseded_at = Moment(allow_null=True)
    flagged_at = Moment(allow_null=True, help_text="Ended by the day's end because the clock was forgotten.")
    reason = serializers.CharField()
    entered_by = serializers.CharField()
    entered_at = Moment()
    cost_per_hour = Number(places=4, allow_null=True, required=False, help_text="For the owner only.")

    def to_representation(self, row: Any) -> Any:
        row.worked = queries.worked(row)
        shown = super().to_representation(row)
        if "margin.read" not in self.context["rights"]:
            del shown["cost_per_hour"]
        return shown


class BookingQuery(Query):
    person_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    stage_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    card_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    first = Day(required=False, help_text="First day, in the shop's time zone.")
    last = Day(required=False, help_text="Last day.")
    running = serializers.BooleanField(required=False, allow_null=True, default=None)
    flagged = serializers.BooleanField(required=False, allow_null=True, default=None)
    superseded = serializers.BooleanField(default=False, help_text="Also what was corrected since.")


class Bookings(Resource):
    kind = "time-booking"
    out = BookingOut

    @lists("time.book", query=BookingQuery, orders={"newest": ("-started_at", "-id"), "oldest": ("started_at", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        first, last = query.pop("first", None), query.pop("last", None)
        if first is not None:
            query["since"] = queries.midnight(first)
        if last is not None:
            query["until"] = queries.midnight(last + timedelta(days=1))
        return queries.seen_by(request.user, queries.bookings(**query))

    @reads("time.book")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.booking(pk, reader=request.user)

    @posts("time.book", body=BookIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        body.setdefault("person_id", request.user.pk)
        return self._shown(actions.book(**body, by=request.user))

    @verb("time.book", path="correct", body=CorrectIn)
    def correct(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return self._shown(actions.correct(pk, **body, by=request.user))

    @verb("time.book", path="take-out", body=cards.Reason)
    def take_out(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return self._shown(actions.take_out(pk, **body, by=request.user))

    @verb("time.book", path="clock-off")
    def clock_off_one(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return self._shown(actions.clock_off(by=request.user, booking_id=pk))

    @verb("time.own", path="clock-off", detail=False)
    def clock_off(self, request: Any, body: dict[str, Any]) -> Any:
        return self._shown(actions.clock_off(by=request.user))

    def _shown(self, row: TimeBooking) -> TimeBooking:
        return queries.bookings(superseded=True).get(pk=row.pk)


class StageHoursOut(Out):
    id = Id(source="stage.pk")
    position = Int(source="stage.position")
    name = serializers.CharField(source="stage.name")
    standard = Number(places=2)
    booked = Number(places=4)
    running = Number(places=4)
    over = Number(places=4, help_text="By how much the hours exceed the standard.")
    missing = Flag(help_text="Finished and chargeable without hours: an invoice by hours leaves it out.")


class CardHoursOut(Out):
    card_id = Id()
    stages = StageHoursOut(many=True)
    booked = Number(places=4)
    standard = Number(places=2)
    cost = serializers.CharField(allow_null=True, required=False, help_text="Of ended hours, for the owner only.")
    unpriced = Number(places=4, required=False, help_text="Hours of people without a cost per hour; owner only.")

    def to_representation(self, row: Any) -> Any:
        shown = super().to_representation(row)
        if "margin.read" not in self.context["rights"]:
            shown.pop("cost", None)
            shown.pop("unpriced", None)
        return shown


class Cards(cards.Cards):
    """Cards, with what sees to the clocks on them."""

    @verb("cards.hold", path="hold", body=cards.HoldIn)
    def hold(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return card_queries.card(actions.hold_card(pk, by=request.user, **body).card_id)

    @reads("cards.read", path="hours", out=CardHoursOut)
    def hours(self, request: Any, pk: int) -> Any:
        return queries.hours_of_card(pk)


class Stages(cards.Stages):
    """Stages, with what sees to the clocks on them."""

    @verb("time.own", path="clock-on", body=ClockOnIn, out=BookingOut)
    def clock_on(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        row = actions.clock_on(by=request.user, stage_id=pk, **body)
        return queries.booking(row.pk, reader=request.user)

    @verb("stages.work", path="finish")
    def finish(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return card_queries.stage(actions.finish_stage(pk, by=request.user).pk)

    @verb("cards.hold", path="hold", body=cards.HoldIn)
    def hold(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return card_queries.stage(actions.hold_stage(pk, by=request.user, **body).stage_id or 0)
