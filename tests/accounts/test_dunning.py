"""When a letter is due, interest, ages, days of storage: plain arithmetic."""

from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.accounts import dunning
from jobs.accounts.dunning import Entry, Stay

DUE = date(2026, 3, 31)
DAYS = {1: 7, 2: 14, 3: 14}


@pytest.mark.parametrize(
    ("sent", "today", "level"),
    [
        ([], date(2026, 4, 6), None), ([], date(2026, 4, 7), 1), ([], date(2027, 4, 7), 1),
        ([(1, date(2026, 4, 10))], date(2026, 4, 23), None), ([(1, date(2026, 4, 10))], date(2026, 4, 24), 2),
        ([(1, date(2026, 4, 10)), (2, date(2026, 4, 24))], date(2026, 5, 8), 3),
        ([(1, date(2026, 4, 10)), (2, date(2026, 4, 24)), (3, date(2026, 5, 8))], date(2030, 1, 1), None),
    ],
)  # fmt: skip
def test_which_letter(sent, today, level):
    assert dunning.next_level(DUE, sent, DAYS, today) == level


def test_nothing_is_late_on_its_day():
    assert dunning.next_level(DUE, [], {1: 0, 2: 1, 3: 1}, DUE) is None
    assert dunning.next_level(DUE, [], {1: 0, 2: 1, 3: 1}, DUE + timedelta(days=1)) == 1


def test_interest():
    """1000 at 9.12 % for 30 days: 1000 x 0.0912 x 30 / 365 = 7.4959 (by hand)."""
    assert dunning.interest(D(1000), D("9.12"), 30, "EUR") == D("7.50")
    assert dunning.interest(D(1000), D(8), 365, "EUR") == D("80.00")
    assert dunning.interest(D(1000), D(8), 0, "EUR") == 0
    assert dunning.interest(D(1000), D(8), 45, "JPY") == D(10)


@pytest.mark.parametrize(
    ("late", "place"), [(-5, 0), (0, 0), (1, 1), (30, 1), (31, 2), (60, 2), (61, 3), (90, 3), (91, 4)]
)
def test_ages(late, place):
    assert dunning.band(DUE, DUE + timedelta(days=late)) == place


def test_days_of_storage():
    done = date(2026, 5, 1)
    assert dunning.stay(done, 14, None, date(2026, 5, 15)) is None
    assert dunning.stay(done, 14, None, date(2026, 5, 16)) == Stay(date(2026, 5, 16), date(2026, 5, 16))
    later = dunning.stay(done, 14, None, date(2026, 5, 31))
    assert later is not None
    assert later.days == 16
    assert dunning.stay(done, 14, date(2026, 5, 31), date(2026, 5, 31)) is None
    assert dunning.stay(done, 14, date(2026, 5, 20), date(2026, 5, 31)) == Stay(date(2026, 5, 21), date(2026, 5, 31))


@given(
    st.lists(st.tuples(st.dates(), st.decimals(-1000, 1000, places=2)), max_size=20), st.decimals(-1000, 1000, places=2)
)
def test_the_last_balance_is_the_sum(rows, opening):
    found = dunning.running(opening, [Entry(on, (0, n), "invoice", "", a) for n, (on, a) in enumerate(rows)])
    assert (found[-1][1] if found else opening) == opening + sum((a for _, a in rows), D(0))
    assert [e.on for e, _ in found] == sorted(on for on, _ in rows)
