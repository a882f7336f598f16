"""The one lock of this room: the person's row. What overlaps is looked for under it, so that two bookings of one person
made at once can't both find the time free. It is taken before the card's lock, several in the order of their ids."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta

from django.utils import timezone

from shop.kernel.errors import NotFound, Refused
from shop.people.models import Person

from .. import hours
from ..models import Attendance, TimeBooking
from ..presence import KEPT
from ..queries import VALID


def lock_people(person_ids: Collection[int]) -> dict[int, Person]:
    """Lock these people's rows. Raises NotFound."""
    # NO KEY UPDATE: their trail rows may still be inserted by others
    rows = Person.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=set(person_ids)).order_by("pk")
    found = {p.pk: p for p in rows}
    if len(found) != len(set(person_ids)):
        raise NotFound("There is no such person.")
    return found


def lock_booking(booking_id: int, by: Person) -> TimeBooking:
    """Lock the person of a booking and read it as it is now. Raises NotFound, also when it is somebody else's and `by`
    may not edit other people's hours."""
    rows = TimeBooking.objects.filter(pk=booking_id)
    if "time.edit" not in by.rights:
        rows = rows.filter(person=by)
    person_id = rows.values_list("person_id", flat=True).first()
    if person_id is None:
        raise NotFound("There is no such booking, or it is not yours.")
    lock_people([person_id])
    return TimeBooking.objects.select_related("stage__card", "person").get(pk=booking_id)


def lock_attendance(attendance_id: int, by: Person) -> Attendance:
    """As `lock_booking`, of attendance."""
    rows = Attendance.objects.filter(pk=attendance_id)
    if "time.edit" not in by.rights:
        rows = rows.filter(person=by)
    person_id = rows.values_list("person_id", flat=True).first()
    if person_id is None:
        raise NotFound("There is no such attendance, or it is not yours.")
    lock_people([person_id])
    return Attendance.objects.select_related("person").get(pk=attendance_id)


def refuse_twice_here(person: Person, start: datetime, end: datetime | None, *, but: int | None = None) -> None:
    """Raises Refused, naming it, when the person was here in this time already. Call under the person's lock."""
    near = Attendance.objects.filter(KEPT, person=person, arrived_at__gt=start - timedelta(hours=26)).exclude(pk=but)
    if end is not None:
        near = near.filter(arrived_at__lt=end)
    rows = {str(r.pk): r for r in near.order_by("arrived_at")}
    found = hours.overlapping(
        hours.Interval(start, end), [hours.Interval(r.arrived_at, r.left_at, key) for key, r in rows.items()]
    )
    if found:
        other = rows[found.label]
        raise Refused(
            f"{person.name} is recorded as here {told(other.arrived_at, other.left_at)} already. Correct that first, or "
            "choose a time that doesn't overlap.",
            code="overlap",
            attendance_id=other.pk,
        )


def refuse_overlap(person: Person, start: datetime, end: datetime | None, *, but: int | None = None) -> None:
    """Raises Refused, naming it, when the person has another booking in this time. Call under the person's lock."""
    near = TimeBooking.objects.filter(VALID, person=person, started_at__gt=start - timedelta(hours=26)).exclude(pk=but)
    if end is not None:
        near = near.filter(started_at__lt=end)
    rows = {str(r.pk): r for r in near.select_related("stage__card").order_by("started_at")}
    found = hours.overlapping(
        hours.Interval(start, end), [hours.Interval(r.started_at, r.ended_at, key) for key, r in rows.items()]
    )
    if found:
        other = rows[found.label]
        raise Refused(
            f"{person.name} is booked on card {other.stage.card.number}, stage {other.stage}, {span(other)} already. "
            "Correct that booking first, or choose a time that doesn't overlap.",
            code="overlap",
            booking_id=other.pk,
        )


def span(row: TimeBooking) -> str:
    """ "from 25 Nov 2026 09:10 to 11:45" on the shop's clock."""
    return told(row.started_at, row.ended_at)


def told(begins: datetime, ends: datetime | None) -> str:
    """ "from 25 Nov 2026 09:10 to 11:45" on the shop's clock; without an end, since when."""
    start = timezone.localtime(begins)
    day = f"{start.day} {start:%b %Y %H:%M}"
    if ends is None:
        return f"since {day} (still running)"
    end = timezone.localtime(ends)
    until = f"{end:%H:%M}" if end.date() == start.date() else f"{end.day} {end:%b %H:%M}"
    return f"from {day} to {until}"
