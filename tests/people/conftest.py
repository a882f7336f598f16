from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from shop.kernel import clock


class Stopped:
    """The clock at one moment, put on by hand."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 11, 25, 9, 10, tzinfo=UTC)

    def on(self, seconds: int) -> None:
        self.moment += timedelta(seconds=seconds)


@pytest.fixture(autouse=True)
def stopped(monkeypatch) -> Stopped:
    """Tries are counted by the hour: no test may run across its end."""
    held = Stopped()
    monkeypatch.setattr(clock, "now", lambda: held.moment)
    return held
