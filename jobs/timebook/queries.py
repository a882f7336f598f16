"""Reads of the time room. Rows that a correction has superseded, and those that take one out, don't count."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import TypeVar

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from jobs.cards.models import JobCard, Stage
from shop.business import queries as business
from shop.kernel import clock
from shop.kernel.rounding import round_money
from shop.people.models import Person

from . import hours
from .models import Attendance, TimeBooking

R = TypeVar("R", TimeBooking, Attendance)
VALID = Q(superseded_at__isnull=True) & (Q(ended_at__isnull=True) | Q(ended_at__gt=F("started_at")))


def shop_time() -> hours.ShopTime:
    """The shop's working hours and closed days on its own clock."""
    return hours.ShopTime(business.calendar(), timezone.get_current_timezone())


def bookings(
    *,
    person_id: int | None = None,
    stage_id: int | None = None,
    card_id: int | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    running: bool | None = None,
    flagged: bool | None = None,
    superseded: bool = False,
) -> QuerySet[TimeBooking]:
    """Bookings narrowed by what is given: started at or after `since` and before `until`. `superseded` True: also what
    was corrected since, and what took a booking out."""
    rows = TimeBooking.objects.select_related("person", "stage__card__machine", "entered_by")
    if not superseded:
        rows = rows.filter(VALID)
    if person_id is not None:
        rows = rows.filter(person=person_id)
    if stage_id is not None:
        rows = rows.filter(stage=stage_id)
    if card_id is not None:
        rows = rows.filter(stage__card=card_id)
    if since is not None:
        rows = rows.filter(started_at__gte=since)
    if until is not None:
        rows = rows.filter(started_at__lt=until)
    if running is not None:
        rows = rows.filter(ended_at__isnull=running)
    if flagged is not None:
        rows = rows.filter(flagged_at__isnull=not flagged)
    return rows


def seen_by(reader: Person, rows: QuerySet[R]) -> QuerySet[R]:
    """Bookings or attendance that `reader` may see: one's own; everybody's with the right `time.read`."""
    return rows if "time.read" in reader.rights else rows.filter(person=reader)


def booking(pk: int, *, reader: Person) -> TimeBooking | None:
    """One booking; somebody else's only with the right `time.read`."""
    return seen_by(reader, bookings(superseded=True).filter(pk=pk)).first()


def running(*, person_id: int | None = None, card_id: int | None = None) -> QuerySet[TimeBooking]:
    """Clocks that run now."""
    return bookings(person_id=person_id, card_id=card_id, running=True).order_by("started_at", "id")


def running_of(person: Person) -> TimeBooking | None:
    return running(person_id=person.pk).first()


def flagged() -> QuerySet[TimeBooking]:
    """Forgotten clocks that were ended by the day's end and not yet corrected."""
    return bookings(flagged=True).order_by("-started_at", "-id")


def usual_break(row: TimeBooking) -> int:
    """How many minutes of the shop's break lie inside a booking."""
    return hours.break_minutes(row.started_at, row.ended_at, shop_time()) if row.ended_at else 0


def worked(row: TimeBooking, *, now: datetime | None = None) -> Decimal:
    """Hours of one booking; of a running one until `now`, its break not yet taken off."""
    return hours.hours_of(_seconds(row, now or clock.now()))


def _seconds(row: TimeBooking, now: datetime) -> int:
    return hours.seconds_worked(row.started_at, row.ended_at or max(now, row.started_at), row.break_minutes)


LEAST_BILLED = Decimal("0.005")  # hours; an invoice counts in hundredths, rounded half up


@dataclass(frozen=True)
class StageHours:
    """Hours on a stage against its standard hours. `running` of them are still on the clock."""

    stage: Stage
    standard: Decimal
    booked: Decimal
    running: Decimal
    clocked_on: tuple[TimeBooking, ...]

    @property
    def total(self) -> Decimal:
        return self.booked + self.running

    @property
    def over(self) -> Decimal:
        """By how much the hours exceed the standard; 0 when they don't, or there is none."""
        return max(Decimal(0), self.total - self.standard) if self.standard else Decimal(0)

    @property
    def missing(self) -> bool:
        """Finished and chargeable, but no hundredth of an hour is booked: billed by hours, it falls off the invoice."""
        return bool(self.stage.finished_at and self.stage.chargeable and self.total < LEAST_BILLED)


