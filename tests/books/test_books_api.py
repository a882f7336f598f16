"""The books over the API: the journal by page, closing, reopening, what is refused then, accounts, work in progress."""

from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, transaction

from jobs.books.accounts import ALL
from jobs.books.models import AccountChoice, ClosingTotal, Gate, MonthClosing, Reopening
from jobs.invoices.models import Payment
from jobs.timebook import actions as timebook
from shop.kernel import clock
from shop.kernel.errors import BadInput
from tests.factories import books as make
from tests.factories import invoices as bills
from tests.factories import stock as shelf

pytestmark = pytest.mark.django_db
SEPTEMBER, OCTOBER = date(2026, 9, 1), date(2026, 10, 1)


@pytest.fixture(autouse=True)
def now():
    """Tuesday 10 November 2026; October is over."""
    with clock.at(make.NOVEMBER):
        yield


def test_the_journal_comes_by_pages_and_each_document_sums_to_zero(api, office, owner):
    make.month(owner)
    client = api(office)
    found, cursor = [], None
    while True:
        query = {"since": "2026-10-01", "limit": 5} | ({"cursor": cursor} if cursor else {})
        page = client.get("journal/", **query).json()
        assert (page["since"], page["until"]) == ("2026-10-01", "2026-10-31")
        found += page["items"]
        cursor = page["next"]
        if cursor is None:
            break
    assert len(found) > 20
    assert len({(x["document"], x["subject"], x["what"]) for x in found}) == len(found)
    for item in found:
        assert sum(D(x["debit"]) - D(x["credit"]) for x in item["lines"]) == 0, item
    sale = next(x for x in found if x["subject"] == "invoice")
    assert sale["document"].startswith("INV-")
    assert {x["tax"] for x in sale["lines"] if x["purpose"] == "vat"} == {"S 23"}
    assert client.get("journal/").json()["items"] == []  # November


@pytest.mark.parametrize(
    "query",
    [
        {"since": "2026-10-01", "until": "2026-09-30"}, {"since": "2024-01-01", "until": "2026-01-01"},
        {"since": "October"}, {"limit": 0}, {"limit": 201}, {"cursor": "nonsense"}, {"cursor": "WzFd"}, {"month": "2026-10"},
        {"cursor": "WyI5OTk5LTEyLTMxVDIzOjU5OjU5KzAwOjAwIiwwLDFd"},
    ],
)  # fmt: skip
def test_what_no_journal_can_be_of(api, owner, query):
    assert api(owner).get("journal/", **query).status_code in ((200, 400) if "cursor" in query else (400,))
    if "limit" not in query and "cursor" not in query:
        assert api(owner).get("journal-totals/", **query).status_code == 400


def test_totals_balance_to_the_cent(api, owner):
    make.month(owner)
    found = api(owner).get("journal-totals/", since="2026-10-01", until="2026-10-31").json()
    assert found["entries"] > 20
    assert sum(D(x["debit"]) for x in found["totals"]) == sum(D(x["credit"]) for x in found["totals"]) > 0
    assert all(D(x[side]) == D(x[side]).quantize(D("0.01")) for x in found["totals"] for side in ("debit", "credit"))


def test_a_month_is_closed_and_nothing_is_dated_back_into_it(api, owner, mechanic):
    invoice = make.month(owner)
    client = api(owner)
    closed = client.post("month-closings/", {"month": "2026-10-14"})
    assert closed.status_code == 201, closed.content
    row = closed.json()
    assert (row["month"], row["reopened_at"]) == ("2026-10-01", None)
    assert sum(D(x["debit"]) - D(x["credit"]) for x in row["totals"]) == 0
    assert len(row["totals"]) > 10
    assert client.get("month-closings/").json()["items"][0]["id"] == row["id"]
    pay = {"customer_id": invoice.customer_id, "amount": "10", "method": "cash", "received_on": "2026-10-31"}
    refused = client.post("payments/", pay)
    assert (refused.status_code, refused.json()["type"]) == (400, "/api/problems/month-closed")
    assert "the first open day is 1 November 2026" in refused.json()["detail"]
    assert refused.json()["errors"][0]["pointer"] == "/received_on"
    back = client.post(
        "refunds/", {"customer_id": invoice.customer_id, "amount": "1", "method": "cash", "paid_on": "2026-09-30"}
    )
    assert back.json()["errors"][0]["pointer"] == "/paid_on"
    assert client.post("payments/", pay | {"received_on": "2026-11-01"}).status_code == 201
    bin_, part_id = shelf.bin_(owner), invoice.lines.exclude(part=None).first().part_id
    lot = {"part_id": part_id, "bin_id": bin_.pk, "quantity": "1", "unit_cost": "40"}
    came = client.post("lots/", lot | {"received_at": "2026-10-31T23:00:00Z"})
    assert came.json()["errors"][0]["pointer"] == "/received_at"
    assert client.post("lots/", lot | {"received_at": "2026-11-01T09:00:00Z"}).status_code == 201


