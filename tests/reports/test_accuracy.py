"""How near estimates come: agreed against billed, hours estimated against hours taken."""

import csv
import io
from datetime import UTC, datetime
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.estimates import outlook
from jobs.estimates.models import Estimate
from jobs.invoices import actions as invoices
from jobs.invoices import outcome
from jobs.reports import accuracy
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import invoices as bills

pytestmark = pytest.mark.django_db
OCTOBER = {"since": "2026-10-01", "until": "2026-10-31"}
DAY = datetime(2026, 10, 12, 18, tzinfo=UTC)


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


def report():
    return accuracy.report(DAY.date().replace(day=1), DAY.date().replace(day=31), "EUR")


def job(owner, taken="4"):
    card, fit = make.job(owner)
    bills.work(owner, fit, taken)
    bills.issued(owner, card)
    return card


def test_a_card_stands_as_its_own_page_says_it(owner, office, api):
    with clock.at(DAY):
        invoice = bills.issued(owner)
    found = api(owner).get("estimate-accuracy/", **OCTOBER).json()
    (line,) = found["lines"]
    single = outcome.of_card(invoice.card_id).sum
    assert (D(line["agreed"]), D(line["billed"])) == (single.quoted, single.billed)
    assert (D(line["hours_agreed"]), D(line["hours_taken"])) == (single.quoted_hours, single.done_hours)
    assert line["hours_taken"] == "5.25"
    assert D(line["billed"]) == invoice.total_net
    assert D(line["percent"]) == (single.billed * 100 / single.quoted).quantize(D("0.01"))
    assert found["spread"]["median"] == line["percent"]
    assert len(line["estimate_ids"]) == 1
    assert api(owner).get("estimate-accuracy/", since="2026-11-01").json()["lines"] == []
    assert api(office).get("estimate-accuracy/").status_code == 403
    with clock.at(DAY.replace(day=20)):
        invoices.credit_note(invoice.pk, by=owner, reason="Came back")
    (line,) = api(owner).get("estimate-accuracy/", **OCTOBER).json()["lines"]
    assert (D(line["billed"]), D(line["percent"])) == (0, 0)


def test_calibration_counts_what_stayed_at_or_below_each_figure(owner, monkeypatch):
    said = outlook.Outlook(D(2), D(3), D("0.00"), D("999999.00"), 3, 0)
    monkeypatch.setattr(outlook, "of", lambda estimate, lines: said)  # kept with each estimate as it is issued
    with clock.at(DAY):
        cards = [job(owner, taken) for taken in ("1", "3", "5")]
    found = report()
    assert [x.card.pk for x in found.lines] == [c.pk for c in cards]
    assert (found.hours.jobs, found.hours.within_likely, found.hours.within_careful) == (3, 1, 2)
    assert (found.hours.likely_percent, found.hours.careful_percent) == (D("33.33"), D("66.67"))
    assert (found.price.jobs, found.price.within_likely, found.price.within_careful) == (3, 0, 3)
    assert found.hours_taken == 9
    assert found.agreed == sum(x.agreed for x in found.lines)


def test_page_and_file(owner, office):
    with clock.at(DAY):
        card = job(owner)
    card.customer.name = "@Una Hale"
    card.customer.save(update_fields=["name"])
    client = Client()
    client.force_login(owner)
    answer = client.get("/reports/estimates/", OCTOBER)
    text = answer.content.decode()
    assert answer.status_code == 200
    estimate = Estimate.objects.get(card=card)
    for link in (f"/cards/{card.pk}/#outcome", f"/cards/{card.pk}/#invoices", f"/estimates/{estimate.pk}/"):
        assert f'href="{link}"' in text
    whole = client.get(f"/cards/{card.pk}/").content.decode()
    assert 'id="outcome"' in whole
    assert 'id="invoices"' in whole
    assert text.count("<rect") == 2
    assert "No card was first invoiced" in client.get("/reports/estimates/").content.decode()
    assert client.get("/reports/estimates/", {"since": "2020-01-01", "until": "2026-01-01"}).status_code == 422
    rows = list(csv.reader(io.StringIO(client.get("/reports/estimates.csv", OCTOBER).content.decode("utf-8-sig"))))
    assert rows[1][0] == card.number
    assert rows[1][2] == "'@Una Hale"
    assert rows[1][-1] == "EUR"
    hub = client.get("/reports/").content.decode()
    for path in ("/reports/hours/", "/reports/estimates/", "/books/earned/", "/accounts/", "/stock/value/"):
        assert f'href="{path}"' in hub
    client.force_login(office)
    assert client.get("/reports/estimates/").status_code == client.get("/reports/estimates.csv").status_code == 403
    hub = client.get("/reports/").content.decode()
    assert 'href="/reports/estimates/"' not in hub
    assert 'href="/reports/hours/"' in hub


def test_it_asks_as_often_for_many_as_for_few(owner):
    def ask():
        with CaptureQueriesContext(connection) as asked:
            found = report()
        return len(asked), len(found.lines)

    with clock.at(DAY):
        job(owner)
    few = ask()
    with clock.at(DAY.replace(day=14)):
        for _ in range(3):
            job(owner)
    many = ask()
    assert (few[1], many[1]) == (1, 4)
    assert many[0] == few[0]
