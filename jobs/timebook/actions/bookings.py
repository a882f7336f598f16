"""Bookings by hand and corrections. Nothing is overwritten: a correction is a new row that names the old one."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone

from jobs.cards import actions as cards
from jobs.cards.actions.locking import called
from jobs.cards.models import Stage
from shop.kernel import clock
from shop.kernel.closed import must_be_open
from shop.kernel.errors import NotFound, Refused, field_error
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import hours, queries
from ..models import Attendance, TimeBooking
from .locking import lock_booking, lock_people, refuse_overlap, span

OLDEST = timedelta(days=366)


@writes
def book(
    *,
    by: Person,
    person_id: int,
    stage_id: int,
    started_at: datetime,
    ended_at: datetime,
    break_minutes: int | None = None,
    reason: str,
) -> TimeBooking:
    """Book hours by hand. Others' hours need the right `time.edit`.

    `break_minutes` None takes the shop's break inside the time. A stage that wasn't started starts with it, if it may.
    Raises BadInput (fields started_at, ended_at, break_minutes, person_id, reason), Refused for an overlap or what keeps
    the stage from being started, NotAllowed, NotFound.
    """
    reason = clean_line(reason, field="reason", required=True)
    if person_id != by.pk:
        require(by, "time.edit")
    person = worker(person_id)
    minutes = check_times(started_at, ended_at, break_minutes)
    must_be_open(timezone.localdate(started_at), field="started_at")
    refuse_overlap(person, started_at, ended_at)
    stage = _stage_for_hours(stage_id, person, by, started_at)
    row = _insert(person, stage, by, started_at, ended_at, minutes, reason, person)
    record(
        by, "time.booked", row, root=stage.card, stage=called(stage), person=person.name,
        hours=str(queries.worked(row)), span=span(row), reason=reason,
    )  # fmt: skip
    return row


@writes
def correct(
    booking_id: int,
    *,
    by: Person,
    reason: str,
    started_at: datetime | None = None,
    ended_at: datetime | None = None,
    break_minutes: int | None = None,
    stage_id: int | None = None,
) -> TimeBooking:
    """Replace an ended booking by a new row; what is left out stays as it was. The cost per hour stays too.

    When the times change and no break is given, the shop's break inside the new times is taken.
    Raises NotFound (also when it is somebody else's and `by` may not edit it), BadInput, Refused.
    """
    reason = clean_line(reason, field="reason", required=True)
    old = _to_correct(booking_id, by)
    if old.ended_at is None:
        raise Refused("This clock still runs. Clock off first, then correct it.", code="clock-running")
    start, end = started_at or old.started_at, ended_at or old.ended_at
    if break_minutes is None and (start, end) == (old.started_at, old.ended_at):
        break_minutes = old.break_minutes
    minutes = check_times(start, end, break_minutes)
    must_be_open(timezone.localdate(min(start, old.started_at)), field="started_at")
    refuse_overlap(old.person, start, end, but=old.pk)
    stage = old.stage
    if stage_id is not None and stage_id != old.stage_id:
        stage = _stage_for_hours(stage_id, old.person, by, start)
    supersede(old)
    row = _insert(old.person, stage, by, start, end, minutes, reason, old, corrects=old)
    before = span(old)
    record(
        by, "time.corrected", row, root=stage.card, stage=called(stage), person=old.person.name,
        hours=str(queries.worked(row)), span=span(row), before=before, reason=reason,
    )  # fmt: skip
    if stage.card_id != old.stage.card_id:
        record(
            by, "time.moved-away", row, root=old.stage.card, stage=called(old.stage), person=old.person.name,
            span=before, to=stage.card.number, reason=reason,
        )  # fmt: skip
    return row


@writes
def take_out(booking_id: int, *, by: Person, reason: str) -> TimeBooking:
    """Take a booking out by an empty correction. A clock that runs by mistake is stopped and taken out.

    Raises NotFound, BadInput, Refused.
    """
    reason = clean_line(reason, field="reason", required=True)
    old = _to_correct(booking_id, by)
    must_be_open(timezone.localdate(old.started_at), field="started_at")
    now = clock.now()
    if old.ended_at is None:
        old.ended_at = max(now, old.started_at)
        old.save(update_fields=["ended_at"])
    supersede(old)
    row = _insert(old.person, old.stage, by, old.started_at, old.started_at, 0, reason, old, corrects=old)
    record(
        by, "time.taken-out", row, root=old.stage.card, stage=called(old.stage), person=old.person.name,
        span=span(old), reason=reason,
    )  # fmt: skip
    return row


def worker(person_id: int) -> Person:
    """Lock somebody who works on stages. Raises BadInput (person_id) for anybody else."""
    if not Person.objects.filter(pk=person_id).exists():
        raise field_error("person_id", "There is no such person.")
    person = lock_people([person_id])[person_id]
    if not person.is_active or "time.own" not in person.rights:
        raise field_error("person_id", f"{person.name} doesn't work on stages.")
    return person


def _to_correct(booking_id: int, by: Person) -> TimeBooking:
    old = lock_booking(booking_id, by)
    if old.superseded_at is not None:
        raise Refused(
            "This booking was corrected already. Correct the newer one.",
            code="superseded",
            booking_id=TimeBooking.objects.filter(corrects=old).values_list("pk", flat=True).first(),
        )
    if old.corrects_id is not None and old.ended_at == old.started_at:
        raise Refused("This booking was taken out. Book the hours anew.", code="taken-out")
    return old


def _stage_for_hours(stage_id: int, person: Person, by: Person, start: datetime) -> Stage:
    """The stage, started if it wasn't. Hours may still be noted on finished work, after hand-over by the office only."""
    try:
        stage = cards.lock_stage(stage_id)
    except NotFound as error:
        raise field_error("stage_id", "There is no such stage.") from error
    if stage.card.handed_over_at or stage.card.cancelled_at:
        require(by, "time.edit")
    if stage.started_at is None:
        return cards.work_on(stage_id, by=by, worker=person, at=start)
    return stage


def check_times(
    start: datetime, end: datetime, minutes: int | None, names: tuple[str, str] = ("started_at", "ended_at")
) -> int:
    """Break minutes of an interval that somebody typed; the shop's where `minutes` is None. Raises BadInput for a time
    that can't be, at the field of `names` that says it."""
    first, last = names
    now = clock.now()
    if end <= start:
        raise field_error(last, "The end lies before the start. Give a later end.")
    if end > now:
        raise field_error(last, "This lies in the future. Book hours once they are worked.")
    if now - start > OLDEST:
        raise field_error(first, "This lies more than a year back. Check the year.")
    if end - start > hours.LONGEST:
        raise field_error(last, "This is longer than 16 hours. Book each day by itself.")
    if minutes is None:
        return hours.break_minutes(start, end, queries.shop_time())
    if minutes < 0 or 60 * minutes >= hours.seconds_between(start, end):
        raise field_error("break_minutes", "The break must be shorter than the whole time.")
    return minutes


def supersede(old: TimeBooking | Attendance) -> None:
    """A correction takes its place."""
    old.superseded_at = clock.now()
    old.save(update_fields=["superseded_at"])


def _insert(
    person: Person,
    stage: Stage,
    by: Person,
    start: datetime,
    end: datetime,
    minutes: int,
    reason: str,
    as_of: Person | TimeBooking,
    corrects: TimeBooking | None = None,
) -> TimeBooking:
    """`as_of`: whose cost and class hold, those of the person now or of the booking that is corrected."""
    return TimeBooking.objects.create(
        person=person,
        stage=stage,
        kind=TimeBooking.Kind.MANUAL,
        started_at=start,
        ended_at=end,
        break_minutes=minutes,
        cost_per_hour=as_of.cost_per_hour,
        labour_class=as_of.labour_class,
        corrects=corrects,
        reason=reason,
        entered_by=by,
        entered_at=clock.now(),
    )