def test_hours_of_a_closed_month_stay_as_they_are(owner, api):
    make.month(owner)
    api(owner).post("month-closings/", {"month": "2026-10-01"})
    old = owner.bookings.order_by("started_at").last()
    start = old.started_at - timedelta(days=3)
    calls = (
        lambda: timebook.book(
            by=owner, person_id=owner.pk, stage_id=old.stage_id, started_at=start, ended_at=start + timedelta(hours=1),
            reason="Forgot",
        ),
        lambda: timebook.correct(old.pk, by=owner, reason="Wrong", ended_at=old.ended_at - timedelta(minutes=5)),
        lambda: timebook.correct(
            old.pk, by=owner, reason="Later", started_at=make.NOVEMBER - timedelta(hours=2), ended_at=make.NOVEMBER
        ),
        lambda: timebook.take_out(old.pk, by=owner, reason="Never was"),
    )  # fmt: skip
    for call in calls:
        with pytest.raises(BadInput) as error:
            call()
        assert (error.value.code, list(error.value.fields)) == ("month-closed", ["started_at"])


def test_months_are_closed_in_their_order_and_opened_the_other_way(api, owner):
    client = api(owner)
    for month, code in (("2026-11-01", "month-runs"), ("2027-03-01", "month-runs")):
        assert client.post("month-closings/", {"month": month}).json()["type"] == f"/api/problems/{code}"
    august = client.post("month-closings/", {"month": "2026-08-31"}).json()["id"]
    for month, code in (("2026-10-01", "earlier-open"), ("2026-08-01", "month-closed"), ("2026-01-01", "month-closed")):
        assert client.post("month-closings/", {"month": month}).json()["type"] == f"/api/problems/{code}"
    september = client.post("month-closings/", {"month": "2026-09-01"}).json()["id"]
    assert (
        client.post(f"month-closings/{august}/reopen/", {"reason": "Late"}).json()["type"]
        == "/api/problems/not-the-last"
    )
    assert client.post(f"month-closings/{september}/reopen/", {"reason": " "}).status_code == 400
    opened = client.post(f"month-closings/{september}/reopen/", {"reason": "A bank statement came late"})
    assert (opened.status_code, opened.json()["reopened_why"]) == (200, "A bank statement came late")
    assert Gate.objects.get().open_from == SEPTEMBER
    again = client.post("month-closings/", {"month": "2026-09-01"})
    assert again.status_code == 201
    assert client.get("month-closings/").json()["items"][1]["reopened_why"] == "A bank statement came late"
    for pk in (again.json()["id"], august):
        assert client.post(f"month-closings/{pk}/reopen/", {"reason": "All"}).status_code == 200
    assert Gate.objects.get().open_from is None


def test_a_month_is_over_an_hour_after_its_end_on_the_shops_clock(api, owner):
    for hour, status in ((0, 409), (1, 201)):
        with clock.at(make.NOVEMBER.replace(day=1, hour=hour, minute=30)):
            assert api(owner).post("month-closings/", {"month": "2026-10-01"}).status_code == status


