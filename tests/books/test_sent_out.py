"""Work sent out in the books: work in progress until the card is invoiced or cancelled, then where its cost went."""

from __future__ import annotations

import csv
import io
import uuid
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.books import earned, gathering, progress, queries
from jobs.cards import actions as cards
from jobs.invoices import actions as invoices
from jobs.sublet import actions
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import invoices as bills
from tests.factories import sublet as out

pytestmark = pytest.mark.django_db
ALL = (date(2026, 1, 1), date(2026, 12, 31))
OCTOBER = {"since": "2026-10-01", "until": "2026-10-31"}
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


def balances(since=ALL[0], until=ALL[1]) -> dict[str, D]:
    found: dict[str, D] = {}
    for x in queries.totals(since, until)[0]:
        found[x.purpose] = found.get(x.purpose, D(0)) + x.balance
    assert sum(found.values()) == 0
    return {k: v for k, v in found.items() if v and k in PURPOSES}


PURPOSES = {"work-in-progress", "cost-of-sales", "cancelled-work", "unbilled-work", "input-vat", "payables"}
OPEN = {"work-in-progress": D(240), "input-vat": D("55.20"), "payables": D("-295.20")}


def sent(owner, after=HOUR, **more):
    with clock.at(make.OCTOBER):
        stage = out.done(owner)
    with clock.at(make.OCTOBER + after):
        return stage, out.bill(owner, stage, **more)


def test_it_stands_in_work_in_progress_until_the_invoice_and_late_ones_go_to_cost_of_sales(owner):
    stage, _ = sent(owner)
    assert balances() == OPEN
    with clock.at(make.OCTOBER + DAY):
        bills.issued(owner, stage.card)
    assert balances() == {"cost-of-sales": D(240), "input-vat": D("55.20"), "payables": D("-295.20")}
    with clock.at(make.OCTOBER + 2 * DAY):
        late = out.bill(owner, stage, "60", "0", number="26-119")
    assert (balances()["cost-of-sales"], balances()["payables"]) == (300, D("-355.20"))
    actions.take_back(late.pk, by=owner, reason="Ours no more")
    assert balances()["cost-of-sales"] == 240
    october, november = (date(2026, 10, 1), date(2026, 11, 1)), (date(2026, 11, 1), date(2026, 12, 1))
    assert (balances(*october)["cost-of-sales"], balances(*november)["cost-of-sales"]) == (300, -60)


def test_of_a_cancelled_card(owner):
    with clock.at(make.OCTOBER):
        stage = out.stage(owner)
        row = out.bill(owner, stage)
    with clock.at(make.OCTOBER + DAY):
        cards.cancel_card(stage.card_id, by=owner, reason="Sold as it is")
    assert balances() == {"cancelled-work": D(240), "input-vat": D("55.20"), "payables": D("-295.20")}
    with clock.at(make.OCTOBER + 2 * DAY):
        late = out.bill(owner, stage, "60", "0", number="26-119")
    assert (balances()["cancelled-work"], balances()["payables"]) == (300, D("-355.20")), "what was bored is to be paid"
    for of in (row, late):
        actions.take_back(of.pk, by=owner, reason="They credited it")
    assert balances() == {}


def test_it_is_recorded_from_the_page_of_a_cancelled_card(owner, client):
    stage = out.stage(owner)
    cards.cancel_card(stage.card_id, by=owner, reason="Sold as it is")
    client.force_login(owner)
    path = f"/cards/{stage.card_id}/stages/{stage.pk}/sent-out/"
    assert path in client.get(f"/cards/{stage.card_id}/").content.decode()
    sent = {
        "once": str(uuid.uuid4()),
        "supplier": out.firm(owner).pk,
        "number": "B-7",
        "dated_on": clock.today().isoformat(),
    }
    assert client.post(path, {**sent, "net": "240", "tax": "55.20"}).status_code == 303
    assert stage.sublet_bills.get().net == 240


def test_of_a_card_closed_without_an_invoice_also_what_comes_late(owner):
    stage, _ = sent(owner)
    with clock.at(make.OCTOBER + DAY):
        cards.hand_over(stage.card_id, by=owner)
        invoices.close_without_invoice(stage.card_id, by=owner, reason="warranty", note="Ours to put right")
    with clock.at(make.OCTOBER + 2 * DAY):
        out.bill(owner, stage, "60", "0", number="26-119")
    assert balances() == {"unbilled-work": D(300), "input-vat": D("55.20"), "payables": D("-355.20")}
    assert progress.report(date(2026, 10, 14), "EUR").lines == []
    assert earned.report(date(2026, 10, 1), date(2026, 10, 31), "EUR").earned == -300


def test_taken_back_before_the_invoice_nothing_is_left(owner):
    stage, row = sent(owner)
    with clock.at(make.OCTOBER + 2 * HOUR):
        actions.take_back(row.pk, by=owner, reason="Wrong card")
    with clock.at(make.OCTOBER + DAY):
        bills.issued(owner, stage.card)
    assert balances() == {}


