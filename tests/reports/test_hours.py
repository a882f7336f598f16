"""Hours of people: at work, on stages, sold."""

import csv
import io
from datetime import UTC, datetime, timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions as cards
from jobs.estimates import actions as priced
from jobs.invoices import actions as invoices
from jobs.reports import hours
from jobs.timebook import actions as timebook
from jobs.timebook import hours as clocked
from jobs.timebook.models import Attendance, TimeBooking
from shop.kernel import clock
from tests.factories import books as make
from tests.factories import estimates as quote
from tests.factories import invoices as bills
from tests.factories.timebook import a_booking, an_attendance

pytestmark = pytest.mark.django_db
OCTOBER = {"since": "2026-10-01", "until": "2026-10-31"}
DAY = datetime(2026, 10, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def now():
    with clock.at(make.NOVEMBER):
        yield


def job(owner, hours_of):
    """One card with one stage of 3.5 h by the hour; `hours_of`: (person, hours) booked on it. Its invoice."""
    card = quote.card(owner)
    fit = quote.stage(owner, card)
    quote.agreed(owner, card)
    for person, amount in hours_of:
        bills.work(owner, fit, amount, who=person)
    return bills.issued(owner, card)


def at_work(person, day, begins, ends):
    timebook.note_attendance(
        by=person, person_id=person.pk, arrived_at=day.replace(hour=begins), left_at=day.replace(hour=ends),
        break_minutes=0, reason="On paper",
    )  # fmt: skip


def test_sold_hours_go_by_the_shares_of_who_booked_and_add_up(owner, mechanic, mechanic2, api):
    with clock.at(DAY.replace(hour=18)):
        invoice = job(owner, [(mechanic, "3"), (mechanic2, "1")])
        at_work(mechanic, DAY, 12, 17)  # five hours
        at_work(mechanic2, DAY, 16, 18)
    sold = sum(x.quantity for x in invoice.lines.all() if x.kind == "labour" and x.unit == "HUR")
    assert sold > 0
    found = api(owner).get("hours-reports/", **OCTOBER).json()
    first, second = sorted(found["people"], key=lambda p: D(p["worked"]), reverse=True)
    assert (first["person_id"], first["attended"], first["worked"]) == (mechanic.pk, "5", "3")
    assert (second["person_id"], second["attended"], second["worked"]) == (mechanic2.pk, "2", "1")
    assert (D(first["sold"]), D(second["sold"])) == (sold * 3 / 4, sold / 4)
    assert (first["worked_of_attended"], second["worked_of_attended"]) == ("60", "50")
    whole = found["whole"]
    assert (whole["attended"], whole["worked"], D(whole["sold"]), found["nobody"]) == ("7", "4", sold, "0")
    assert D(whole["sold_of_worked"]) == (sold * 100 / 4).quantize(D("0.01"))
    assert D(whole["sold_of_attended"]) == (sold * 100 / 7).quantize(D("0.01"))
    month = {m["month"]: m for m in found["months"]}["2026-10-01"]
    assert (month["attended"], month["worked"], D(month["sold"])) == ("7", "4", sold)
    rows = api(owner).get("hours-sold/", person_id=mechanic.pk, **OCTOBER).json()["items"]
    assert sum(D(x["share"]) for x in rows) == D(first["sold"])
    assert {x["invoice_id"] for x in rows} == {invoice.pk}
    invoices.credit_note(invoice.pk, by=owner, reason="Came back")
    both = api(owner).get("hours-reports/", since="2026-10-01", until="2026-11-30").json()
    assert (D(both["whole"]["sold"]), both["whole"]["worked"]) == (0, "4")
    assert len(
        api(owner).get("hours-sold/", person_id=mechanic.pk, since="2026-10-01", until="2026-11-30").json()["items"]
    ) == 2 * len(rows)


def test_a_day_without_attendance_is_said_and_left_out_of_the_ratio(owner, mechanic, api):
    with clock.at(DAY.replace(hour=18)):
        job(owner, [(mechanic, "4")])
        at_work(mechanic, DAY, 10, 18)
    with clock.at(DAY.replace(day=13, hour=18)):
        card = quote.card(owner)
        fit = quote.stage(owner, card)
        quote.agreed(owner, card)
        TimeBooking.objects.create(
            person=mechanic, stage=fit, kind="manual", started_at=DAY.replace(day=13, hour=9),
            ended_at=DAY.replace(day=13, hour=15), entered_by=owner, entered_at=clock.now(),
        )  # fmt: skip
    (one,) = api(owner).get("hours-reports/", **OCTOBER).json()["people"]
    assert (one["worked"], one["days"], one["days_without"]) == ("10", 2, 1)
    assert one["worked_of_attended"] == "50"  # four of eight hours; the other day has none
    client = Client()
    client.force_login(owner)
    text = client.get("/reports/hours/", OCTOBER).content.decode()
    assert "not kept on 1 of 2 days" in text
    assert "Nothing is filled in" in text
    assert Attendance.objects.count() == 1


def under_way(person, stage, *, noon: bool) -> None:
    """On the 13th at 15:45: here from 8:00, `noon`: not from 12:00 to 12:30; booked from 8:00 to 12:00 and 12:30 to 15:30."""
    day = DAY.replace(day=13)

    def at(hour, minute=0):  # in Ireland, an hour before UTC
        return clock.at(day.replace(hour=hour - 1, minute=minute))

    with at(8):
        timebook.arrive(by=person)
    with at(12):
        if noon:
            timebook.leave(by=person)
    with at(12, 30):
        if noon:
            timebook.arrive(by=person)
    with at(15, 45):
        for begins, ends in (((8, 0), (12, 0)), ((12, 30), (15, 30))):
            timebook.book(
                by=person, person_id=person.pk, stage_id=stage.pk, break_minutes=0, reason="Clock forgotten",
                started_at=day.replace(hour=begins[0] - 1, minute=begins[1]),
                ended_at=day.replace(hour=ends[0] - 1, minute=ends[1]),
            )  # fmt: skip


@pytest.mark.parametrize("noon", [True, False])
def test_a_day_under_way_is_left_out_of_both_sides_of_the_ratio(owner, mechanic, api, noon):
    with clock.at(DAY.replace(hour=18)):
        _card, fit = make.job(owner)
        bills.work(owner, fit, "4", who=mechanic)
        at_work(mechanic, DAY, 10, 18)
    under_way(mechanic, fit, noon=noon)
    with clock.at(DAY.replace(day=13, hour=14, minute=45)):
        found = api(owner).get("hours-reports/", **OCTOBER).json()
        (one,) = found["people"]
        assert (one["attended"], one["over"]) == ("12" if noon else "8", "8")
        assert (one["worked"], one["kept"], one["worked_of_attended"]) == ("11", "4", "50")
        assert (one["days"], one["days_without"], one["days_running"]) == (2, 0, 1)
        assert found["whole"]["worked_of_attended"] == "50"
        assert {m["month"]: m["days_running"] for m in found["months"]}["2026-10-01"] == 1
        client = Client()
        client.force_login(owner)
        text = client.get("/reports/hours/", OCTOBER).content.decode()
        assert "somebody being at work still: 1." in text
        assert "still at work" in text
        assert "No attendance kept" not in text
        rows = csv.reader(io.StringIO(client.get("/reports/hours.csv", OCTOBER).content.decode("utf-8-sig")))
        head, row, _whole = rows
        told = dict(zip(head, row, strict=True))
        assert (told["At work on days that are over"], told["Days still at work"]) == ("8.00", "1")
        today = api(owner).get("hours-reports/", since="2026-10-13", until="2026-10-13").json()["whole"]
        assert (today["worked"], today["worked_of_attended"], today["sold_of_attended"]) == ("7", None, None)
        assert (
            ">not kept<"
            not in client.get("/reports/hours/", {"since": "2026-10-13", "until": "2026-10-13"}).content.decode()
        )
    with clock.at(DAY.replace(day=13, hour=15)):  # 16:00
        timebook.leave(by=mechanic)
    (one,) = api(owner).get("hours-reports/", **OCTOBER).json()["people"]
    assert (one["days_running"], one["over"], one["kept"]) == (0, "15.5", "11")  # the shop's break is off either way


def test_what_nobody_booked_for_belongs_to_nobody(owner, api):
    with clock.at(DAY):
        bills.sale(owner, unit="HUR", kind="labour", quantity=D(2))
    found = api(owner).get("hours-reports/", **OCTOBER).json()
    assert (found["people"], found["nobody"], found["whole"]["sold"]) == ([], "2", "2")
    assert [x["share"] for x in api(owner).get("hours-sold/", person_id=0, **OCTOBER).json()["items"]] == ["2"]


def test_a_booking_that_is_all_break_makes_a_line_nobodys(owner, mechanic, api):
    """The list behind the figure has the line that the figure counts."""
    with clock.at(DAY.replace(hour=18)):
        card = quote.card(owner)
        fit = quote.stage(owner, card, standard_hours=D(2))
        offer = quote.draft(owner, card)
        priced.edit_line(offer.lines.get(kind="labour").pk, None, by=owner, pricing="fixed")
        priced.issue_estimate(offer.pk, None, by=owner)
        quote.say(owner, offer, {x.pk: True for x in offer.lines.all()})
        noon = DAY.replace(hour=11, minute=5)  # 12:05 there
        a_booking(mechanic, fit, noon, noon + timedelta(minutes=15), by=owner)
        cards.finish_stage(fit.pk, by=owner)
        bills.issued(owner, card)
    found = api(owner).get("hours-reports/", **OCTOBER).json()
    assert (found["whole"]["worked"], found["nobody"]) == ("0", "2")
    assert [x["share"] for x in api(owner).get("hours-sold/", person_id=0, **OCTOBER).json()["items"]] == ["2"]
    assert api(owner).get("hours-sold/", person_id=mechanic.pk, **OCTOBER).json()["items"] == []
    client = Client()
    client.force_login(owner)
    assert "Fit rings and pistons" in client.get("/reports/hours/sold/", {"person": 0} | OCTOBER).content.decode()
    with clock.at(DAY.replace(hour=18)):
        a_booking(mechanic, fit, DAY.replace(hour=9), DAY.replace(hour=10), by=owner)
    found = api(owner).get("hours-reports/", **OCTOBER).json()
    assert (found["people"][0]["sold"], found["nobody"]) == ("2", "0")
    assert api(owner).get("hours-sold/", person_id=0, **OCTOBER).json()["items"] == []


def test_the_database_counts_seconds_as_the_shop_does(owner, mechanic):
    with clock.at(DAY.replace(hour=18)):
        _card, fit = make.job(owner)
        spans = [(9, 0, 0, 999_999, 7), (10, 1, 500_000, 0, 0), (11, 30, 0, 0, 20)]
        for hour, minute, first, last, pause in spans:
            start = DAY.replace(hour=hour, microsecond=first)
            end = DAY.replace(hour=hour, minute=minute, second=59, microsecond=last)
            TimeBooking.objects.create(
                person=mechanic, stage=fit, kind="manual", started_at=start, ended_at=end, break_minutes=pause,
                entered_by=owner, entered_at=clock.now(),
            )  # fmt: skip
    found = hours.report(DAY.date().replace(day=1), DAY.date().replace(day=31)).people[0]
    rows = TimeBooking.objects.all()
    assert found.worked_seconds == sum(clocked.seconds_worked(r.started_at, r.ended_at, r.break_minutes) for r in rows)
    assert found.worked_seconds == 0 + 118 + 659  # the first is shorter than its break


def test_days_are_the_shops_own(owner, mechanic, api):
    # 23:30 UTC of 30 September is half past midnight of 1 October in Ireland
    late = datetime(2026, 9, 30, 23, 30, tzinfo=UTC)
    with clock.at(DAY):
        an_attendance(mechanic, late, late + timedelta(hours=1))
    (one,) = api(owner).get("hours-reports/", **OCTOBER).json()["people"]
    assert one["attended"] == "1"
    assert api(owner).get("hours-reports/", since="2026-09-01").json()["people"] == []


def test_page_file_and_rows_for_who_may_read_hours(owner, office, mechanic, stores):
    mechanic.name = "=Jory Vane"
    mechanic.save(update_fields=["name"])
    with clock.at(DAY.replace(hour=18)):
        job(owner, [(mechanic, "4")])
        at_work(mechanic, DAY, 10, 18)
    client = Client()
    client.force_login(office)
    text = client.get("/reports/hours/", OCTOBER).content.decode()
    assert f"/hours/attendance/?person={mechanic.pk}&amp;first=2026-10-01&amp;last=2026-10-31" in text
    assert f"/hours/?person={mechanic.pk}&amp;first=2026-10-01&amp;last=2026-10-31" in text
    assert f"/reports/hours/sold/?person={mechanic.pk}&amp;since=2026-10-01&amp;until=2026-10-31" in text
    assert "<rect" in text
    assert (
        client.get("/hours/", {"person": mechanic.pk, "first": "2026-10-01", "last": "2026-10-31"}).status_code == 200
    )
    rows = client.get("/reports/hours/sold/", {"person": mechanic.pk} | OCTOBER).content.decode()
    assert "Fit rings and pistons" in rows
    assert "Fit rings and pistons" in client.get("/reports/hours/sold/", OCTOBER).content.decode()
    for query in ({"person": "x"}, {"person": 10**9}):
        assert client.get("/reports/hours/sold/", query).status_code == 404
    for query in (
        {"since": "x"},
        {"since": "2010-01-01", "until": "2026-01-01"},
        {"since": "2026-02-01", "until": "2026-01-01"},
    ):
        assert client.get("/reports/hours/", query).status_code == 422
    assert client.get("/reports/hours/", {"since": "2017-01-01", "until": "2026-12-31"}).status_code == 200
    table = list(csv.reader(io.StringIO(client.get("/reports/hours.csv", OCTOBER).content.decode("utf-8-sig"))))
    assert [r[0] for r in table[1:]] == ["'=Jory Vane", "All"]
    assert table[1][1:4] == ["8.00", "4.00", "4.00"]
    for person in (mechanic, stores):
        client.force_login(person)
        assert client.get("/reports/hours/").status_code == client.get("/reports/").status_code == 403


def test_it_asks_as_often_for_many_as_for_few(owner, mechanic, mechanic2):
    def ask():
        with CaptureQueriesContext(connection) as asked:
            hours.report(DAY.date().replace(day=1), DAY.date().replace(day=31))
        return len(asked)

    with clock.at(DAY.replace(hour=18)):
        job(owner, [(mechanic, "1")])
        at_work(mechanic, DAY, 10, 11)
    few = ask()
    with clock.at(DAY.replace(day=14, hour=18)):
        for _ in range(3):
            job(owner, [(mechanic, "1"), (mechanic2, "1")])
        at_work(mechanic2, DAY, 10, 11)
    assert ask() == few
