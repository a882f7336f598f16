"""How near estimates come: agreed against billed, hours estimated against hours taken."""

import csv
import io
from datetime import UTC, datetime
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.estimates import actions as estimates
from jobs.estimates import outlook
from jobs.estimates.models import Estimate
from jobs.invoices import actions as invoices
from jobs.invoices import outcome
from jobs.reports import accuracy
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import charges
from tests.factories import estimates as quote
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
        listed = [job(owner, taken) for taken in ("1", "3", "5")]
    found = report()
    assert [x.card.pk for x in found.lines] == [c.pk for c in listed]
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


def test_all_together_is_over_the_cards_where_something_was_agreed(owner, api):
    with clock.at(DAY):
        job(owner, "3.5")
    alone = api(owner).get("estimate-accuracy/", **OCTOBER).json()
    assert alone["percent"] == "100"
    with clock.at(DAY.replace(day=14)):
        other = quote.card(owner)
        strip = quote.stage(owner, other, "Strip and see", kind="strip")
        bills.work(owner, strip, "1")
        draft = bills.draft(owner, other)
        invoices.add_line(draft.pk, None, by=owner, reason="Asked for on the quay", text="Tow", unit_price=D(500))
        more = invoices.issue_invoice(draft.pk, None, by=owner).total_net
    found = api(owner).get("estimate-accuracy/", **OCTOBER).json()
    lines = {x["card_id"]: x for x in found["lines"]}
    its = lines[other.pk]
    assert (its["agreed"], D(its["billed"]), its["percent"]) == ("0.00", more, None)
    assert (found["percent"], found["billed_agreed"], found["nothing_agreed"]) == ("100", alone["billed"], 1)
    assert D(found["billed"]) == D(alone["billed"]) + more == sum(D(x["billed"]) for x in lines.values())
    client = Client()
    client.force_login(owner)
    text = client.get("/reports/estimates/", OCTOBER).content.decode()
    assert "Billed on cards with something agreed" in text
    assert "left out of all that is of 100 agreed" in text


@pytest.mark.parametrize("becomes", ["charged", "handed in", "taken back", "kept"])
def test_a_core_deposit_is_on_neither_side(owner, api, monkeypatch, becomes):
    said = outlook.Outlook(D(1), D(2), D("300.00"), D("400.00"), 3, 0)
    monkeypatch.setattr(outlook, "of", lambda estimate, lines: said)
    with clock.at(DAY):
        card, _fit, part = charges.done(owner)
        if becomes == "handed in":
            invoices.hand_in_core(card.pk, by=owner, part_id=part.pk, quantity=D(2), condition="Whole")
        invoice = bills.issued(owner, card)
        if becomes == "taken back":
            core = invoice.lines.get(kind="core")
            invoices.take_core(core.pk, by=owner, quantity=D(2), condition="Whole")
        if becomes == "kept":
            core = invoice.lines.get(kind="core")
            invoices.keep_deposit(core.pk, by=owner, quantity=D(2), on=clock.today(), reason="Lost at sea")
    (line,) = api(owner).get("estimate-accuracy/", **OCTOBER).json()["lines"]
    billed = "25.00" if becomes in ("charged", "kept") else "0.00"
    assert (line["percent"], line["cores_agreed"], line["cores_billed"]) == ("100", "25.00", billed)
    whole = outcome.of_card(card.pk).sum
    assert D(line["agreed"]) + D(line["cores_agreed"]) == whole.quoted
    assert D(line["billed"]) + D(line["cores_billed"]) == whole.billed
    assert (line["likely"], line["careful"]) == ("275.00", "375.00")
    client = Client()
    client.force_login(owner)
    text = client.get("/reports/estimates/", OCTOBER).content.decode()
    assert "and €25.00 of core deposits" in text
    assert "Core deposits are left out of agreed and billed alike" in text
    head, row = csv.reader(io.StringIO(client.get("/reports/estimates.csv", OCTOBER).content.decode("utf-8-sig")))
    assert (row[head.index("Core deposits agreed")], row[head.index("Core deposits billed")]) == ("25.00", billed)


@pytest.mark.parametrize("word", ["yes", "no", "open"])
def test_figures_of_a_whole_estimate_say_nothing_of_a_part_of_it(owner, api, monkeypatch, word):
    said = outlook.Outlook(D(9), D(9), D("9999.00"), D("9999.00"), 3, 0)
    monkeypatch.setattr(outlook, "of", lambda estimate, lines: said)
    with clock.at(DAY):
        card, fit, test, _rings = quote.job(owner)
        found = quote.issued(owner, card)
        of_test = found.lines.get(stage=test).pk
        answers = {x.pk: True for x in found.lines.all()} | {of_test: word == "yes"}
        if word == "open":
            del answers[of_test]
        quote.say(owner, found, answers)
        bills.work(owner, fit, "4")
        bills.issued(owner, card)
    told = api(owner).get("estimate-accuracy/", **OCTOBER).json()
    (line,) = told["lines"]
    assert line["estimate_ids"] == [found.pk]
    assert line["likely"] == ("9999.00" if word == "yes" else None)
    client = Client()
    client.force_login(owner)
    text = client.get("/reports/estimates/", OCTOBER).content.decode()
    assert "where a line was declined or not answered" in text
    assert ("€9,999.00" in text) == (word == "yes")
    jobs = 1 if word == "yes" else 0
    assert (told["price"]["jobs"], told["price"]["within_likely"], told["hours"]["jobs"]) == (jobs, jobs, jobs)


def test_optional_work_that_was_declined_keeps_the_figures(owner, api, monkeypatch):
    """They count it with its chance."""
    said = outlook.Outlook(D(9), D(9), D("9999.00"), D("9999.00"), 3, 1)
    monkeypatch.setattr(outlook, "of", lambda estimate, lines: said)
    with clock.at(DAY):
        card, fit, test, _rings = quote.job(owner)
        found = quote.draft(owner, card)
        line = found.lines.get(stage=test)
        estimates.edit_line(line.pk, None, by=owner, optional=True)
        estimates.issue_estimate(found.pk, None, by=owner)
        quote.say(owner, found, {x.pk: x.pk != line.pk for x in found.lines.all()})
        bills.work(owner, fit, "4")
        bills.issued(owner, card)
    assert api(owner).get("estimate-accuracy/", **OCTOBER).json()["price"]["jobs"] == 1
