"""When a letter is due, interest, ages, days of storage: plain arithmetic."""

from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.accounts import dunning
from jobs.accounts.dunning import Entry, Span, Stay

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

    def one(percent: str, days: int, currency: str = "EUR") -> D:
        return dunning.interest([Span(D(1000), D(percent), days)], currency)

    assert one("9.12", 30) == D("7.50")
    assert one("8", 365) == D("80.00")
    assert one("8", 0) == 0
    assert one("8", 45, "JPY") == D(10)
    assert dunning.interest([], "EUR") == 0


YEARS_END, JULY = date(2025, 12, 31), date(2026, 7, 2)
EIGHT = [(None, D(8))]


@pytest.mark.parametrize(
    ("settled", "rates", "parts", "asked"),
    [
        # 10000 x 8 % x 183 / 365 = 401.096
        ([], EIGHT, [Span(D(10000), D(8), 183)], "401.10"),
        # 10000 x 8 % x 181 / 365 + 100 x 8 % x 2 / 365 = 396.7123 + 0.0438; also 392.75 + 4.01
        ([(date(2026, 6, 30), D(9900))], EIGHT, [Span(D(10000), D(8), 181), Span(D(100), D(8), 2)], "396.76"),
        # 396.7123 + 10000 x 10 % x 2 / 365 = 5.4795
        ([], [*EIGHT, (date(2026, 7, 1), D(10))], [Span(D(10000), D(8), 181), Span(D(10000), D(10), 2)], "402.19"),
        # paid before it was due; on the last day; and what bounced is owed again from the day after
        ([(date(2025, 12, 1), D(9900))], EIGHT, [Span(D(100), D(8), 183)], "4.01"),
        ([(JULY, D(9900))], EIGHT, [Span(D(10000), D(8), 183)], "401.10"),
        (
            [(date(2026, 1, 10), D(10000)), (date(2026, 1, 30), D(-10000))], EIGHT,
            [Span(D(10000), D(8), 10), Span(D(0), D(8), 20), Span(D(10000), D(8), 153)], "357.26",
        ),
        # a later word replaces an earlier one that reaches further
        ([], [*EIGHT, (date(2026, 7, 2), D(12)), (date(2026, 7, 1), D(10))],
         [Span(D(10000), D(8), 181), Span(D(10000), D(10), 2)], "402.19"),
        ([], [(date(2026, 7, 1), D(10))], [Span(D(10000), D(0), 181), Span(D(10000), D(10), 2)], "5.48"),
    ],
)  # fmt: skip
def test_interest_is_asked_for_what_was_open_on_each_day_at_the_percentage_of_the_day(settled, rates, parts, asked):
    assert dunning.spans(YEARS_END, JULY, D(10000), settled, rates) == parts
    assert dunning.interest(parts, "EUR") == D(asked)


def test_no_day_no_interest():
    assert dunning.spans(JULY, JULY, D(10000), [], EIGHT) == []
    assert dunning.spans(JULY, YEARS_END, D(10000), [], EIGHT) == []


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


def test_days_of_storage_that_were_credited_come_again():
    done, until = date(2026, 5, 1), date(2026, 5, 31)
    gap = [date(2026, 5, 16), date(2026, 5, 17)]
    assert dunning.stay(done, 14, date(2026, 5, 20), until, gap) == Stay(gap[0], gap[1])
    assert dunning.stay(done, 14, date(2026, 5, 17), until, gap) == Stay(gap[0], until)
    assert dunning.stay(done, 14, None, until, gap) == Stay(gap[0], until)
    assert dunning.stay(done, 14, until, until, gap) == Stay(gap[0], gap[1])
    assert dunning.stay(done, 15, None, until, gap) == Stay(gap[1], until)
    assert dunning.stay(done, 16, until, until, gap) is None


@given(
    st.lists(st.tuples(st.dates(), st.decimals(-1000, 1000, places=2)), max_size=20), st.decimals(-1000, 1000, places=2)
)
def test_the_last_balance_is_the_sum(rows, opening):
    found = dunning.running(opening, [Entry(on, (0, n), "invoice", "", a) for n, (on, a) in enumerate(rows)])
    assert (found[-1][1] if found else opening) == opening + sum((a for _, a in rows), D(0))
    assert [e.on for e, _ in found] == sorted(on for on, _ in rows)
