"""Two people on one card, one person with two clocks. Each rule with a control that fails when its lock is out."""

from __future__ import annotations

import time

import pytest

from jobs.cards import actions as cards
from jobs.cards.actions import locking as card_locking
from jobs.cards.actions import work
from jobs.cards.models import Gate, JobCard, Stage
from jobs.timebook import actions
from jobs.timebook import hours as pure
from jobs.timebook.actions import attending, bookings
from jobs.timebook.models import Attendance, TimeBooking
from shop.kernel import clock
from shop.people.models import Person
from shop.trail.models import TrailRow
from tests.factories.cards import a_card, a_stage
from tests.factories.timebook import THURSDAY
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)
MANY = 12


@pytest.fixture
def stage(office):
    return a_stage(a_card(office))


def slowly(monkeypatch, module, name, seconds=0.05):
    """Widen the gap between a check and its write."""
    check = getattr(module, name)

    def checked(*args, **kwargs):
        result = check(*args, **kwargs)
        time.sleep(seconds)
        return result

    monkeypatch.setattr(module, name, checked)


def without_the_card_lock(monkeypatch):
    def unlocked(card_id, expect=None):
        return JobCard.objects.get(pk=card_id)

    monkeypatch.setattr(card_locking, "lock_card", unlocked)


def without_the_person_lock(monkeypatch):
    def unlocked(person_ids):
        return {p.pk: p for p in Person.objects.filter(pk__in=set(person_ids))}

    for module in (attending, bookings, actions.clocks, actions.work):
        monkeypatch.setattr(module, "lock_people", unlocked)


# --- a stage is started once ------------------------------------------------------------------------


def starting(stage, by):
    return lambda: cards.start_stage(stage.pk, by=by)


