import pytest

from shop.business.models import Site
from shop.kernel.errors import Refused
from shop.kernel.writing import writes
from shop.trail import outbox
from shop.trail.models import OutboxRow
from shop.trail.record import announce

pytestmark = pytest.mark.django_db


def test_an_event_reaches_its_handler_once_and_is_done(handler, queue):
    got = []
    handler("bell.rung", got.append)
    row = queue("bell.rung", bench=3)
    assert outbox.drain() == 1
    assert outbox.drain() == 0
    assert [(e.id, e.topic, e.payload, e.attempt) for e in got] == [(row.pk, "bell.rung", {"bench": 3}, 1)]
    row.refresh_from_db()
    assert row.done_at
    assert (row.claimed_at, row.claim, row.failed_at) == (None, "", None)


def test_a_refused_write_leaves_no_event(handler, owner):
    @writes
    def work():
        announce("bell.rung")
        raise Refused("no")

    with pytest.raises(Refused):
        work()
    assert not OutboxRow.objects.exists()


def test_an_event_for_later_waits(handler, queue, later, owner):
    from datetime import timedelta

    from shop.kernel import clock

    got = []
    handler("bell.rung", got.append)
    writes(lambda: announce("bell.rung", after=clock.now() + timedelta(hours=1)))()
    assert outbox.drain() == 0
    later(hours=1, seconds=1)
    assert outbox.drain() == 1
    assert len(got) == 1


def test_a_failing_handler_is_tried_again_later_and_keeps_its_id(handler, queue, later):
    seen = []

    def work(event):
        seen.append((event.id, event.attempt))
        if len(seen) < 3:
            raise OSError("the line is dead")

    handler("bell.rung", work)
    row = queue("bell.rung")
    outbox.drain()
    row.refresh_from_db()
    assert row.last_error == "OSError: the line is dead"
    assert outbox.drain() == 0, "it must wait before the next attempt"
    later(seconds=15 * 1.25 + 1)
    outbox.drain()
    later(seconds=30 * 1.25 + 1)
    outbox.drain()
    assert seen == [(row.pk, 1), (row.pk, 2), (row.pk, 3)]
    row.refresh_from_db()
    assert row.done_at
    assert row.last_error == ""


def test_it_gives_up_visibly_after_the_last_attempt(handler, queue, later):
    def work(event):
        raise OSError("the line is dead")

    handler("bell.rung", work)
    row = queue("bell.rung")
    for _ in range(outbox.ATTEMPTS + 3):
        outbox.drain()
        later(hours=6)
    row.refresh_from_db()
    assert row.attempts == outbox.ATTEMPTS
    assert row.failed_at
    assert not row.done_at


def test_what_can_not_be_delivered_is_given_up_at_once(handler, queue):
    def work(event):
        raise outbox.Undeliverable("no such berth")

    handler("bell.rung", work)
    row = queue("bell.rung")
    outbox.drain()
    row.refresh_from_db()
    assert (row.attempts, bool(row.failed_at)) == (1, True)
    assert "no such berth" in row.last_error


def test_an_unknown_topic_waits_for_a_newer_version(queue):
    row = queue("from.the.future")
    outbox.drain()
    row.refresh_from_db()
    assert "from.the.future" in row.last_error
    assert row.failed_at is None


def test_one_bad_event_does_not_hold_up_the_others(handler, queue):
    got = []

    def work(event):
        if event.payload["n"] == 1:
            raise OSError("the line is dead")
        got.append(event.payload["n"])

    handler("bell.rung", work)
    for n in range(25):
        queue("bell.rung", n=n)
    outbox.drain()
    assert got == [0, *range(2, 25)]


def test_a_dead_workers_row_is_freed_and_delivered(handler, queue, later):
    got = []

    def die(event):
        raise KeyboardInterrupt  # what a killed process leaves behind: claimed, not noted

    handler("bell.rung", die)
    row = queue("bell.rung")
    with pytest.raises(KeyboardInterrupt):
        outbox.drain()
    outbox._handlers.pop("bell.rung")
    handler("bell.rung", got.append)
    assert outbox.drain() == 0, "not while its worker may still be alive"
    later(seconds=301)
    outbox.drain()
    assert [e.attempt for e in got] == [2]
    row.refresh_from_db()
    assert row.done_at


def test_a_row_that_kills_every_worker_is_given_up(handler, queue, later):
    def die(event):
        raise KeyboardInterrupt

    handler("bell.rung", die)
    row = queue("bell.rung")
    for _ in range(outbox.ATTEMPTS):
        with pytest.raises(KeyboardInterrupt):
            outbox.drain()
        later(seconds=301)
    assert outbox.drain() == 0
    row.refresh_from_db()
    assert row.failed_at
    assert "died" in row.last_error


def test_an_atomic_handler_and_its_done_mark_commit_together(handler, queue):
    def work(event):
        Site.objects.create(name="Quay shed", code="QS")
        if event.payload["fail"]:
            raise Refused("no")

    handler("site.open", work, atomic=True)
    queue("site.open", fail=True)
    outbox.drain()
    assert not Site.objects.exists()
    queue("site.open", fail=False)
    outbox.drain()
    assert Site.objects.count() == 1


def test_an_atomic_handler_whose_row_was_taken_over_leaves_nothing(handler, queue):
    def work(event):
        OutboxRow.objects.filter(pk=event.id).update(claim="somebody else")
        Site.objects.create(name="Quay shed", code="QS")

    handler("site.open", work, atomic=True)
    row = queue("site.open")
    outbox.drain()
    assert not Site.objects.exists()
    row.refresh_from_db()
    assert row.done_at is None


def test_a_topic_has_one_handler(handler):
    handler("bell.rung", lambda event: None)
    with pytest.raises(ValueError, match="already"):
        handler("bell.rung", print)


def test_pauses_double_with_jitter_up_to_four_hours():
    for attempt, plain in ((1, 15), (2, 30), (5, 240), (11, 14_400), (15, 14_400)):
        drawn = [outbox.pause_after(attempt) for _ in range(200)]
        assert min(drawn) >= plain * 0.75
        assert max(drawn) <= plain * 1.25
        assert max(drawn) - min(drawn) > plain * 0.2
