"""Reads of attendance: who was here when. Rows that a correction has superseded, and those that take one out, don't count.

Who sees whose follows the rights on hours: one's own by `time.own`, everybody's by `time.read`. What has to be recorded
about working time, for how long and who may see it differs by country: an adviser confirms.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from shop.kernel import clock
from shop.people.models import Person

from . import hours
from .models import Attendance
from .queries import midnight, seen_by, shop_time

KEPT = Q(superseded_at__isnull=True) & (Q(left_at__isnull=True) | Q(left_at__gt=F("arrived_at")))


def attendances(
    *,
    person_id: int | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    here: bool | None = None,
    flagged: bool | None = None,
    superseded: bool = False,
) -> QuerySet[Attendance]:
    """Narrowed by what is given: arrived at or after `since` and before `until`. `superseded` True: also what was corrected
    since, and what took one out."""
    rows = Attendance.objects.select_related("person", "entered_by")
    if not superseded:
        rows = rows.filter(KEPT)
    if person_id is not None:
        rows = rows.filter(person=person_id)
    if since is not None:
        rows = rows.filter(arrived_at__gte=since)
    if until is not None:
        rows = rows.filter(arrived_at__lt=until)
    if here is not None:
        rows = rows.filter(left_at__isnull=here)
    if flagged is not None:
        rows = rows.filter(flagged_at__isnull=not flagged)
    return rows


def attendance(pk: int, *, reader: Person) -> Attendance | None:
    """One of them; somebody else's only with the right `time.read`."""
    return seen_by(reader, attendances(superseded=True).filter(pk=pk)).first()


def here() -> QuerySet[Attendance]:
    """Who is here now, by when they came."""
    return attendances(here=True).order_by("arrived_at", "id")


def here_of(person: Person) -> Attendance | None:
    return attendances(person_id=person.pk, here=True).first()


def seconds(row: Attendance, *, now: datetime | None = None) -> int:
    """Without the break; of somebody who is here until `now`, the break not yet taken off."""
    left_at = row.left_at or max(now or clock.now(), row.arrived_at)
    return hours.seconds_worked(row.arrived_at, left_at, row.break_minutes)


def attended(row: Attendance, *, now: datetime | None = None) -> Decimal:
    """Hours of one attendance without its break."""
    return hours.hours_of(seconds(row, now=now))


def usual_break(row: Attendance) -> int:
    """How many minutes of the shop's break lie inside it."""
    return hours.break_minutes(row.arrived_at, row.left_at, shop_time()) if row.left_at else 0


@dataclass(frozen=True)
class Day:
    day: date
    rows: tuple[Attendance, ...]
    hours: Decimal


def days(person: Person, first: date, count: int = 7) -> list[Day]:
    """A person's days from `first` with the attendance that began on each."""
    zone, now = timezone.get_current_timezone(), clock.now()
    until = midnight(first + timedelta(days=count))
    rows = list(attendances(person_id=person.pk, since=midnight(first), until=until).order_by("arrived_at", "id"))
    found = []
    for n in range(count):
        day = first + timedelta(days=n)
        its = tuple(r for r in rows if r.arrived_at.astimezone(zone).date() == day)
        found.append(Day(day, its, hours.hours_of(sum(seconds(r, now=now) for r in its))))
    return found
