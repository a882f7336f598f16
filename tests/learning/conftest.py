import pytest

from tests.factories.timebook import Stopped, working_hours


@pytest.fixture
def now(monkeypatch, db) -> Stopped:
    """The clock stopped on Thursday 26 November 2026, with the shop's working hours set."""
    working_hours()
    return Stopped(monkeypatch)
