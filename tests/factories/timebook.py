from __future__ import annotations

from datetime import UTC, datetime, time

import pytest

from jobs.cards.models import Stage
from jobs.timebook import actions
from jobs.timebook.models import Attendance, TimeBooking
from shop.business.models import WorkingHours
from shop.kernel import clock
from shop.people.models import Person

THURSDAY = datetime(2026, 11, 26, 0, 0, tzinfo=UTC)


class Stopped:
    """The shop's clock, stopped: `clock.at(9, 30)` sets it on Thursday 26 Nov 2026 (UTC = Irish time)."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.moment = THURSDAY.replace(hour=9)
        monkeypatch.setattr(clock, "now", lambda: self.moment)

    def at(self, hour: int, minute: int = 0, day: int = 26) -> datetime:
        self.moment = THURSDAY.replace(day=day, hour=hour, minute=minute)
        return self.moment


def working_hours() -> None:
    """Monday to Friday, 8:00 to 17:00 with a break from 12:00 to 12:30."""
    for weekday in range(1, 6):
        WorkingHours.objects.get_or_create(
            weekday=weekday,
            defaults={"starts": time(8), "ends": time(17), "break_starts": time(12), "break_ends": time(12, 30)},
        )


def a_booking(person: Person, stage: Stage, start: datetime, end: datetime, by: Person | None = None) -> TimeBooking:
    return actions.book(
        by=by or person,
        person_id=person.pk,
        stage_id=stage.pk,
        started_at=start,
        ended_at=end,
        reason="Forgot to clock on",
    )


def an_attendance(person: Person, start: datetime, end: datetime, by: Person | None = None) -> Attendance:
    return actions.note_attendance(
        by=by or person, person_id=person.pk, arrived_at=start, left_at=end, reason="Forgot to press"
    )