def hours_by_stage(stages: Iterable[Stage]) -> dict[int, StageHours]:
    """Hours of these stages by their id, in one query."""
    listed = list(stages)
    now = clock.now()
    rows: dict[int, list[TimeBooking]] = {s.pk: [] for s in listed}
    for row in TimeBooking.objects.filter(VALID, stage__in=rows).select_related("person").order_by("started_at", "id"):
        rows[row.stage_id].append(row)
    return {
        s.pk: StageHours(
            s,
            s.standard_hours,
            hours.hours_of(sum(_seconds(r, now) for r in rows[s.pk] if r.ended_at)),
            hours.hours_of(sum(_seconds(r, now) for r in rows[s.pk] if not r.ended_at)),
            tuple(r for r in rows[s.pk] if not r.ended_at),
        )
        for s in listed
    }


def midnight(day: date) -> datetime:
    """When a day begins on the shop's clock, in UTC."""
    return datetime.combine(day, time(0), tzinfo=timezone.get_current_timezone()).astimezone(UTC)


@dataclass(frozen=True)
class Day:
    day: date
    bookings: tuple[TimeBooking, ...]
    hours: Decimal


def days(person: Person, first: date, count: int = 7) -> list[Day]:
    """A person's days from `first`, each with the bookings that began on it."""
    zone = timezone.get_current_timezone()
    start, end = midnight(first), midnight(first + timedelta(days=count))
    rows = list(bookings(person_id=person.pk, since=start, until=end).order_by("started_at", "id"))
    now = clock.now()
    found = []
    for n in range(count):
        day = first + timedelta(days=n)
        mine = tuple(r for r in rows if r.started_at.astimezone(zone).date() == day)
        found.append(Day(day, mine, hours.hours_of(sum(_seconds(r, now) for r in mine))))
    return found


def week(person: Person, day: date) -> list[Day]:
    """The seven days from Monday of the week that `day` lies in."""
    return days(person, day - timedelta(days=day.weekday()))


@dataclass(frozen=True)
class HoursCost:
    """What the hours of a card cost the shop, rounded half up to the cent once. `unpriced`: hours whose person had no
    cost per hour; they count as nothing and are said."""

    amount: Decimal
    hours: Decimal
    unpriced: Decimal


def hours_cost(card_id: int) -> HoursCost:
    """Ended hours of a card at the cost per hour that each person had when they were booked."""
    now = clock.now()
    total, seconds, unpriced = Decimal(0), 0, 0
    for row in TimeBooking.objects.filter(VALID, stage__card=card_id, ended_at__isnull=False):
        spent = _seconds(row, now)
        seconds += spent
        if row.cost_per_hour is None:
            unpriced += spent
        else:
            total += row.cost_per_hour * spent / 3600
    return HoursCost(round_money(total, business.profile().currency), hours.hours_of(seconds), hours.hours_of(unpriced))


@dataclass(frozen=True)
class CardHours:
    card_id: int
    stages: list[StageHours]
    booked: Decimal
    standard: Decimal
    cost: Decimal
    unpriced: Decimal


def hours_of_card(card_id: int) -> CardHours | None:
    """Hours of a card by stage, with their cost; None when there is no such card."""
    if not JobCard.objects.filter(pk=card_id).exists():
        return None
    listed = list(hours_by_stage(Stage.objects.filter(card=card_id, removed_at__isnull=True)).values())
    cost = hours_cost(card_id)
    standard = sum((s.standard for s in listed), Decimal(0))
    return CardHours(card_id, listed, cost.hours, standard, cost.amount, cost.unpriced)
