"""Whatever a mechanic clocks, books, corrects and takes out, in any order and with any refusals: no hour stands twice, at
most one clock runs, and nothing that was booked is lost or changed."""

from __future__ import annotations

import itertools
import os
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.db.models import Q
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from jobs.timebook import actions, hours, queries
from jobs.timebook.models import TimeBooking
from shop.business.working import USUAL, Calendar
from shop.kernel import clock
from shop.kernel.errors import DomainError
from tests.factories.cards import a_card, a_stage
from tests.factories.people import person

ZONES = [ZoneInfo(z) for z in ("Europe/Dublin", "America/New_York", "Asia/Kathmandu", "UTC")]
seconds = st.integers(0, 2 * 365 * 24 * 3600)
moments = seconds.map(lambda s: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=s))
lengths = st.integers(0, 40 * 3600).map(lambda s: timedelta(seconds=s))


@given(moments, lengths, lengths, st.sampled_from(ZONES))
def test_hours_add_up_wherever_the_shop_is(start, first, second, zone):
    """Cutting an interval in two changes neither its length nor, to a minute each, its break; the zone changes nothing."""
    shop = hours.ShopTime(Calendar(USUAL, {}), zone)
    middle, end = start + first, start + first + second
    local = [m.astimezone(zone) for m in (start, middle, end)]
    whole = hours.seconds_between(local[0], local[2])
    assert whole == hours.seconds_between(local[0], local[1]) + hours.seconds_between(local[1], local[2])
    assert whole == int((first + second).total_seconds())
    breaks = hours.break_minutes(start, middle, shop) + hours.break_minutes(middle, end, shop)
    assert abs(hours.break_minutes(start, end, shop) - breaks) <= 1
    assert hours.break_minutes(*local[::2], shop) == hours.break_minutes(start, end, shop)


@given(moments, lengths, st.sampled_from(ZONES))
def test_a_clock_never_books_more_than_a_day_nor_the_future(start, later, zone):
    shop = hours.ShopTime(Calendar(USUAL, {}), zone)
    now = start + later
    ends, forgotten = hours.closing(start, now, shop)
    assert start <= ends <= now
    assert forgotten or ends == now
    assert hours.seconds_between(start, ends) <= 25 * 3600  # the day that has an hour twice


intervals = st.tuples(st.integers(0, 50), st.one_of(st.none(), st.integers(0, 50)))


@given(intervals, st.lists(intervals, max_size=6))
def test_overlap_is_what_counting_minutes_says(wanted, others):
    """Against the plainest model: the set of minutes of each interval."""

    def minutes(pair):
        return set(range(pair[0], 60 if pair[1] is None else pair[1]))

    def interval(pair):
        zero = datetime(2026, 11, 26, tzinfo=UTC)
        start, end = (None if m is None else zero + timedelta(minutes=m) for m in pair)
        return hours.Interval(start, end)

    found = hours.overlapping(interval(wanted), [interval(o) for o in others])
    shares = [interval(o) for o in others if minutes(o) & minutes(wanted)]
    assert found == (shares[0] if shares else None)


STEPS, LENGTH = int(os.environ.get("TALLYBENCH_STEPS", "300")), 50
STEP = timedelta(minutes=15)


class Hours(RuleBasedStateMachine):
    """A mechanic's days in quarters of an hour."""

    def __init__(self) -> None:
        super().__init__()
        self.outer = transaction.atomic()
        self.outer.__enter__()

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.outer.__exit__(None, None, None)

    @initialize()
    def begin(self):
        self.me = person("jory", "Jory Vane", "mechanic")
        self.now = datetime(2026, 11, 26, 16, tzinfo=UTC)
        with clock.at(self.now):
            card = a_card()
            self.stages = [a_stage(card, f"S{n}") for n in range(3)]
        self.kept, self.running = {}, False

    def act(self, work):
        """Refusals are part of life; they must change nothing (the invariants look)."""
        before = list(TimeBooking.objects.order_by("pk").values())
        with clock.at(self.now):
            try:
                work()
            except DomainError:
                assert list(TimeBooking.objects.order_by("pk").values()) == before

    @rule(quarters=st.integers(1, 6))
    def time_goes_by(self, quarters):
        self.now += quarters * STEP

    @precondition(lambda self: len(self.kept) > 2)  # a clock that runs leaves no time to book by hand
    @rule(stage=st.integers(0, 2), close=st.booleans())
    def clock_on(self, stage, close):
        self.act(lambda: actions.clock_on(by=self.me, stage_id=self.stages[stage].pk, close_running=close))

    @precondition(lambda self: self.running)
    @rule()
    def clock_off(self):
        self.act(lambda: actions.clock_off(by=self.me))

    @precondition(lambda self: self.running)
    @rule()
    def sweep(self):
        self.act(lambda: actions.close_forgotten(self.now))

    @rule(stage=st.integers(0, 2), back=st.integers(2, 28), quarters=st.sampled_from([1, 2, 3, 4, 6, 0, -1, 70]))
    def book(self, stage, back, quarters):
        start = self.now - back * STEP
        self.act(
            lambda: actions.book(
                by=self.me, person_id=self.me.pk, stage_id=self.stages[stage].pk, started_at=start,
                ended_at=start + quarters * STEP, reason="On paper",
            )
        )  # fmt: skip

    def any_row(self, pick, valid):
        """Mostly one that stands; sometimes one that was corrected already."""
        rows = list(TimeBooking.objects.filter(queries.VALID if valid else Q()).order_by("pk"))
        return rows[pick % len(rows)] if rows else None

    @precondition(lambda self: self.kept)
    @rule(pick=st.integers(0, 10), valid=st.integers(0, 4), earlier=st.integers(-3, 3), longer=st.integers(-3, 3))
    def correct(self, pick, valid, earlier, longer):
        row = self.any_row(pick, valid)
        if row:
            start, end = row.started_at - earlier * STEP, (row.ended_at or self.now) + longer * STEP
            self.act(lambda: actions.correct(row.pk, by=self.me, reason="Wrong", started_at=start, ended_at=end))

    @precondition(lambda self: self.kept)
    @rule(pick=st.integers(0, 10), valid=st.integers(0, 4))
    def take_out(self, pick, valid):
        row = self.any_row(pick, valid)
        if row:
            self.act(lambda: actions.take_out(row.pk, by=self.me, reason="Not mine"))

    @invariant()
    def no_hour_stands_twice(self):
        rows = list(TimeBooking.objects.filter(queries.VALID).order_by("started_at", "pk"))
        for earlier, later in itertools.pairwise(rows):
            assert earlier.ended_at is not None
            assert earlier.ended_at <= later.started_at

    @invariant()
    def nothing_is_lost_or_changed(self):
        now = {row.pk: row for row in TimeBooking.objects.all()}
        for pk, old in self.kept.items():
            assert (now[pk].started_at, now[pk].stage_id) == (old.started_at, old.stage_id)
            assert old.ended_at is None or (now[pk].ended_at, now[pk].break_minutes) == (
                old.ended_at,
                old.break_minutes,
            )
        corrected = {row.corrects_id for row in now.values()} - {None}
        assert corrected == {row.pk for row in now.values() if row.superseded_at}
        self.kept, self.running = now, any(row.ended_at is None for row in now.values())


@pytest.mark.django_db
def test_any_order():
    run_state_machine_as_test(
        Hours,
        settings=settings(
            max_examples=max(1, STEPS // LENGTH),
            stateful_step_count=LENGTH,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            print_blob=True,
        ),
    )
