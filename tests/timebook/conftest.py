import pytest

from tests.factories.timebook import Stopped, working_hours


@pytest.fixture
def now(db, monkeypatch) -> Stopped:
    """The stopped clock, with the shop's working hours in place."""
    working_hours()
    return Stopped(monkeypatch)
