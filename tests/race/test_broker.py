"""QUALITY: the outbox row is the truth, the queue only a wake-up. Broker gone, workers killed: everything is delivered,
and who posts notices nothing."""

from __future__ import annotations

import os
import re
import signal
import time
from collections import Counter

import pytest
from celery import Celery

from tests.factories.processes import Shop
from tests.factories.servers import wait_until

DOWN = float(os.environ.get("TALLYBENCH_BROKER_DOWN", "6"))  # seconds; 60 for the figure in QUALITY
MAIL = '{"to": ["mara@quill.example"], "subject": "Ready", "text": "Your engine is ready."}'
OPEN = "SELECT count(*) FROM shop_trail_outboxrow WHERE done_at IS NULL"


def given_up(shop: Shop, count: int) -> list[int]:
    """Mails that were given up; sending one again is a posting that wakes the workers."""
    now = "now()" if shop.url else "strftime('%Y-%m-%d %H:%M:%f', 'now')"
    rows = ", ".join([f"('mail.send', '{MAIL}', {now}, {now}, {now}, 16, '', 'the line was dead')"] * count)
    shop.sql(
        "INSERT INTO shop_trail_outboxrow (topic, payload, created_at, due_at, failed_at, attempts, claim, last_error)"
        f" VALUES {rows}"
    )
    return [pk for (pk,) in shop.sql(f"SELECT id FROM shop_trail_outboxrow ORDER BY id DESC LIMIT {count}")]


def send_again(shop: Shop, rows: list[int]) -> list[float]:
    """Seconds each posting took."""
    client, took = shop.client("maren"), []
    for pk in rows:
        began = time.monotonic()
        answer = client.post(f"outbox/{pk}/send-again/")
        took.append(time.monotonic() - began)
        assert answer.status_code == 200, answer.text
    return took


def delivered(shop: Shop) -> Counter:
    """How often each mail went out, by its Message-ID."""
    return Counter(found for mail in shop.mails() for found in re.findall(r"^Message-ID: (.*)$", mail, re.M))


@pytest.fixture
def scaled(template, broker):
    """Web, worker and beat on PostgreSQL and Redis."""
    with Shop.copy_of(template, redis=broker, TALLYBENCH_STUCK_SECONDS="5") as shop:
        shop.serve(workers=2)
        shop.worker()
        shop.beat()
        yield shop


@pytest.mark.postgres
@pytest.mark.redis
def test_a_commit_wakes_the_worker_at_once(template, broker):
    with Shop.copy_of(template, redis=broker) as shop:
        shop.serve(workers=2)
        shop.worker()  # no beat: only the wake-up can bring it
        send_again(shop, given_up(shop, 3))
        shop.until_sql(OPEN, 0, seconds=30)
        assert set(delivered(shop).values()) == {1}
        assert len(delivered(shop)) == 3


@pytest.mark.postgres
@pytest.mark.redis
def test_while_the_broker_is_down_postings_go_on_and_are_delivered_later(scaled, broker):
    rows = given_up(scaled, 60)
    send_again(scaled, rows[:10])
    scaled.until_sql(f"{OPEN} AND failed_at IS NULL", 0)
    ends, left, took = time.monotonic() + DOWN, rows[10:50], []
    broker.process.send_signal(signal.SIGSTOP)  # worst: it takes connections and says nothing
    while left and time.monotonic() < ends - DOWN / 2:
        took += send_again(scaled, [left.pop()])
    broker.process.send_signal(signal.SIGCONT)
    broker.stop()
    while time.monotonic() < ends:
        took += send_again(scaled, [left.pop()]) if left else []
        time.sleep(0.05)
    assert len(took) >= 10
    # a posting that waited for the broker would take its time-out, 5 s
    assert max(took) < 2.5, took
    assert scaled.sql(f"{OPEN} AND failed_at IS NULL")[0][0] >= 1, "nothing can have been delivered meanwhile"
    broker.start()
    send_again(scaled, [*left, *rows[50:]])
    scaled.until_sql(OPEN, 0, seconds=120)
    assert len(delivered(scaled)) == 60
    assert set(delivered(scaled).values()) == {1}


@pytest.mark.postgres
@pytest.mark.redis
def test_killed_workers_lose_nothing(scaled):
    rows = given_up(scaled, 200)
    send_again(scaled, rows[:100])
    for _ in range(3):
        scaled.kill("worker")
        scaled.worker()
        wait_until(lambda: True, 1, "")
    send_again(scaled, rows[100:])
    scaled.kill("worker")
    scaled.worker()
    scaled.until_sql(OPEN, 0, seconds=120)
    seen = delivered(scaled)
    assert len(seen) == 200, "each mail went out"
    # at least once: only what a worker had in hand when it was killed may have gone twice, recognisably
    assert sum(seen.values()) - 200 <= 4 * 2 * 10


@pytest.mark.postgres
@pytest.mark.redis
def test_a_worker_that_takes_nothing_any_more_begins_anew(template, broker):
    with Shop.copy_of(template, redis=broker, TALLYBENCH_DEAF_SECONDS="6") as shop:
        shop.serve(workers=2)
        shop.worker()  # no beat: nothing but the posting's own wake-up waits
        queue = Celery(broker=broker.url)
        (answer,) = queue.control.cancel_consumer("celery", reply=True, timeout=20, limit=1)
        assert "no longer consuming" in str(answer)
        send_again(shop, given_up(shop, 3))
        shop.until_sql(OPEN, 0, seconds=60)
        assert "begins anew" in shop.log("worker")
        assert list(delivered(shop).values()) == [1, 1, 1]


def test_a_killed_embedded_server_delivers_after_its_restart(template):
    with Shop.copy_of(template, TALLYBENCH_STUCK_SECONDS="5") as shop:
        shop.serve(workers=2 if shop.url else None)
        rows = given_up(shop, 120)
        send_again(shop, rows)
        shop.kill("serve")
        shop.serve(workers=2 if shop.url else None)
        shop.until_sql(OPEN, 0, seconds=90)
        seen = delivered(shop)
        assert len(seen) == 120
        assert sum(seen.values()) - 120 <= 20
