"""When people come and go, by the press of a button or noted by hand. Nothing is overwritten: a correction is a new row that
names the old one. The person's row is the lock, as for bookings."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Max
from django.utils import timezone

from shop.kernel import clock
from shop.kernel.closed import must_be_open
from shop.kernel.errors import Refused
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import hours, presence, queries
from ..models import Attendance, TimeBooking
from .bookings import check_times, supersede, worker
from .clocks import end as end_clock
from .locking import lock_attendance, lock_people, refuse_twice_here, told

TIMES = ("arrived_at", "left_at")


@writes
def arrive(*, by: Person) -> Attendance:
    """One is here from now on. What was forgotten on another day ends with that day first, flagged.

    Raises Refused ("here-already") when one is here.
    """
    person = lock_people([by.pk])[by.pk]
    now = clock.now()
    open_one = presence.here_of(person)
    if open_one is not None and hours.closing(open_one.arrived_at, now, queries.shop_time())[1]:
        _end(open_one, now, None)
        open_one = presence.here_of(person)
    if open_one is not None:
        raise Refused(
            f"You are here already, {told(open_one.arrived_at, None)}.", code="here-already", attendance_id=open_one.pk
        )
    refuse_twice_here(person, now, None)
    row = Attendance.objects.create(
        person=person, kind=Attendance.Kind.PRESSED, arrived_at=now, entered_by=by, entered_at=now
    )
    record(by, "attendance.arrived", row, person=person.name)
    return row


@writes
def leave(*, by: Person, attendance_id: int | None = None) -> tuple[Attendance, TimeBooking | None]:
    """One goes, or the one named: somebody else's needs the right `time.edit`. A clock that runs on a stage stops at the
    same moment and is answered with it. The shop's break inside the time is taken off. Attendance forgotten past the day's
    end ends with the day and is flagged.

    Raises Refused ("not-here") when one isn't here, NotFound for attendance that isn't one's own.
    """
    if attendance_id is None:
        person = lock_people([by.pk])[by.pk]
        row = presence.here_of(person)
        if row is None:
            raise Refused("You aren't recorded as here. Note the day by hand if you were.", code="not-here")
    else:
        row = lock_attendance(attendance_id, by)
        if row.left_at is not None:
            raise Refused("They have gone already. Correct the attendance if it is wrong.", code="not-here")
    now = clock.now()
    clocked = queries.running(person_id=row.person_id).first()
    if clocked is not None:
        end_clock(clocked, now, by)
    _end(row, now, by)
    return row, clocked


@writes
def note_attendance(
    *,
    by: Person,
    person_id: int,
    arrived_at: datetime,
    left_at: datetime,
    break_minutes: int | None = None,
    reason: str,
) -> Attendance:
    """Note by hand when somebody was here. Others' needs the right `time.edit`.

    `break_minutes` None takes the shop's break inside the time. Raises BadInput (fields arrived_at, left_at, break_minutes,
    person_id, reason), Refused for an overlap, NotAllowed.
    """
    reason = clean_line(reason, field="reason", required=True)
    if person_id != by.pk:
        require(by, "time.edit")
    person = worker(person_id)
    minutes = check_times(arrived_at, left_at, break_minutes, TIMES)
    must_be_open(timezone.localdate(arrived_at), field="arrived_at")
    refuse_twice_here(person, arrived_at, left_at)
    row = _insert(person, by, arrived_at, left_at, minutes, reason)
    record(
        by, "attendance.noted", row, person=person.name, hours=str(presence.attended(row)),
        span=told(arrived_at, left_at), reason=reason,
    )  # fmt: skip
    return row


@writes
def correct_attendance(
    attendance_id: int,
    *,
    by: Person,
    reason: str,
    arrived_at: datetime | None = None,
    left_at: datetime | None = None,
    break_minutes: int | None = None,
) -> Attendance:
    """Replace an ended attendance by a new row; what is left out stays as it was. When the times change and no break is
    given, the shop's break inside the new times is taken.

    Raises NotFound (also when it is somebody else's and `by` may not edit it), BadInput, Refused.
    """
    reason = clean_line(reason, field="reason", required=True)
    old = _to_correct(attendance_id, by)
    if old.left_at is None:
        raise Refused("This person is still here. They go first, then it is corrected.", code="still-here")
    start, end = arrived_at or old.arrived_at, left_at or old.left_at
    if break_minutes is None and (start, end) == (old.arrived_at, old.left_at):
        break_minutes = old.break_minutes
    minutes = check_times(start, end, break_minutes, TIMES)
    must_be_open(timezone.localdate(min(start, old.arrived_at)), field="arrived_at")
    refuse_twice_here(old.person, start, end, but=old.pk)
    before = told(old.arrived_at, old.left_at)
    supersede(old)
    row = _insert(old.person, by, start, end, minutes, reason, corrects=old)
    record(
        by, "attendance.corrected", row, person=old.person.name, hours=str(presence.attended(row)),
        span=told(start, end), before=before, reason=reason,
    )  # fmt: skip
    return row


@writes
def take_attendance_out(attendance_id: int, *, by: Person, reason: str) -> Attendance:
    """Take an attendance out by an empty correction; one that is still open ends first.

    Raises NotFound, BadInput, Refused.
    """
    reason = clean_line(reason, field="reason", required=True)
    old = _to_correct(attendance_id, by)
    must_be_open(timezone.localdate(old.arrived_at), field="arrived_at")
    if old.left_at is None:
        old.left_at = max(clock.now(), old.arrived_at)
        old.save(update_fields=["left_at"])
    supersede(old)
    row = _insert(old.person, by, old.arrived_at, old.arrived_at, 0, reason, corrects=old)
    record(
        by, "attendance.taken-out", row, person=old.person.name,
        span=told(old.arrived_at, old.left_at), reason=reason,
    )  # fmt: skip
    return row


@writes
def close_forgotten_attendance(now: datetime | None = None) -> int:
    """End attendance that ran past the day's end, with the day, and flag it. Answers how much there was.

    Safe to run at any time and twice: only what is still open is looked at, each under its person's lock. Whoever's clock
    runs on a stage is still here.
    """
    now = now or clock.now()
    closed = 0
    lock_people(list(presence.here().values_list("person_id", flat=True)))
    shop = queries.shop_time()
    working = set(queries.running().values_list("person_id", flat=True))
    for row in presence.here():
        if row.person_id not in working and hours.closing(row.arrived_at, now, shop)[1]:
            _end(row, now, None)
            closed += 1
    return closed


def _end(row: Attendance, now: datetime, by: Person | None) -> None:
    shop = queries.shop_time()
    left_at, forgotten = hours.closing(row.arrived_at, now, shop)
    worked_until = (
        TimeBooking.objects.filter(
            queries.VALID, person=row.person_id, started_at__gte=row.arrived_at, ended_at__lte=now
        ).aggregate(last=Max("ended_at"))["last"]
        if forgotten
        else None
    )
    row.left_at = max(left_at, row.arrived_at, worked_until or row.arrived_at)
    row.break_minutes = hours.break_minutes(row.arrived_at, row.left_at, shop)
    row.flagged_at = now if forgotten else None
    row.save(update_fields=["left_at", "break_minutes", "flagged_at"])
    record(
        by, "attendance.forgotten" if forgotten else "attendance.left", row, person=row.person.name,
        hours=str(presence.attended(row)),
    )  # fmt: skip


def _to_correct(attendance_id: int, by: Person) -> Attendance:
    old = lock_attendance(attendance_id, by)
    if old.superseded_at is not None:
        raise Refused(
            "This was corrected already. Correct the newer one.",
            code="superseded",
            attendance_id=Attendance.objects.filter(corrects=old).values_list("pk", flat=True).first(),
        )
    if old.corrects_id is not None and old.left_at == old.arrived_at:
        raise Refused("This was taken out. Note the day anew.", code="taken-out")
    return old


def _insert(
    person: Person,
    by: Person,
    start: datetime,
    end: datetime,
    minutes: int,
    reason: str,
    corrects: Attendance | None = None,
) -> Attendance:
    return Attendance.objects.create(
        person=person, kind=Attendance.Kind.MANUAL, arrived_at=start, left_at=end, break_minutes=minutes,
        corrects=corrects, reason=reason, entered_by=by, entered_at=clock.now(),
    )  # fmt: skip
