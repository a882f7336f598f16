"""The first page of each role."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions as cards
from jobs.draws import actions as draws
from jobs.invoices.actions import credit_note, issue_invoice
from shop.kernel import clock
from shop.trail.models import OutboxRow
from tests.factories import invoices, moments
from tests.factories.desk import clocked_on, scene

pytestmark = pytest.mark.django_db


def test_the_office_sees_what_is_in_the_shop_and_what_it_waits_for(at, office, mechanic, shop, text):
    cards.hold_card(shop.card.pk, by=mechanic, reason="manual", note="bearing clearance")
    page = text(at(office).get("/"))
    assert "1 machine in the shop, 1 stands and waits." in page
    assert f"{shop.card.number} Brindlecote B2 Mara Quill" in page
    assert "Waits for a question to the maker's manual (bearing clearance)" in page


def test_late_cards_stand_first_and_say_by_how_much(at, office, shop, text):
    late = scene(late=True)
    page = text(at(office).get("/"))
    assert "2 machines in the shop, 1 card late" in page
    assert page.index(late.card.number) < page.index(shop.card.number)
    assert "Late by 2 days" in page


def test_finished_cards_wait_to_be_handed_over(at, office, mechanic, shop, text):
    for stage in (shop.measure, shop.fit, shop.test):
        cards.decline([stage.pk], ref="estimate", at=shop.card.opened_at, by=office)
    cards.finish_card(shop.card.pk, by=office)
    page = text(at(office).get("/"))
    assert f"Finished, to hand over {shop.card.number}" in page


def test_what_is_done_and_not_invoiced_stands_there_until_the_first_invoice_is_issued(at, owner, office, shop, text):
    done = cards.finish_card(invoices.finished(owner).pk, by=office)
    said = f"Done and not invoiced {done.number}"
    assert said in text(at(office).get("/"))
    bill = invoices.draft(office, done)
    assert said in text(at(office).get("/"))  # a draft is none
    bill = issue_invoice(bill.pk, None, by=office)
    assert said not in text(at(office).get("/"))
    credit_note(bill.pk, by=owner, reason="Wrong customer")
    assert said not in text(at(office).get("/"))  # taken back is not forgotten: the credit note stands in the books


def test_what_could_not_be_sent_is_seen_by_the_office_only(at, office, stores, shop, text):
    now = shop.card.opened_at
    OutboxRow.objects.create(
        topic="mail.send", payload={}, created_at=now, due_at=now, failed_at=now, last_error="no such address"
    )
    assert "no such address" in text(at(office).get("/"))
    assert "no such address" not in text(at(stores).get("/"))


def test_a_mechanic_sees_the_clock_and_the_stages(at, mechanic, shop, text):
    clocked_on(shop.measure, mechanic)
    page = text(at(mechanic).get("/"))
    assert f"{shop.card.number} · Brindlecote B2 · 2 Measure bores and rings" in page
    assert "Clock off" in page
    assert "Sign first: Ports covered, faces clean" in page
    assert "Forgotten clocks" not in page
    assert "not on the shelf" not in page


def test_stages_that_are_nobodys_are_free_to_take(at, mechanic2, shop, text):
    page = text(at(mechanic2).get("/bench/"))
    assert "No stage is yours now" in page
    assert "Free to take 2 Measure bores and rings Can start" in page


def test_the_stores_see_what_is_short_and_keep_what_is_free(at, press, stores, office, shop, text):
    """3 gaskets lie here, 5 are needed: what is free goes to the soonest promised."""
    later = scene()
    draws.add_need(by=office, stage_id=later.fit.pk, part_id=shop.gasket.pk, quantity=Decimal(3))
    page = text(at(stores).get("/"))
    assert f"GKT-041 Head gasket, B2 2 {later.card.number}" in page
    assert f"{shop.card.number} Brindlecote B2 2 parts to keep" in page
    answer = press(at(stores), f"/cards/{shop.card.pk}/keep/", next="/")
    page = text(at(stores).get(answer["Location"]))
    assert "Kept what is free on the shelf." in page
    assert f"{shop.card.number} Brindlecote B2 2 parts to keep" not in page
    assert f"GKT-041 Head gasket, B2 2 {later.card.number}" in page


def test_the_stores_see_what_runs_low_and_what_expires(at, stores, shop, text, monkeypatch):
    shop.gasket.reorder_point = 5
    shop.gasket.save()
    assert "3 unpromised, reorder at 5" in text(at(stores).get("/"))
    soon = moments.away((shop.tube.lots.get().last_day - clock.today()).days - 3)
    monkeypatch.setattr(clock, "now", lambda: soon)
    at(stores).logout()
    page = text(at(stores).get("/"))
    assert "SEA-070 Flange sealant 70 ml in bin A3-02 · use by" in page


@pytest.mark.parametrize("who", ["owner", "office", "mechanic", "stores"])
def test_the_number_of_queries_does_not_grow(request, at, shop, who):
    browser = at(request.getfixturevalue(who))

    def count():
        with CaptureQueriesContext(connection) as queries:
            assert browser.get("/").status_code == 200
        return len(queries)

    scene(late=True)
    count()
    first = count()
    scene(), scene(late=True)
    assert count() == first