def test_a_stage_is_started_once(stage, mechanic, mechanic2, monkeypatch):
    slowly(monkeypatch, work, "_must_not_be_held")
    results = race([starting(stage, mechanic), starting(stage, mechanic2)] * (MANY // 2))
    assert outcomes(results) == {"done": 1, "refused": MANY - 1}
    assert TrailRow.objects.filter(verb="stage.started").count() == 1
    assert Stage.objects.get().version == 2


@pytest.mark.postgres
def test_control_without_the_lock_it_is_started_by_both(stage, mechanic, mechanic2, monkeypatch):
    slowly(monkeypatch, work, "_must_not_be_held", 0.3)
    without_the_card_lock(monkeypatch)
    results = race([starting(stage, mechanic), starting(stage, mechanic2)] * (MANY // 2))
    assert outcomes(results)["done"] > 1
    assert TrailRow.objects.filter(verb="stage.started").count() > 1


# --- a gate is signed once --------------------------------------------------------------------------


@pytest.fixture
def gate(stage, office):
    return cards.add_gate(stage.pk, by=office, text="Ports covered", when="start")


def signing(gate, by):
    return lambda: cards.sign_gate(gate.pk, by=by)


def test_a_gate_is_signed_once(gate, mechanic, mechanic2, monkeypatch):
    slowly(monkeypatch, work, "must_be_current")
    results = race([signing(gate, mechanic), signing(gate, mechanic2)] * (MANY // 2))
    assert outcomes(results) == {"done": 1, "refused": MANY - 1}
    row = TrailRow.objects.get(verb="gate.signed")
    assert row.by == Gate.objects.get().signed_by


@pytest.mark.postgres
def test_control_without_the_lock_only_the_database_stops_a_second_signature(gate, mechanic, mechanic2, monkeypatch):
    slowly(monkeypatch, work, "must_be_current", 0.3)
    without_the_card_lock(monkeypatch)
    results = race([signing(gate, mechanic), signing(gate, mechanic2)] * (MANY // 2))
    assert outcomes(results).keys() - {"done", "refused"}


# --- one clock, and no hour twice -------------------------------------------------------------------


def clocking(stage, by):
    return lambda: actions.clock_on(by=by, stage_id=stage.pk)


def test_one_person_has_one_clock(stage, office, mechanic):
    other = a_stage(a_card(office), "Clean")
    results = race([clocking(stage, mechanic), clocking(other, mechanic)] * (MANY // 2))
    assert outcomes(results) == {"done": 1, "refused": MANY - 1}
    assert not any(getattr(r, "code", "") == "saved-meanwhile" for r in results)
    assert TimeBooking.objects.get().ended_at is None


@pytest.mark.postgres
def test_control_without_the_lock_only_the_database_stops_a_second_clock(stage, office, mechanic, monkeypatch):
    other = a_stage(a_card(office), "Clean")
    without_the_person_lock(monkeypatch)
    slowly(monkeypatch, actions.clocks, "refuse_overlap", 0.3)
    results = race([clocking(stage, mechanic), clocking(other, mechanic)] * (MANY // 2))
    assert any(getattr(r, "code", "") == "saved-meanwhile" for r in results)  # refused by the constraint, not by us


def booking(stage, person, n):
    """Overlapping all: each an hour long, five minutes after the last."""
    start = THURSDAY.replace(hour=8, minute=5 * (n % 10))

    def work():
        with clock.at(THURSDAY.replace(hour=18)):
            return actions.book(
                by=person, person_id=person.pk, stage_id=stage.pk, started_at=start,
                ended_at=start.replace(hour=9), reason="On paper",
            )  # fmt: skip

    return work


def shared_hours():
    rows = [pure.Interval(b.started_at, b.ended_at) for b in TimeBooking.objects.order_by("pk")]
    return [a for n, a in enumerate(rows) if pure.overlapping(a, rows[:n])]


def test_no_hour_is_booked_twice(stage, mechanic, monkeypatch):
    slowly(monkeypatch, bookings, "refuse_overlap")
    results = race([booking(stage, mechanic, n) for n in range(MANY)])
    assert outcomes(results) == {"done": 1, "refused": MANY - 1}
    assert shared_hours() == []


@pytest.mark.postgres
def test_control_without_the_lock_hours_are_booked_twice(stage, mechanic, monkeypatch):
    cards.start_stage(stage.pk, by=mechanic)  # else the card's lock would keep them apart
    without_the_person_lock(monkeypatch)
    without_the_card_lock(monkeypatch)
    slowly(monkeypatch, bookings, "refuse_overlap", 0.3)
    results = race([booking(stage, mechanic, n) for n in range(MANY)])
    assert outcomes(results)["done"] > 1
    assert shared_hours() != []


# --- here once, gone once ---------------------------------------------------------------------------


def arriving(by):
    return lambda: actions.arrive(by=by)


def leaving(by):
    return lambda: actions.leave(by=by)


def test_one_person_is_here_once_and_gone_once(stage, mechanic, monkeypatch):
    slowly(monkeypatch, attending, "refuse_twice_here")
    results = race([arriving(mechanic)] * MANY)
    assert outcomes(results) == {"done": 1, "refused": MANY - 1}
    assert {r.code for r in results if isinstance(r, Exception)} == {"here-already"}
    actions.clock_on(by=mechanic, stage_id=stage.pk)
    results = race([leaving(mechanic)] * MANY)
    assert outcomes(results) == {"done": 1, "refused": MANY - 1}
    assert {r.code for r in results if isinstance(r, Exception)} == {"not-here"}
    assert Attendance.objects.get().left_at == TimeBooking.objects.get().ended_at is not None
    assert TrailRow.objects.filter(verb__in=("attendance.left", "time.clocked-off")).count() == 2


@pytest.mark.postgres
def test_control_without_the_lock_only_the_database_stops_being_here_twice(mechanic, monkeypatch):
    without_the_person_lock(monkeypatch)
    slowly(monkeypatch, attending, "refuse_twice_here", 0.3)
    results = race([arriving(mechanic)] * MANY)
    assert any(getattr(r, "code", "") == "saved-meanwhile" for r in results)  # refused by the constraint, not by us


def noting(person, n):
    """Overlapping all."""
    start = THURSDAY.replace(hour=8, minute=5 * (n % 10))

    def work():
        with clock.at(THURSDAY.replace(hour=18)):
            return actions.note_attendance(
                by=person, person_id=person.pk, arrived_at=start, left_at=start.replace(hour=12), reason="On paper"
            )

    return work


def test_nobody_is_noted_as_here_twice(mechanic, monkeypatch):
    slowly(monkeypatch, attending, "refuse_twice_here")
    assert outcomes(race([noting(mechanic, n) for n in range(MANY)])) == {"done": 1, "refused": MANY - 1}


@pytest.mark.postgres
def test_control_without_the_lock_somebody_is_noted_as_here_twice(mechanic, monkeypatch):
    without_the_person_lock(monkeypatch)
    slowly(monkeypatch, attending, "refuse_twice_here", 0.3)
    assert outcomes(race([noting(mechanic, n) for n in range(MANY)]))["done"] > 1


# --- no clock runs where the work has stopped -------------------------------------------------------


def test_no_clock_runs_on_a_cancelled_card(office, mechanic, mechanic2, monkeypatch):
    slowly(monkeypatch, work, "must_be_current")
    for _ in range(5):
        stage = a_stage(a_card(office))
        cancelling = [lambda s=stage: actions.cancel_card(s.card_id, by=office, reason="Sold")]
        results = race([clocking(stage, mechanic), clocking(stage, mechanic2), *cancelling])
        assert outcomes(results).keys() <= {"done", "refused"}
        running = TimeBooking.objects.filter(stage=stage, ended_at__isnull=True)
        assert not (JobCard.objects.get(pk=stage.card_id).cancelled_at and running.exists())
        for row in running:
            actions.take_out(row.pk, by=row.person, reason="Next round")


@pytest.mark.postgres
def test_control_without_the_lock_it_does(office, mechanic, monkeypatch):
    stage = a_stage(a_card(office))
    without_the_card_lock(monkeypatch)
    monkeypatch.setattr("jobs.cards.actions.cards.lock_card", card_locking.lock_card)
    slowly(monkeypatch, work, "must_be_current", 0.8)

    def cancel():
        time.sleep(0.2)  # the clock has looked at the card by now, and isn't written yet
        return actions.cancel_card(stage.card_id, by=office, reason="Sold")

    race([clocking(stage, mechanic), cancel])
    assert JobCard.objects.get(pk=stage.card_id).cancelled_at
    assert TimeBooking.objects.filter(stage=stage, ended_at__isnull=True).exists()


def test_no_clock_runs_on_a_finished_stage(office, mechanic, mechanic2):
    for _ in range(5):
        stage = a_stage(a_card(office))
        cards.start_stage(stage.pk, by=mechanic)
        finishing = [lambda s=stage: actions.finish_stage(s.pk, by=mechanic)]
        results = race([clocking(stage, mechanic2), clocking(stage, mechanic), *finishing])
        assert outcomes(results).keys() <= {"done", "refused"}
        running = TimeBooking.objects.filter(stage=stage, ended_at__isnull=True)
        assert not (Stage.objects.get(pk=stage.pk).finished_at and running.exists())
        for row in running:
            actions.take_out(row.pk, by=row.person, reason="Next round")
