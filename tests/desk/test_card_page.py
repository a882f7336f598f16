"""The whole card on one page, and how it is closed."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.cards import actions as cards
from jobs.cards.models import JobCard
from jobs.draws import actions as draws
from jobs.draws.models import Draw
from tests.documents.reading import pages, plain
from tests.factories import invoices
from tests.factories.desk import clocked_on, scene

pytestmark = pytest.mark.django_db


def _go_ahead(shop, office):
    cards.give_go_ahead([shop.test.pk], ref="estimate EST-26-0001", at=shop.card.opened_at, by=office)


def _finish(shop, office, mechanic):
    """All work done, gates signed, nothing loose."""
    _go_ahead(shop, office)
    for gate in shop.fit.gates.filter(when="start"):
        cards.sign_gate(gate.pk, by=mechanic)
    for stage in (shop.measure, shop.fit, shop.test):
        cards.start_stage(stage.pk, by=mechanic)
        for gate in stage.gates.filter(when="finish"):
            cards.sign_gate(gate.pk, by=mechanic)
        cards.finish_stage(stage.pk, by=mechanic)
    cards.finish_card(shop.card.pk, by=office)


def test_one_page_tells_all(at, office, mechanic, shop, text):
    clocked_on(shop.measure, mechanic)
    page = text(at(office).get(f"/cards/{shop.card.pk}/"))
    for said in (
        "Job card " + shop.card.number, "Mara Quill", "Loses power when warm", "Exhaust elbow",
        "Strip the head Finished", "Fit head with new gasket Sign first",
        "Ports covered, faces clean to sign before it starts", "Clocked on Jory Vane", "2 parts: 2 not kept",
        "GKT-041 Head gasket, B2", "not kept, 3 free", "Owner wants the old rings back.", "Started stage 1",
    ):  # fmt: skip
        assert said in page, said


def test_costs_are_for_those_who_may_see_them(at, owner, office, mechanic, stores, shop, text):
    draws.draw(by=mechanic, stage_id=shop.fit.pk, part_id=shop.gasket.pk, quantity=1)
    where = f"/cards/{shop.card.pk}/"
    page = text(at(owner).get(where))
    assert "Parts, by the lots drawn €21.40" in page
    assert "Together €" in page
    page = text(at(stores).get(where))
    assert "€21.40" in page
    assert "Together €" not in page
    page = text(at(mechanic).get(where))
    assert "21.40" not in page
    assert "Estimates and go-ahead" not in page


def test_the_number_of_queries_does_not_grow(at, owner, shop):
    browser = at(owner)

    def count(card):
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(f"/cards/{card.pk}/").status_code == 200
        return len(queries)

    few, many = scene(stages=2), scene(stages=9)
    count(few.card)
    assert count(few.card) == count(many.card)


def test_keep_what_is_free_from_the_card(at, press, office, shop, text):
    answer = press(at(office), f"/cards/{shop.card.pk}/keep/", next=f"/cards/{shop.card.pk}/")
    assert answer["Location"] == f"/cards/{shop.card.pk}/"
    assert "2 parts: 2 kept" in text(at(office).get(f"/cards/{shop.card.pk}/"))


def test_hand_over_names_what_stands_against_it(at, press, office, mechanic, shop, text):
    where = f"/cards/{shop.card.pk}/hand-over/"
    assert "The card isn't finished." in text(at(office).get(where))
    _go_ahead(shop, office)
    taken = draws.draw(by=mechanic, stage_id=shop.fit.pk, part_id=shop.gasket.pk, quantity=1)
    _finish(shop, office, mechanic)
    page = text(at(office).get(where))
    assert "Drawn, neither fitted nor returned 1 × GKT-041" in page
    assert "Nothing was invoiced yet" in page
    answer = press(at(office), where)
    assert answer["Location"] == where
    assert "Still in hand at the bench: 1 of GKT-041" in text(at(office).get(where))
    assert JobCard.objects.get(pk=shop.card.pk).handed_over_at is None
    draws.put_back(taken.rows[0].pk, by=mechanic, quantity=Decimal(1))
    answer = press(at(office), where)
    assert answer["Location"] == f"/cards/{shop.card.pk}/"
    page = text(at(office).get(answer["Location"]))
    assert "Stands at Handed over" in page
    again = press(at(office), where)
    assert "has been handed over" in text(at(office).get(again["Location"]))


def test_the_api_hands_over_by_the_same_rule(api, office, mechanic, shop):
    _go_ahead(shop, office)
    draws.draw(by=mechanic, stage_id=shop.fit.pk, part_id=shop.gasket.pk, quantity=1)
    _finish(shop, office, mechanic)
    refused = api(office).post(f"cards/{shop.card.pk}/hand-over/")
    assert refused.status_code == 409
    assert "1 of GKT-041" in refused.json()["detail"]
    draws.undo_draw(shop.fit.draws.get().pk, by=mechanic)
    assert api(office).post(f"cards/{shop.card.pk}/hand-over/").json()["state"] == "handed-over"
    assert api(mechanic).post(f"cards/{shop.card.pk}/hand-over/").status_code == 403


def test_closing_gives_back_what_was_kept(at, press, api, office, stores, shop, text):
    for need in shop.fit.needs.all():
        draws.keep(need.pk, by=stores)
    assert press(at(office), f"/cards/{shop.card.pk}/cancel/").status_code == 422  # why?
    answer = press(at(office), f"/cards/{shop.card.pk}/cancel/", reason="Sold the boat")
    assert "Sold the boat" in text(at(office).get(answer["Location"]))
    assert [n.reservation.ended_at is None for n in shop.fit.needs.all()] == [False, False]


def test_cancelling_is_refused_while_parts_are_in_hand(api, office, mechanic, shop):
    _go_ahead(shop, office)
    draws.draw(by=mechanic, stage_id=shop.fit.pk, part_id=shop.gasket.pk, quantity=1)
    answer = api(office).post(f"cards/{shop.card.pk}/cancel/", {"reason": "Sold the boat"})
    assert answer.status_code == 409
    assert "1 of GKT-041" in answer.json()["detail"]
    assert JobCard.objects.get(pk=shop.card.pk).cancelled_at is None


def test_the_sheet_for_the_bench_is_typeset(at, mechanic, shop):
    answer = at(mechanic).get(f"/cards/{shop.card.pk}/sheet.pdf")
    assert answer["Content-Type"] == "application/pdf"
    page = " ".join(pages(answer.content))
    for said in (shop.card.number, "Fit head with new gasket", "Ports covered, faces clean", "GKT-041"):
        assert said in page, said


def test_rights_on_the_card(at, press, mechanic, stores, shop):
    where = f"/cards/{shop.card.pk}"
    for who in (mechanic, stores):
        browser = at(who)
        assert browser.get(f"{where}/").status_code == 200
        assert browser.get(f"{where}/hand-over/").status_code == 403
        assert press(browser, f"{where}/cancel/", reason="x").status_code == 403
    assert at(mechanic).get("/cards/999999/").status_code == 404


def test_the_build_record_says_what_was_fitted_and_signed(api, at, owner, mechanic, text):
    card = invoices.finished(owner)
    where = f"/cards/{card.pk}/build-record.pdf"
    draft = " ".join(pages(at(owner).get(where).content))
    assert "draft" in draft.replace(" ", "").lower()
    cards.finish_card(card.pk, by=owner)
    assert "Build record" in text(at(owner).get(f"/cards/{card.pk}/"))
    answer = at(mechanic).get(where)
    record = " ".join(pages(answer.content))
    lot = Draw.objects.filter(card=card, fitted__gt=0).first().movement.lot
    for said in (
        card.number,
        "Fit rings and pistons",
        "Run on the brake",
        "Maren Holt",
        "RNG-078",
        lot.number,
        "manual",
    ):
        assert said in record, said
    assert "draft" not in record.replace(" ", "").lower()
    assert "€" not in record, "no prices"
    same = api(mechanic).get(f"cards/{card.pk}/build-record/")
    assert same.content == answer.content
    assert api(mechanic).get("cards/999999/build-record/").status_code == 404


def test_the_sheet_says_a_caution_once_though_several_stages_have_it(at, office, mechanic, shop):
    manual = "Torque and order come from the maker's manual."
    for stage in (shop.measure, shop.test):
        cards.edit_stage(stage.pk, None, by=office, cautions=f"Hot parts. {manual}")
    seen = plain(" ".join(pages(at(mechanic).get(f"/cards/{shop.card.pk}/sheet.pdf").content)))
    assert seen.count(plain(manual)) == 1
    assert seen.count("Hot parts.") == 1
    assert "The head weighs 38 kg: use the hoist." in seen
