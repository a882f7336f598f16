from datetime import timedelta

import pytest
from django.db import OperationalError

from shop.kernel import clock, writing
from shop.trail import outbox, queries
from shop.trail.record import announce

pytestmark = pytest.mark.django_db


def test_health_needs_no_sign_in_and_tells_how_far_behind_the_outbox_is(client):
    assert client.get("/healthz").json() == {
        "status": "ok",
        "database": "ok",
        "outbox": {"waiting": 0, "oldest_seconds": 0, "failed": 0},
    }
    with clock.at(clock.now() - timedelta(minutes=20)):
        writing.run(lambda: announce("from.the.future"))
    answer = client.get("/healthz")
    assert answer.status_code == 200
    body = answer.json()
    assert body["status"] == "behind"
    assert body["outbox"]["waiting"] == 1
    assert 1200 <= body["outbox"]["oldest_seconds"] < 1260


def test_what_was_given_up_shows(client):
    writing.run(lambda: announce("mail.send", to=[], subject="s", text="t"))
    outbox.drain()
    body = client.get("/healthz").json()
    assert (body["status"], body["outbox"]["failed"]) == ("behind", 1)


def test_it_answers_503_without_a_database_and_gives_nothing_away(client, monkeypatch):
    def down():
        raise OperationalError("connection to server at db.internal failed: password authentication failed for user x")

    monkeypatch.setattr(queries, "lag", down)
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.json() == {"status": "down", "database": "unreachable"}
    assert b"db.internal" not in answer.content


def test_it_is_only_read(client):
    assert client.post("/healthz").status_code == 405
