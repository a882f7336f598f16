from datetime import timedelta

import pytest

from shop.kernel import clock, writing
from shop.trail import outbox
from shop.trail.models import OutboxRow
from shop.trail.record import announce


@pytest.fixture
def handler(monkeypatch):
    """handler("topic", work) registers a handler for this test only."""
    monkeypatch.setattr(outbox, "_handlers", dict(outbox._handlers))

    def register(topic, work, **how):
        outbox.handles(topic, **how)(work)

    return register


@pytest.fixture
def queue(db):
    """queue("topic", key=value) commits one event and answers its row."""

    def add(topic, **payload):
        writing.run(lambda: announce(topic, **payload))
        return OutboxRow.objects.latest("id")

    return add


@pytest.fixture
def later(monkeypatch):
    """later(hours=2) moves the clock on."""
    moved = [timedelta(0)]
    real = clock.now
    monkeypatch.setattr(clock, "now", lambda: real() + moved[0])

    def move(**by):
        moved[0] += timedelta(**by)

    return move
