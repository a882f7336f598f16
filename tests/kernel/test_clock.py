from datetime import UTC, datetime

import pytest

from shop.kernel import clock


def test_the_clock_stops_and_goes_on():
    moment = datetime(2024, 3, 31, 0, 59, tzinfo=UTC)
    with clock.at(moment):
        assert clock.now() == moment
        assert clock.today() == moment.date()
    assert clock.now() > moment


def test_summer_time_moves_the_day():
    with clock.at(datetime(2024, 7, 1, 23, 30, tzinfo=UTC)):
        assert clock.today().isoformat() == "2024-07-02"  # Dublin is an hour ahead


def test_a_naive_moment_is_refused():
    with pytest.raises(ValueError, match="aware"), clock.at(datetime(2024, 1, 1)):  # noqa: DTZ001
        pass
