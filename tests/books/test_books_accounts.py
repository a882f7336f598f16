"""A closed month keeps the accounts it was closed with, on every page, file and route; and every total leads to its postings."""

import csv
import io
import re
from datetime import date, timedelta
from decimal import Decimal as D
from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.books import actions, pages
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import invoices as bills

pytestmark = pytest.mark.django_db
OCTOBER = {"since": "2026-10-01", "until": "2026-10-31"}
AUTUMN = {"since": "2026-09-01", "until": "2026-11-30"}
SEPTEMBER = make.OCTOBER - timedelta(days=30)


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


@pytest.fixture
def browser(office):
    client = Client()
    client.force_login(office)
    return client


def table(answer) -> list[list[str]]:
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))[1:]


def sold_at(browser, api, **days: str) -> dict[str, set[str]]:
    """The accounts of sales in some days, by each way there is to look at them."""
    told = {}
    told["totals file"] = {r[0] for r in table(browser.get("/books/totals.csv", days)) if r[1] in ("Sales", "Repairs")}
    told["journal file"] = {
        r[3] for r in table(browser.get("/books/journal.csv", days)) if r[4] in ("Sales", "Repairs")
    }
    for name, path in (("totals", "/books/totals/"), ("journal", "/books/")):
        told[name] = set(re.findall(r"(\d+) (?:Sales|Repairs)\b", browser.get(path, days).content.decode()))
    read = api.get("journal-totals/", **days).json()
    told["totals api"] = {x["account"] for x in read["totals"] if x["purpose"] == "sales"}
    lines = [x for item in api.get("journal/", limit=200, **days).json()["items"] for x in item["lines"]]
    told["journal api"] = {x["account"] for x in lines if x["purpose"] == "sales"}
    return told


def everywhere(browser, api, days: dict[str, str]) -> set[frozenset[str]]:
    """The same, whichever way: one set where all agree."""
    return set(map(frozenset, sold_at(browser, api, **days).values()))


def test_a_closed_month_keeps_the_accounts_it_was_closed_with(owner, office, browser, api):
    for at in (SEPTEMBER, make.OCTOBER, make.NOVEMBER):
        with clock.at(at):
            bills.sale(owner)
    closing = actions.close_month(by=owner, month=date(2026, 10, 1))  # September with it
    actions.choose_account(by=owner, purpose="sales", number="4400", name="Repairs")
    client = api(office)
    september = {"since": "2026-09-01", "until": "2026-09-30"}
    for days in (OCTOBER, september):
        assert everywhere(browser, client, days) == {frozenset({"400"})}, days
    november = {"since": "2026-11-01", "until": "2026-11-30"}
    assert everywhere(browser, client, november) == {frozenset({"4400"})}
    assert everywhere(browser, client, AUTUMN) == {frozenset({"400", "4400"})}
    found = client.get("journal-totals/", **AUTUMN).json()["totals"]
    assert {x["account"]: x["credit"] for x in found if x["purpose"] == "sales"} == {"400": "200.00", "4400": "100.00"}
    kept = client.get(f"month-closings/{closing.pk}/").json()["totals"]
    assert {x["account"] for x in kept if x["purpose"] == "sales"} == {"400"}
    actions.reopen_month(closing.pk, by=owner, reason="Cash book")
    assert everywhere(browser, client, OCTOBER) == {frozenset({"4400"})}


def test_each_closed_month_keeps_its_own(owner, office, browser, api):
    """September at 400, October at 8000 but 13.5 % at 8013, which is chosen anew afterwards."""
    for at, tax in ((SEPTEMBER, "S23"), (make.OCTOBER, "S23"), (make.OCTOBER, "S13")):
        with clock.at(at):
            bills.sale(owner, tax_code=tax)
    with clock.at(make.OCTOBER):
        actions.close_month(by=owner, month=date(2026, 9, 1))
        actions.choose_account(by=owner, purpose="sales", number="8000", name="Repairs")
        actions.choose_account(by=owner, purpose="sales", tax="S 13.5", number="8013", name="Repairs")
    actions.close_month(by=owner, month=date(2026, 10, 1))
    actions.choose_account(by=owner, purpose="sales", number="9000", name="Repairs")
    actions.choose_account(by=owner, purpose="sales", tax="S 13.5", number="9013", name="Repairs")
    found = api(office).get("journal-totals/", **AUTUMN).json()["totals"]
    sales = [(x["account"], x["tax"], x["credit"]) for x in found if x["purpose"] == "sales"]
    assert sorted(sales) == [("400", "S 23", "100.00"), ("8000", "S 23", "100.00"), ("8013", "S 13.5", "100.00")]
    assert sum(D(x["debit"]) - D(x["credit"]) for x in found) == 0