def test_a_clock_that_runs_since_then_keeps_the_month_open(api, owner, mechanic):
    with clock.at(make.NOVEMBER.replace(month=10, day=30)):
        _card, stage = make.job(owner)
        timebook.clock_on(by=mechanic, stage_id=stage.pk)
    answer = api(owner).post("month-closings/", {"month": "2026-10-01"})
    assert answer.json()["type"] == "/api/problems/clock-running"
    assert "Jory Vane" in answer.json()["detail"]


def test_a_payment_of_a_reopened_month_is_taken(api, owner):
    with clock.at(make.OCTOBER):
        invoice = bills.sale(owner)
    client = api(owner)
    closing = client.post("month-closings/", {"month": "2026-10-01"}).json()["id"]
    pay = {"customer_id": invoice.customer_id, "amount": "10", "method": "cash", "received_on": "2026-10-31"}
    assert client.post("payments/", pay).status_code == 400
    client.post(f"month-closings/{closing}/reopen/", {"reason": "Cash book"})
    assert client.post("payments/", pay).status_code == 201
    assert Payment.objects.get().received_on == date(2026, 10, 31)


def test_what_is_closed_stays_in_the_database(owner, api):
    make.month(owner)
    client = api(owner)
    closing = client.post("month-closings/", {"month": "2026-10-01"}).json()["id"]
    client.post(f"month-closings/{closing}/reopen/", {"reason": "Cash book"})
    client.post("account-choices/", {"purpose": "bank", "number": "1201", "name": "Harbour Bank"})
    for model in (MonthClosing, ClosingTotal, Reopening, AccountChoice):
        row = model.objects.first()
        for deed in (row.delete, lambda model=model: model.objects.update(**{model._meta.fields[1].attname: None})):
            with pytest.raises(DatabaseError), transaction.atomic():
                deed()


def test_accounts_are_examples_until_one_is_chosen(api, owner, office):
    with clock.at(make.OCTOBER):
        bills.sale(owner)
    client = api(owner)
    listed = {(x["purpose"], x["tax"]): x for x in client.get("accounts/").json()["accounts"]}
    assert listed["sales", ""]["example"]
    assert [purpose for purpose, _ in listed] == [p.key for p in ALL]
    body = {"purpose": "sales", "number": "8000", "name": "Repairs"}
    assert api(office).post("account-choices/", body).status_code == 403
    assert client.post("account-choices/", body).status_code == 201
    assert client.post("account-choices/", body | {"tax": "S 23", "number": "8023"}).status_code == 201
    assert client.post("account-choices/", body | {"tax": "S 23", "number": "8123"}).status_code == 201
    listed = {(x["purpose"], x["tax"]): x for x in client.get("accounts/").json()["accounts"]}
    assert (listed["sales", ""]["number"], listed["sales", "S 23"]["number"]) == ("8000", "8123")
    assert not listed["sales", ""]["example"]
    lines = client.get("journal/", since="2026-10-01").json()["items"][0]["lines"]
    assert next(x for x in lines if x["purpose"] == "sales")["account"] == "8123"
    for change, pointer in (
        ({"purpose": "wages"}, "/purpose"), ({"number": ""}, "/number"), ({"name": " "}, "/name"), ({"tax": "23%"}, "/tax"),
        ({"purpose": "bank", "tax": "S 23"}, "/tax"),
    ):  # fmt: skip
        answer = client.post("account-choices/", body | change)
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, pointer)


def test_work_in_progress_over_the_api(api, office, owner, stores):
    make.month(owner)
    found = api(office).get("work-in-progress/", day="2026-10-12").json()
    assert (found["parts"], found["labour"], found["cost"]) == ("80.00", "126.00", "206.00")
    assert found["lines"][0]["hours"] == "5.25"
    assert api(office).get("work-in-progress/").json()["parts"] == "80.20"
    assert api(office).get("work-in-progress/", day="2199-01-01").json()["day"] == "2026-11-10"
    assert api(office).get("work-in-progress/", day="2999-01-01").status_code == 400, "nobody means such a day"
    assert api(office).get("work-in-progress/", day="soon").status_code == 400
    for path in ("work-in-progress/", "journal/", "journal-totals/", "accounts/", "month-closings/"):
        assert api(stores).get(path).status_code == 403
