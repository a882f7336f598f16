"""Clock on, clock off, and clocks that were forgotten."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from jobs.cards import actions as cards
from jobs.cards.actions.locking import called
from shop.kernel import clock
from shop.kernel.errors import NeedsOverride, Refused
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import hours, queries
from ..models import TimeBooking
from .locking import lock_booking, lock_people, refuse_overlap


@writes
def clock_on(*, by: Person, stage_id: int, close_running: bool = False, override_reason: str = "") -> TimeBooking:
    """Start one's own clock on a stage, and the stage with it if it hasn't started.

    One clock runs per person: with `close_running` another one ends at the same moment, else NeedsOverride
    ("clock-running") names it. Raises Refused when it runs on this stage already, and whatever keeps the stage from
    being started (`jobs.cards.actions.start_stage`).
    """
    person = lock_people([by.pk])[by.pk]
    now = clock.now()
    other = queries.running(person_id=person.pk).first()
    if other and other.stage_id == stage_id:
        raise Refused("Your clock runs on this stage already.", code="clock-runs-here", booking_id=other.pk)
    if other and not close_running:
        raise NeedsOverride(
            f"Your clock runs on card {other.stage.card.number}, {called(other.stage)}. Clock off there first, or let "
            "this one close it.",
            code="clock-running",
            booking_id=other.pk,
            stage_id=other.stage_id,
            since=other.started_at,
        )
    if other:
        end(other, now, by)
    stage = cards.work_on(stage_id, by=by, override_reason=override_reason)
    refuse_overlap(person, now, None)
    row = TimeBooking.objects.create(
        person=person,
        stage=stage,
        kind=TimeBooking.Kind.CLOCK,
        started_at=now,
        cost_per_hour=person.cost_per_hour,
        labour_class=person.labour_class,
        entered_by=by,
        entered_at=now,
    )
    record(by, "time.clocked-on", row, root=stage.card, stage=called(stage), person=person.name)
    return row


@writes
def clock_off(*, by: Person, booking_id: int | None = None) -> TimeBooking:
    """Stop one's own clock, or the one named: somebody else's needs the right `time.edit`.

    The shop's break inside the time is taken off. A clock forgotten past the day's end ends with the day and is flagged.
    Raises Refused when none runs, NotFound for a booking that isn't one's own.
    """
    if booking_id is None:
        person = lock_people([by.pk])[by.pk]
        row = queries.running(person_id=person.pk).first()
        if row is None:
            raise Refused("Your clock isn't running. Clock on at a stage first.", code="no-clock")
    else:
        row = lock_booking(booking_id, by)
        if row.ended_at is not None:
            raise Refused("This clock was stopped already. Correct the booking if it is wrong.", code="no-clock")
    end(row, clock.now(), by)
    return row


@writes
def stop_clocks(stage_ids: Collection[int], *, by: Person | None) -> list[TimeBooking]:
    """Stop every clock on these stages, because the work stops (hold, the customer's no)."""
    people = TimeBooking.objects.filter(queries.VALID, stage__in=stage_ids, ended_at__isnull=True)
    lock_people(people.values_list("person_id", flat=True))
    rows = list(queries.bookings(running=True).filter(stage__in=stage_ids).order_by("pk"))
    now = clock.now()
    for row in rows:
        end(row, now, by)
    return rows


@writes
def close_forgotten(now: datetime | None = None) -> int:
    """End clocks that ran past the day's end, with the day, and flag them for the office. Answers how many.

    Safe to run at any time and twice: only clocks still running are looked at, each under its person's lock.
    """
    now = now or clock.now()
    closed = 0
    people = TimeBooking.objects.filter(queries.VALID, ended_at__isnull=True).values_list("person_id", flat=True)
    lock_people(people)
    shop = queries.shop_time()
    for row in queries.running():
        _, forgotten = hours.closing(row.started_at, now, shop)
        if forgotten:
            end(row, now, None)
            closed += 1
    return closed


def end(row: TimeBooking, now: datetime, by: Person | None) -> None:
    """Stop a running clock, under its person's lock: now, or with the day when it was forgotten."""
    shop = queries.shop_time()
    ended, forgotten = hours.closing(row.started_at, now, shop)
    row.ended_at = max(ended, row.started_at)
    row.break_minutes = hours.break_minutes(row.started_at, row.ended_at, shop)
    row.flagged_at = now if forgotten else None
    row.save(update_fields=["ended_at", "break_minutes", "flagged_at"])
    record(
        by,
        "time.forgotten" if forgotten else "time.clocked-off",
        row,
        root=row.stage.card,
        stage=called(row.stage),
        person=row.person.name,
        hours=str(queries.worked(row)),
    )