def test_many_closed_months_cost_no_more_queries(owner, browser):
    def look() -> int:
        with CaptureQueriesContext(connection) as told:
            for path in ("/books/", "/books/totals/", "/books/journal.csv", "/books/totals.csv"):
                list(browser.get(path, {"since": "2026-01-01", "until": "2026-10-31"}))
        return len(told)

    make.month(owner)
    with clock.at(make.NOVEMBER):
        actions.close_month(by=owner, month=date(2026, 1, 1))
    few = look()
    for month in range(2, 11):
        actions.choose_account(by=owner, purpose="sales", number=f"40{month}", name="Sales")
        actions.close_month(by=owner, month=date(2026, month, 1))
    assert look() == few


def test_every_total_leads_to_the_postings_it_is_made_of(owner, browser):
    make.month(owner)
    actions.close_month(by=owner, month=date(2026, 10, 1))
    actions.choose_account(by=owner, purpose="stock", number="1500", name="Parts")
    page = browser.get("/books/totals/", OCTOBER)
    assert "<svg" in page.content.decode()
    links = [unescape(x) for x in re.findall(r'href="(/books/\?[^"]*account=[^"]*)"', page.content.decode())]
    totals = table(browser.get("/books/totals.csv", OCTOBER))
    assert len(links) == len(totals) > 10
    cent = D("0.01")
    for link, row in zip(links, totals, strict=True):
        journal = browser.get(link).content.decode()
        lines = table(browser.get(link.replace("/books/", "/books/journal.csv")))
        if row[0] != "490":  # what rounding to the cent leaves open is posted nowhere
            assert lines
            assert f"Only postings to {row[0]} " in journal
            debit, credit = (sum(D(x[n] or 0) for x in lines) for n in (6, 7))
            assert (debit.quantize(cent, "ROUND_HALF_UP"), credit.quantize(cent, "ROUND_HALF_UP")) == (
                D(row[3]),
                D(row[4]),
            )
        assert {(x[3], x[5]) for x in lines} <= {(row[0], row[2])}
    assert "1500" not in {x[0] for x in totals}


def test_the_journal_of_one_account_goes_on_by_pages(owner, office, browser, api, monkeypatch):
    monkeypatch.setattr(pages, "SHOWN", 3)
    make.month(owner)
    whole = [r for r in table(browser.get("/books/journal.csv", OCTOBER)) if r[3] == "150"]
    seen, address = [], "/books/?since=2026-10-01&until=2026-10-31&account=150&purpose=stock"
    while address:
        answer = browser.get(address)
        rows = answer.context["rows"]
        assert len(rows) == 3 or not answer.context["older"]
        seen += [x["entry"].document for x in rows]
        address = "/books/" + answer.context["older"] if answer.context["older"] else ""
    assert seen == [r[1] for r in whole]
    found, cursor = [], {}
    while True:
        read = api(office).get("journal/", account="150", limit=4, **OCTOBER, **cursor).json()
        found += [x["document"] for x in read["items"]]
        assert all(line["account"] == "150" for x in read["items"] for line in x["lines"])
        if read["next"] is None:
            break
        cursor = {"cursor": read["next"]}
    assert found == seen
    assert api(office).get("journal/", purpose="nonsense", **OCTOBER).status_code == 400
    assert browser.get("/books/", OCTOBER | {"purpose": "nonsense"}).status_code == 422


def test_a_payment_in_the_journal_leads_to_the_account_of_its_day(owner, browser):
    invoice = make.month(owner)
    page = browser.get("/books/", OCTOBER | {"purpose": "bank", "account": "110"}).content.decode()
    day = make.OCTOBER.date() + timedelta(days=2)
    link = f"/customers/{invoice.customer_id}/statement/?since={day}&until={day}"
    assert link in unescape(page)
    shown = browser.get(link)
    assert shown.status_code == 200
    assert "Payment" in shown.content.decode()