def test_at_the_moment_of_the_invoice_it_counts_once(owner):
    with clock.at(make.OCTOBER):
        stage = out.done(owner)
        bills.issued(owner, stage.card)
        out.bill(owner, stage)
    assert balances() == {"cost-of-sales": D(240), "input-vat": D("55.20"), "payables": D("-295.20")}


def test_an_entry_names_the_bill_and_leads_to_it(owner, api):
    stage, row = sent(owner)
    (entry,) = (e for e in gathering.entries(*ALL) if e.subject[0] == "sublet-bill")
    assert (entry.document, entry.subject, entry.on) == ("26-118", ("sublet-bill", row.pk), date(2026, 10, 12))
    assert entry.what == f"Work sent out, Samphire Bore & Balance, card {stage.card.number}"
    (told,) = (x for x in api(owner).get("journal/", **OCTOBER).json()["items"] if x["subject"] == "sublet-bill")
    assert (told["subject_id"], told["document"]) == (row.pk, "26-118")
    client = Client()
    client.force_login(owner)
    assert f'href="/sent-out/{row.pk}/"' in client.get("/books/", OCTOBER).content.decode()


def test_a_closed_month_stays_as_it_was(owner):
    from jobs.books import actions as books

    _stage, row = sent(owner)
    books.close_month(by=owner, month=date(2026, 10, 1))
    actions.take_back(row.pk, by=owner, reason="Wrong card")
    assert list(queries.wrong()) == []


def test_work_in_progress_at_a_day_has_a_column_of_its_own(owner, api):
    stage, wrong = sent(owner)
    with clock.at(make.OCTOBER + 2 * DAY):
        actions.take_back(wrong.pk, by=owner, reason="Wrong")
        out.bill(owner, stage, "90")
    with clock.at(make.OCTOBER + 3 * DAY):
        bills.issued(owner, stage.card)
    for day, sum_ in ((11, []), (12, [D(240)]), (13, [D(240)]), (14, [D(90)]), (15, [])):
        report = progress.report(date(2026, 10, day), "EUR")
        assert [x.sent_out for x in report.lines] == sum_, day
        assert report.cost == report.parts + report.sent_out + report.labour == sum(x.cost for x in report.lines)
    assert dict(progress.month_ends(date(2026, 10, 13), "EUR", 2))[date(2026, 10, 13)] == 240
    answer = api(owner).get("work-in-progress/", day="2026-10-12").json()
    assert (answer["sent_out"], answer["cost"], answer["lines"][0]["sent_out"]) == ("240.00", "240.00", "240.00")
    client = Client()
    client.force_login(owner)
    file = client.get("/books/work-in-progress.csv", {"day": "2026-10-12"}).content.decode("utf-8-sig")
    head, line = csv.reader(io.StringIO(file))
    row = dict(zip(head, line, strict=True))
    assert (row["Sent out"], row["Cost"]) == ("240.00", "240.00")
    page = client.get("/books/work-in-progress/", {"day": "2026-10-12"}).content.decode()
    assert "Sent out" in page
    assert f'href="/cards/{stage.card_id}/#sent-out">€240.00' in page


def test_what_a_job_earned_is_less_what_was_charged_for_it(owner, api):
    stage, _ = sent(owner)
    with clock.at(make.OCTOBER + DAY):
        invoice = bills.issued(owner, stage.card)
    out.bill(owner, stage, "12.50", "0", number="26-119")  # a late one
    found = api(owner).get("jobs-earned/", **OCTOBER).json()
    (job,) = found["lines"]
    assert (job["sent_out"], found["sent_out"]) == ("252.50", "252.50")
    assert D(job["earned"]) == D(found["earned"]) == invoice.total_net - D("252.50")
    client = Client()
    client.force_login(owner)
    head, line = csv.reader(io.StringIO(client.get("/books/earned.csv", OCTOBER).content.decode("utf-8-sig")))
    row = dict(zip(head, line, strict=True))
    assert D(row["Sent out"]) == D("252.5")
    assert D(row["Earned"]) == D(row["Invoiced"]) - D(row["Parts"]) - D(row["Sent out"]) - D(row["Hours at cost"])
    assert "€252.50" in client.get("/books/earned/", OCTOBER).content.decode()


def test_no_more_statements_for_more_bills(owner):
    def asked():
        counts = []
        for work in (
            lambda: gathering.page(*ALL, limit=200),
            lambda: progress.report(date(2026, 11, 10), "EUR"),
        ):
            with CaptureQueriesContext(connection) as found:
                work()
            counts.append(len(found))
        return counts

    sent(owner)
    before = asked()
    for n in range(3):
        sent(owner, number=f"27-{n}")
    assert asked() == before
