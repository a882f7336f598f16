"""The pages of the books and their files."""

import csv
import io
from datetime import date
from decimal import Decimal as D

import pytest
from django.test import Client
from django.urls import reverse

from jobs.books import pages
from jobs.books.models import AccountChoice, MonthClosing
from shop.kernel import clock
from shop.ui.pages import new_once
from tests.factories import books as make
from tests.factories import invoices as bills

pytestmark = pytest.mark.django_db
OCTOBER = {"since": "2026-10-01", "until": "2026-10-31"}


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def table(answer) -> list[list[str]]:
    assert answer.content.startswith("\ufeff".encode())
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_the_journal_of_a_month_by_pages(owner, office):
    invoice = make.month(owner)
    client = signed_in(office)
    first = client.get("/books/", OCTOBER)
    text = first.content.decode()
    assert first.status_code == 200
    assert invoice.number in text
    assert "130 Trade receivables" in text
    assert reverse("invoices:invoice", args=[invoice.pk]) in text
    assert "Further" not in text
    empty = client.get("/books/")
    assert "Nothing was posted in these days." in empty.content.decode()
    for query in (OCTOBER | {"cursor": "nonsense"}, {"since": "2026-10-05"}, {"until": "2026-10-05"}):
        assert client.get("/books/", query).status_code == 200
    for query in (
        {"since": "x"},
        {"since": "2026-10-02", "until": "2026-10-01"},
        {"since": "2020-01-01", "until": "2026-01-01"},
    ):
        answer = client.get("/books/", query)
        assert answer.status_code == 422
        assert "error" in answer.content.decode()


def test_more_than_a_page_goes_further(owner, monkeypatch):
    monkeypatch.setattr(pages, "SHOWN", 5)
    make.month(owner)
    client = signed_in(owner)
    seen, address = 0, "/books/?since=2026-10-01&until=2026-10-31"
    while address:
        answer = client.get(address)
        assert len(answer.context["rows"]) == 5 or not answer.context["older"]
        seen += len(answer.context["rows"])
        address = "/books/" + answer.context["older"] if answer.context["older"] else ""
    assert seen > 20


def test_the_journal_as_a_file(owner):
    make.month(owner)
    head, *rows = table(signed_in(owner).get("/books/journal.csv", OCTOBER))
    assert head[:4] == ["Date", "Document", "What", "Account"]
    assert {len(r) for r in rows} == {9}
    assert all(date.fromisoformat(r[0]).month == 10 for r in rows)
    debit, credit = (sum(D(r[n] or 0) for r in rows) for n in (6, 7))
    assert debit == credit > 0
    assert all(bool(r[6]) != bool(r[7]) for r in rows)


def test_totals_as_a_page_and_a_file(owner):
    make.month(owner)
    client = signed_in(owner)
    page = client.get("/books/totals/", OCTOBER).content.decode()
    assert "150 Stock" in page
    assert "Rounded to the cent" in page
    _head, *rows = table(client.get("/books/totals.csv", OCTOBER))
    assert sum(D(r[5]) for r in rows) == 0
    assert all(D(r[n]) == D(r[n]).quantize(D("0.01")) for r in rows for n in (3, 4, 5))


def test_a_month_is_closed_and_opened_again_on_its_pages(owner, office):
    make.month(owner)
    client = signed_in(owner)
    assert "Close October 2026" in client.get("/books/close/").content.decode()
    answer = client.post("/books/close/", {"once": new_once(), "month": "2026-10-01"})
    assert (answer.status_code, answer["Location"]) == (303, "/books/months/")
    assert "Everything before" in client.get("/books/months/").content.decode()
    stale = client.post("/books/close/", {"once": new_once(), "month": "2026-10-01"})
    assert stale.status_code == 422
    assert "October 2026 is closed already." in stale.content.decode()
    for month in ("", "x"):
        assert client.post("/books/close/", {"once": new_once(), "month": month}).status_code == 422
    closing = MonthClosing.objects.get()
    empty = client.post("/books/reopen/", {"once": new_once(), "closing": closing.pk, "reason": ""})
    assert empty.status_code == 422
    client.post("/books/reopen/", {"once": new_once(), "closing": closing.pk, "reason": "Cash book"})
    assert "Maren Holt: Cash book" in client.get("/books/months/").content.decode()
    other = signed_in(office)
    assert "Close a month" not in other.get("/books/months/").content.decode()
    assert other.get("/books/close/").status_code == 403


def test_a_refused_payment_says_why_on_its_form(owner):
    with clock.at(make.OCTOBER):
        invoice = bills.sale(owner)
    client = signed_in(owner)
    client.post("/books/close/", {"once": new_once(), "month": "2026-10-01"})
    form = {"once": new_once(), "amount": "10", "method": "cash", "received_on": "2026-10-31"}
    answer = client.post(f"/customers/{invoice.customer_id}/pay/", form)
    assert answer.status_code == 422
    assert "October 2026 is closed for the books" in answer.content.decode()


def test_an_account_is_chosen(owner, office):
    client = signed_in(owner)
    assert "Example" in client.get("/books/accounts/").content.decode()
    form = client.get("/books/accounts/choose/?purpose=bank").content.decode()
    assert 'value="110"' in form
    sent = {"once": new_once(), "purpose": "bank", "number": "1101", "name": "Harbour Bank", "tax": ""}
    assert client.post("/books/accounts/choose/", sent).status_code == 303
    assert "1101 Harbour Bank" in client.get("/books/accounts/").content.decode()
    for change in ({"number": ""}, {"tax": "S 23"}, {"purpose": "x"}):
        assert client.post("/books/accounts/choose/", sent | {"once": new_once()} | change).status_code == 422
    assert AccountChoice.objects.count() == 1
    assert "choose" not in signed_in(office).get("/books/accounts/").content.decode()


def test_work_in_progress_as_a_page_and_a_file(owner):
    make.month(owner)
    client = signed_in(owner)
    page = client.get("/books/work-in-progress/", {"day": "2026-10-12"}).content.decode()
    assert "€206.00" in page
    assert "€126.00" in page
    assert client.get("/books/work-in-progress/", {"day": "x"}).status_code == 422
    assert client.get("/books/work-in-progress/", {"from": "999"}).status_code == 200
    _head, row = table(client.get("/books/work-in-progress.csv", {"day": "2026-10-12"}))
    assert row[3:] == ["80.00", "0.00", "5.25", "126.00", "206.00", "EUR", "2026-10-12"]


@pytest.mark.parametrize(
    "path", ["/books/journal", "/books/totals", "/books/earned", "/reports/hours", "/reports/estimates"]
)
def test_a_file_over_days_the_wrong_way_round_is_refused_on_its_page(owner, path):
    answer = signed_in(owner).get(f"{path}.csv", {"since": "2026-10-31", "until": "2026-10-01"}, follow=True)
    assert answer.redirect_chain
    assert (answer.status_code, answer["Content-Type"].split(";")[0]) == (422, "text/html")
    assert "2026-10-31" in answer.content.decode(), "what was asked for stays"


def test_the_bench_has_no_books(mechanic, stores):
    for person in (mechanic, stores):
        client = signed_in(person)
        for path in ("", "journal.csv", "totals/", "months/", "accounts/", "work-in-progress/"):
            assert client.get(f"/books/{path}").status_code == 403
        assert "/books/" not in client.get("/").content.decode()
