"""/api/v1/attendances/"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from rest_framework import serializers

from jobs.cards import api as cards
from shop.api.fields import Body, Day, Id, Int, Moment, Number, Out, Query, Text
from shop.api.kit import Resource, lists, posts, reads, verb

from .. import actions, presence, queries
from ..models import Attendance


class NoteIn(Body):
    person_id = Id(required=False, help_text="Left out: yourself.")
    arrived_at = Moment()
    left_at = Moment()
    break_minutes = Int(min_value=0, max_value=960, required=False, allow_null=True, help_text="Left out: the shop's.")
    reason = Text(max_length=200)


class CorrectAttendanceIn(Body):
    arrived_at = Moment(required=False)
    left_at = Moment(required=False)
    break_minutes = Int(min_value=0, max_value=960, required=False, allow_null=True)
    reason = Text(max_length=200)


class AttendanceOut(Out):
    id = Id()
    person_id = Id()
    person = serializers.CharField()
    kind = serializers.ChoiceField(choices=Attendance.Kind.choices)
    arrived_at = Moment()
    left_at = Moment(allow_null=True, help_text="null: the person is here.")
    break_minutes = Int()
    hours = Number(places=4, source="attended", help_text="Without the break; of somebody who is here until now.")
    corrects_id = Id(allow_null=True)
    superseded_at = Moment(allow_null=True)
    flagged_at = Moment(allow_null=True, help_text="Ended by the day's end because going was forgotten.")
    reason = serializers.CharField()
    entered_by = serializers.CharField()
    entered_at = Moment()

    def to_representation(self, row: Any) -> Any:
        row.attended = presence.attended(row)
        return super().to_representation(row)


class LeftOut(AttendanceOut):
    stopped_booking_id = Id(allow_null=True, help_text="The clock on a stage that stopped with it.")


class AttendanceQuery(Query):
    person_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    first = Day(required=False, help_text="First day, in the shop's time zone.")
    last = Day(required=False, help_text="Last day.")
    here = serializers.BooleanField(required=False, allow_null=True, default=None, help_text="Who is here now.")
    flagged = serializers.BooleanField(required=False, allow_null=True, default=None)
    superseded = serializers.BooleanField(default=False, help_text="Also what was corrected since.")


class Attendances(Resource):
    kind = "attendance"
    out = AttendanceOut

    @lists(
        "time.book", query=AttendanceQuery, orders={"newest": ("-arrived_at", "-id"), "oldest": ("arrived_at", "id")}
    )
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        """Who was at work when. One's own; everybody's with the right to read hours."""
        first, last = query.pop("first", None), query.pop("last", None)
        if first is not None:
            query["since"] = queries.midnight(first)
        if last is not None:
            query["until"] = queries.midnight(last + timedelta(days=1))
        return queries.seen_by(request.user, presence.attendances(**query))

    @reads("time.book")
    def retrieve(self, request: Any, pk: int) -> Any:
        return presence.attendance(pk, reader=request.user)

    @posts("time.book", body=NoteIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        body.setdefault("person_id", request.user.pk)
        return self._shown(actions.note_attendance(**body, by=request.user))

    @verb("time.book", path="correct", body=CorrectAttendanceIn)
    def correct(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return self._shown(actions.correct_attendance(pk, **body, by=request.user))

    @verb("time.book", path="take-out", body=cards.Reason)
    def take_out(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return self._shown(actions.take_attendance_out(pk, **body, by=request.user))

    @verb("time.own", path="arrive", detail=False)
    def arrive(self, request: Any, body: dict[str, Any]) -> Any:
        return self._shown(actions.arrive(by=request.user))

    @verb("time.own", path="leave", detail=False, out=LeftOut)
    def leave(self, request: Any, body: dict[str, Any]) -> Any:
        return self._left(*actions.leave(by=request.user))

    @verb("time.book", path="leave", out=LeftOut)
    def leave_one(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        return self._left(*actions.leave(by=request.user, attendance_id=pk))

    def _shown(self, row: Attendance) -> Attendance:
        return presence.attendances(superseded=True).get(pk=row.pk)

    def _left(self, row: Attendance, clock: Any) -> Attendance:
        shown = self._shown(row)
        shown.stopped_booking_id = clock.pk if clock else None  # type: ignore[attr-defined]
        return shown
