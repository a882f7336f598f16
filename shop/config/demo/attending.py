"""When the mechanics of the invented shop were at work: of the last thirteen months, from the list at the door."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.utils import timezone

from jobs.timebook import actions as time
from jobs.timebook import queries
from shop.kernel import clock
from shop.people.models import Person

KEPT = 400  # days
FORGOTTEN = 11  # on one day in so many nobody wrote the list


def keep(people: Iterable[Person], today: datetime) -> None:
    """Each day on which somebody booked hours they were here, a while longer than they booked. Who has a clock running is
    here now."""
    for person in people:
        _days(person, today)
        running = queries.running_of(person)
        if running is not None:
            with clock.at(running.started_at - timedelta(minutes=10)):
                time.arrive(by=person)


def _days(person: Person, today: datetime) -> None:
    zone = timezone.get_current_timezone()
    since = today - timedelta(days=KEPT)
    spans: dict[object, list[tuple[datetime, datetime]]] = {}
    for row in queries.bookings(person_id=person.pk, since=since, until=queries.midnight(today.date()), running=False):
        if row.ended_at is not None:
            spans.setdefault(row.started_at.astimezone(zone).date(), []).append((row.started_at, row.ended_at))
    for n, day in enumerate(sorted(spans, key=str)):
        if n % FORGOTTEN == FORGOTTEN - 1:
            continue
        came = min(start for start, _ in spans[day]) - timedelta(minutes=5 + n % 4 * 5)
        went = max(end for _, end in spans[day]) + timedelta(minutes=10 + n % 5 * 5)
        with clock.at(went + timedelta(minutes=1)):
            time.note_attendance(
                by=person, person_id=person.pk, arrived_at=came, left_at=went, reason="From the list at the door"
            )
