"""When the shop works, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta


@dataclass(frozen=True, slots=True)
class Hours:
    """The working hours of a weekday, shop time; a break inside is not worked."""

    starts: time
    ends: time
    break_starts: time | None = None
    break_ends: time | None = None

    @property
    def minutes(self) -> int:
        """Minutes worked."""
        pause = _minutes(self.break_ends) - _minutes(self.break_starts) if self.break_starts and self.break_ends else 0
        return _minutes(self.ends) - _minutes(self.starts) - pause


@dataclass(frozen=True, slots=True)
class Calendar:
    """Hours by ISO weekday (Monday 1), and the days the shop is closed with the reason."""

    week: Mapping[int, Hours]
    closed: Mapping[date, str]

    def on(self, day: date) -> Hours | None:
        """The hours of this day; None when the shop is closed."""
        return None if day in self.closed else self.week.get(day.isoweekday())

    def next_open(self, day: date) -> date | None:
        """This day, or the first after it on which the shop works; None within a year."""
        return next((d for n in range(366) if self.on(d := day + timedelta(days=n))), None)


# Until the owner has set hours: Monday to Friday, half an hour at noon
USUAL: Mapping[int, Hours] = {d: Hours(time(8), time(17), time(12), time(12, 30)) for d in range(1, 6)}


def _minutes(at: time | None) -> int:
    return at.hour * 60 + at.minute if at else 0
