"""Hours from intervals. Summer time in Ireland begins on 29 March 2026 (01:00 becomes 02:00) and ends on 25 October 2026
(02:00 becomes 01:00), as the tz database has it for Europe/Dublin."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from jobs.timebook.hours import (
    Interval,
    ShopTime,
    break_minutes,
    by_day,
    closing,
    day_end,
    hours_of,
    overlapping,
    seconds_between,
    worked_hours,
)
from shop.business.working import Calendar, Hours

DUBLIN = ZoneInfo("Europe/Dublin")
DAY = Hours(time(8), time(17), time(12), time(12, 30))
EVERY_DAY = ShopTime(Calendar(dict.fromkeys(range(1, 8), DAY), {date(2026, 12, 25): "Christmas"}), DUBLIN)
WEEKDAYS = ShopTime(Calendar(dict.fromkeys(range(1, 6), DAY), {}), DUBLIN)


def at(hour, minute=0, day=26, month=11):
    return datetime(2026, month, day, hour, minute, tzinfo=DUBLIN)


def test_a_plain_morning():
    assert worked_hours(at(8), at(11, 30)) == Decimal("3.5")
    assert worked_hours(at(8), at(11, 30), 15) == Decimal("3.25")
    assert worked_hours(at(8), at(8, 10), 30) == 0


@pytest.mark.parametrize(
    ("month", "day", "length"), [(3, 29, Decimal(2)), (10, 25, Decimal(4)), (3, 28, Decimal(3)), (10, 26, Decimal(3))]
)
def test_a_night_across_the_change_of_summer_time(month, day, length):
    """From 00:30 to 03:30 on the wall: two hours in spring, four in autumn."""
    assert worked_hours(at(0, 30, day, month), at(3, 30, day, month)) == length


def test_seconds_are_summed_before_they_become_hours():
    thirds = [20 * 60] * 3
    assert hours_of(sum(thirds)) == 1
    assert sum(hours_of(t) for t in thirds) == Decimal("0.9999")
    assert hours_of(1) == Decimal("0.0003")
    assert seconds_between(at(8), at(8, 0) + timedelta(seconds=59, milliseconds=900)) == 59


@pytest.mark.parametrize(
    ("start", "end", "minutes"),
    [
        (at(8), at(17), 30),
        (at(8), at(12), 0),
        (at(12), at(12, 30), 30),
        (at(12, 10), at(13), 20),
        (at(11), at(12, 5), 5),
        (at(12, 30), at(17), 0),
        (at(20, day=26), at(13, day=27), 30),
        (at(8, day=25, month=12), at(17, day=25, month=12), 0),
        (at(8, day=29, month=3), at(17, day=29, month=3), 30),
    ],
)
def test_the_break_inside(start, end, minutes):
    assert break_minutes(start, end, EVERY_DAY) == minutes
    assert break_minutes(start.astimezone(UTC), end.astimezone(UTC), EVERY_DAY) == minutes


def test_a_shop_without_breaks():
    plain = ShopTime(Calendar({4: Hours(time(8), time(17))}, {}), DUBLIN)
    assert break_minutes(at(8), at(17), plain) == 0


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (at(9), at(17)),
        (at(16, 59), at(17)),
        (at(17), at(0, day=27)),
        (at(19), at(0, day=27)),
        (at(9, day=28), at(0, day=29)),  # a Saturday
        (at(9, day=24, month=10), at(0, day=25, month=10)),
        (at(0, 30, day=25, month=10), at(0, day=26, month=10)),  # Sunday of 25 hours
    ],
)
def test_when_the_day_of_a_clock_ends(start, end):
    assert day_end(start, WEEKDAYS) == end.astimezone(UTC)


@pytest.mark.parametrize(
    ("start", "now", "ends", "forgotten"),
    [
        (at(9), at(11), at(11), False),
        (at(9), at(18, 59), at(18, 59), False),  # working late
        (at(9), at(19), at(19), False),
        (at(9), at(19, 1), at(17), True),
        (at(9), at(9, day=27), at(17), True),
        (at(18), at(23), at(23), False),
        (at(18), at(0, 1, day=27), at(0, day=27), True),
        (at(9, day=28), at(20, day=28), at(20, day=28), False),  # a Saturday
        (at(9, day=28), at(8, day=30), at(0, day=29), True),
    ],
)
def test_a_forgotten_clock_ends_with_its_day(start, now, ends, forgotten):
    assert closing(start, now, WEEKDAYS) == (ends, forgotten)


NINE_TO_TEN = Interval(at(9), at(10))


@pytest.mark.parametrize(
    ("other", "shares"),
    [
        (Interval(at(8), at(9)), False),
        (Interval(at(10), at(11)), False),
        (Interval(at(8), at(9, 1)), True),
        (Interval(at(9, 59), at(11)), True),
        (Interval(at(9, 15), at(9, 30)), True),
        (Interval(at(8), at(11)), True),
        (Interval(at(9), at(10)), True),
        (Interval(at(9, 30), None), True),
        (Interval(at(8), None), True),
        (Interval(at(10), None), False),
        (Interval(at(9, 30), at(9, 30)), False),
    ],
)
def test_overlaps_are_half_open(other, shares):
    assert (overlapping(NINE_TO_TEN, [other]) is not None) is shares
    assert (overlapping(other, [NINE_TO_TEN]) is not None) is shares


def test_hours_fall_on_the_day_they_began():
    late = (at(23), at(1, day=27), 0)
    assert by_day([late, (at(9), at(10), 15)], DUBLIN) == {date(2026, 11, 26): 2 * 3600 + 45 * 60}
