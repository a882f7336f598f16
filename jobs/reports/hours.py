"""Hours of people in a span of days: at work, on stages, sold.

Attendance and bookings count on the day on which they began, in the shop's zone, once they have ended; corrected as known
now. Sold are the hours on labour lines charged by the hour of invoices issued in the span, less those of credit notes; whose
they are says `shares.py`. A day on which somebody worked without attendance being kept is counted and said, never filled in:
both ratios of attended hours leave it out. They leave out, too, a day on which somebody is at work still: their bookings of it
have ended, their attendance not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Sum
from django.db.models.functions import TruncDate
from django.utils import timezone

from jobs.books.ratios import of_hundred
from jobs.estimates.pricing import HOUR
from jobs.invoices.models import Invoice, InvoiceLine
from jobs.timebook import hours as clocked
from jobs.timebook.models import Attendance, TimeBooking
from jobs.timebook.presence import KEPT
from jobs.timebook.queries import VALID, midnight
from shop.kernel.rounding import EXACT
from shop.people.models import Person

from .seconds import worked
from .shares import NOBODY, shares

ZERO = Decimal(0)
TREND = 12  # months of the picture, or the whole span where that is longer
SUMMED = (
    "attended_seconds", "over_seconds", "worked_seconds", "kept_seconds", "days", "days_without", "days_running", "sold",
)  # fmt: skip
Days = dict[tuple[int, date], int]  # seconds by person and day


@dataclass
class Hours:
    """Of one person, or of all. Seconds. `over` is what was attended on days that are over, `kept` what was worked on those;
    `days_running` those days on which an attendance runs."""

    person_id: int = NOBODY
    name: str = ""
    attended_seconds: int = 0
    over_seconds: int = 0
    worked_seconds: int = 0
    kept_seconds: int = 0
    days: int = 0
    days_without: int = 0
    days_running: int = 0
    sold: Decimal = ZERO

    @property
    def attended(self) -> Decimal:
        return clocked.hours_of(self.attended_seconds)

    @property
    def worked(self) -> Decimal:
        return clocked.hours_of(self.worked_seconds)

    @property
    def over(self) -> Decimal:
        return clocked.hours_of(self.over_seconds)

    @property
    def kept(self) -> Decimal:
        return clocked.hours_of(self.kept_seconds)

    @property
    def worked_of_attended(self) -> Decimal | None:
        """Per cent, of the days on which attendance was kept and that are over."""
        return of_hundred(Decimal(self.kept_seconds), Decimal(self.over_seconds))

    @property
    def sold_of_worked(self) -> Decimal | None:
        """Per cent."""
        return of_hundred(self.sold * 3600, Decimal(self.worked_seconds))

    @property
    def sold_of_attended(self) -> Decimal | None:
        """The product of the two, in per cent. Rounded once."""
        if not self.over_seconds or not self.worked_seconds:
            return None
        part = EXACT.multiply(self.sold * 3600, Decimal(self.kept_seconds))
        return of_hundred(part, Decimal(self.over_seconds) * self.worked_seconds)


@dataclass
class Month:
    month: date
    attended_seconds: int = 0
    worked_seconds: int = 0
    sold: Decimal = ZERO
    days_running: int = 0  # of persons

    @property
    def attended(self) -> Decimal:
        return clocked.hours_of(self.attended_seconds)

    @property
    def worked(self) -> Decimal:
        return clocked.hours_of(self.worked_seconds)


@dataclass
class Report:
    since: date
    until: date
    people: list[Hours]
    nobody: Decimal  # sold, without anybody who booked for it
    whole: Hours
    months: list[Month] = field(default_factory=list)


def report(since: date, until: date) -> Report:
    """From `since` to `until`, both counted, by name; months up to `until`. A fixed number of queries."""
    first = min(since.replace(day=1), _months_before(until, TREND - 1))
    came = _by_day(Attendance.objects.filter(KEPT, left_at__isnull=False), "arrived_at", "left_at", first, until)
    here = _days(Attendance.objects.filter(KEPT, left_at__isnull=True), "arrived_at", first, until)
    done = _by_day(TimeBooking.objects.filter(VALID, ended_at__isnull=False), "started_at", "ended_at", first, until)
    lines = sold_lines(first, until)
    months = {m: Month(m) for m in _months(first, until)}
    found: dict[int, Hours] = defaultdict(Hours)
    for (person, day), spent in came.items():
        months[day.replace(day=1)].attended_seconds += spent
        if day >= since:
            found[person].attended_seconds += spent
            found[person].over_seconds += 0 if (person, day) in here else spent
    for person, day in here:
        months[day.replace(day=1)].days_running += 1
        if day >= since:
            found[person].days_running += 1
    for (person, day), spent in done.items():
        months[day.replace(day=1)].worked_seconds += spent
        if day >= since:
            its = found[person]
            its.worked_seconds += spent
            its.days += 1
            if (person, day) in here:
                continue
            if (person, day) in came:
                its.kept_seconds += spent
            else:
                its.days_without += 1
    wanted = []
    for line in lines.values_list("pk", "invoice__issued_on", "invoice__kind", "stage", "invoice__card", "quantity"):
        _, on, kind, stage, card, quantity = line
        if on is None:
            continue  # a draft, which `sold_lines` leaves out
        signed = -quantity if kind == Invoice.Kind.CREDIT else quantity
        months[on.replace(day=1)].sold += signed
        if on >= since:
            wanted.append((stage, card, signed))
    booked = Booked(lines.filter(invoice__issued_on__gte=since).values("invoice__card"))
    for stage, card, signed in wanted:
        for person, share in shares(signed, booked.on(stage, card)).items():
            found[person].sold += share
    nobody = found.pop(NOBODY, Hours()).sold
    names = dict(Person.objects.filter(pk__in=list(found)).values_list("pk", "name"))
    whole = Hours(sold=nobody)
    for person, its in found.items():
        its.person_id, its.name = person, names[person]
        for part in SUMMED:
            setattr(whole, part, getattr(whole, part) + getattr(its, part))
    people = sorted(found.values(), key=lambda h: (h.name, h.person_id))
    return Report(since, until, people, nobody, whole, list(months.values()))


def sold_lines(since: date, until: date, person_id: int | None = None) -> QuerySet[InvoiceLine]:
    """Labour lines charged by the hour of what was issued in these days. `person_id`: only of cards on which that person
    booked (NOBODY: on which nobody did, of `_booked` hours); which part of a line is theirs, `sold_by` says."""
    rows = InvoiceLine.objects.filter(
        invoice__issued_on__range=(since, until), invoice__issued_at__isnull=False, kind="labour", unit=HOUR,
        deducts__isnull=True,
    ).exclude(invoice__kind="deposit")  # fmt: skip
    if person_id is None:
        return rows
    booked = _booked().filter(stage__card=OuterRef("invoice__card"))
    return rows.filter(Exists(booked.filter(person=person_id)) if person_id != NOBODY else ~Exists(booked))


@dataclass(frozen=True)
class Sold:
    """What of an invoice's line is one person's (or nobody's)."""

    line: InvoiceLine
    hours: Decimal  # of the whole line; a credit note's below zero
    share: Decimal

    @property
    def pk(self) -> int:
        return self.line.pk


def sold_by(person_id: int | None, lines: Iterable[InvoiceLine]) -> list[Sold]:
    """The shares of a person in these lines; lines without one are left out. None: each line whole."""
    listed = list(lines)
    booked = Booked([x.invoice.card_id for x in listed if x.invoice.card_id])
    found = []
    for x in listed:
        signed = -x.quantity if x.invoice.kind == Invoice.Kind.CREDIT else x.quantity
        shared = shares(signed, booked.on(x.stage_id, x.invoice.card_id))
        share = signed if person_id is None else shared.get(person_id, ZERO)
        if share:
            found.append(Sold(x, signed, share))
    return found


class Booked:
    """Seconds that each person booked, by stage and by card, of `_booked` hours. One query."""

    def __init__(self, cards: Any) -> None:
        self.stages: dict[int, dict[int, int]] = defaultdict(dict)
        self.cards: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        rows = _booked().filter(stage__card__in=cards).order_by()
        for stage, card, person, spent in rows.values_list("stage", "stage__card", "person").annotate(s=Sum("spent")):
            self.stages[stage][person] = spent
            self.cards[card][person] += spent

    def on(self, stage: int | None, card: int | None) -> dict[int, int]:
        if stage is not None and stage in self.stages:
            return self.stages[stage]
        return dict(self.cards[card]) if card is not None and card in self.cards else {}


def _booked() -> QuerySet[TimeBooking]:
    """Bookings that make a line their person's: they have ended, and something is left of them without the break (`spent`)."""
    rows = TimeBooking.objects.filter(VALID, ended_at__isnull=False)
    return rows.alias(spent=worked("started_at", "ended_at")).filter(spent__gt=0)


def _by_day(rows: QuerySet[Any], start: str, end: str, since: date, until: date) -> Days:
    grouped = _of_days(rows, start, since, until).annotate(s=Sum(worked(start, end)))
    return {(person, on): spent for person, on, spent in grouped}


def _days(rows: QuerySet[Any], start: str, since: date, until: date) -> set[tuple[int, date]]:
    return set(_of_days(rows, start, since, until).distinct())


def _of_days(rows: QuerySet[Any], start: str, since: date, until: date) -> QuerySet[Any, Any]:
    """Person and day of what began in these days."""
    inside = {f"{start}__gte": midnight(since), f"{start}__lt": midnight(until + timedelta(days=1))}
    day = TruncDate(start, tzinfo=timezone.get_current_timezone())
    return rows.filter(**inside).order_by().annotate(day=day).values_list("person", "day")


def _months_before(day: date, count: int) -> date:
    n = day.year * 12 + day.month - 1 - count
    return date(n // 12, n % 12 + 1, 1)


def _months(first: date, until: date) -> Iterable[date]:
    month = first.replace(day=1)
    while month <= until:
        yield month
        month = _months_before(month, -1)
