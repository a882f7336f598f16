"""QUALITY: kill -9 of web workers and of database backends under 8 retrying clients loses nothing that was
acknowledged, stores nothing that was not sent, and does nothing twice."""

from __future__ import annotations

import itertools
import os
import random
import signal
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
import requests

from tests.factories.processes import Shop

from .conftest import Posting

CLIENTS, EACH, STRIKES = 8, 20, 5
PATIENCE = 120.0  # seconds one posting may be retried


def post_under(
    shop: Shop, posting: Posting, trouble: Callable[[], None], struck: list[int], every: float
) -> tuple[list[int], Counter]:
    """All clients post and retry, each at least EACH times and until trouble has struck STRIKES times.

    Answers the acknowledged numbers, and how often what else came back.
    """
    over, other = threading.Event(), Counter()

    def make_trouble() -> None:
        while not over.wait(random.uniform(0.5, 1.5) * every):
            trouble()

    def client(c: int) -> list[int]:
        acknowledged = []
        session = shop.client(posting.username)
        for n in itertools.count(c + 1, CLIENTS):
            if len(acknowledged) >= EACH and len(struck) >= STRIKES:
                break
            key, ends = str(uuid.uuid4()), time.monotonic() + PATIENCE
            while True:
                assert time.monotonic() < ends, f"posting {n} never came through: {other}"
                try:
                    answer = session.post(posting.path, posting.body(shop, n), key=key)
                    status = answer.status_code
                    assert status == 201 or status >= 500, answer.text
                except requests.RequestException:
                    status = 0
                if status == 201:
                    acknowledged.append(n)
                    break
                other[status] += 1
                time.sleep(0.1)
        return acknowledged

    striker = threading.Thread(target=make_trouble)
    striker.start()
    try:
        with ThreadPoolExecutor(CLIENTS) as pool:
            return [n for part in pool.map(client, range(CLIENTS)) for n in part], other
    finally:
        over.set()
        striker.join()


def nothing_lost(shop: Shop, posting: Posting, acknowledged: list[int], other: Counter, struck: int) -> None:
    assert struck >= STRIKES
    assert len(acknowledged) >= CLIENTS * EACH
    assert posting.numbers(shop) == sorted(acknowledged), "each acknowledged posting exactly once, and no other"
    assert set(other) <= {0, 502, 503}, f"only a lost connection or a 503 may come of it: {other}"
    assert sum(other.values()) >= 1
    assert shop.sql("SELECT count(*) FROM shop_trail_keptanswer WHERE status IS NULL") == [(0,)]


def test_killed_web_workers_lose_nothing(template, posting):
    with Shop.copy_of(template) as shop:
        shop.serve(workers=3 if shop.url else None)
        killed = []

        def strike() -> None:
            workers = shop.children("serve")
            if workers:
                killed.append(random.choice(workers))
                os.kill(killed[-1], signal.SIGKILL)

        acknowledged, other = post_under(shop, posting, strike, killed, every=0.4 if shop.url else 1.5)
        nothing_lost(shop, posting, acknowledged, other, len(killed))


@pytest.mark.postgres
def test_killed_database_backends_lose_nothing(own_postgres, own_template, posting):
    import psycopg

    with Shop.copy_of(own_template) as shop:
        shop.serve(workers=3)
        killed = []

        def strike() -> None:
            try:
                found = shop.sql(
                    "SELECT pid FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )
                if found:
                    killed.append(random.choice(found)[0])
                    os.kill(killed[-1], signal.SIGKILL)
            except (psycopg.Error, ProcessLookupError):
                pass  # it is still recovering from the last one

        acknowledged, other = post_under(shop, posting, strike, killed, every=1.0)
        nothing_lost(shop, posting, acknowledged, other, len(killed))
