"""Stock and work in progress at the ends of months are what the report of each day says."""

from datetime import date
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.stock import actions as stock
from inventory.stock import worth
from inventory.stock.models import Closing
from jobs.books import progress
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import invoices as bills

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


def test_each_end_of_a_month_is_the_report_of_that_day(owner, api):
    make.month(owner)
    before = worth.month_ends(clock.today(), "EUR")
    stock.close_months()
    assert Closing.objects.exists()
    assert worth.month_ends(clock.today(), "EUR") == before
    days = dict(before)
    assert list(days) == sorted(days)
    assert len(days) == 12
    assert set(days) >= {date(2025, 12, 31), date(2026, 2, 28), date(2026, 10, 31), clock.today()}
    for day, value in before:
        assert value == worth.report(day, "EUR").value
    assert days[date(2026, 10, 31)] > 0 == days[date(2026, 9, 30)]
    costs = dict(progress.month_ends(clock.today(), "EUR"))
    assert list(costs) == list(days)
    for day, cost in costs.items():
        assert cost == progress.report(day, "EUR").cost
    assert costs[date(2026, 10, 31)] > 0 == costs[date(2026, 9, 30)]
    told = api(owner).get("stock-value-months/").json()["ends"]
    assert {x["day"]: D(x["value"]) for x in told} == {d.isoformat(): v for d, v in before}
    told = api(owner).get("work-in-progress-months/").json()["ends"]
    assert {x["day"]: D(x["cost"]) for x in told} == {d.isoformat(): v for d, v in costs.items()}


def test_kinds_of_parts_add_up_to_the_whole(owner):
    make.month(owner)
    found = worth.report(clock.today(), "EUR")
    kinds = found.by_kind()
    assert sum(value for _, value, _ in kinds) == found.value > 0
    assert sum(average for _, _, average in kinds) == found.average_value


def test_the_pages_show_picture_and_links(owner):
    make.month(owner)
    bills.sale(owner)
    client = Client()
    client.force_login(owner)
    for path in ("/stock/value/", "/books/work-in-progress/", "/accounts/"):
        text = client.get(path).content.decode()
        assert "<rect" in text, path
        assert " style=" not in text
    assert 'href="?day=2026-10-31"' in client.get("/stock/value/").content.decode()
    assert 'href="?day=2026-10-31"' in client.get("/books/work-in-progress/").content.decode()


def test_the_ends_cost_as_many_statements_for_more_rows(owner):
    def ask():
        with CaptureQueriesContext(connection) as asked:
            worth.month_ends(clock.today(), "EUR")
            progress.month_ends(clock.today(), "EUR")
        return len(asked)

    make.month(owner)
    stock.close_months()
    few = ask()
    for _ in range(2):
        make.job(owner)
    assert ask() == few
