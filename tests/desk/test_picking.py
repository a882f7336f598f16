"""The picking list of a card: which lot from which bin, in the order of the walk; on the page, on paper, over the API."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock.choosing import walking
from jobs.draws import actions as draws
from jobs.draws import picking
from shop.kernel import clock
from tests.documents.reading import pages
from tests.factories.cards import a_card, a_stage
from tests.factories.parts import part, sealant
from tests.factories.stock import bin_, lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def card(office):
    return a_card(office, promised_on=clock.today() + timedelta(days=4))


@pytest.fixture
def fit(card):
    return a_stage(card, "Fit head", kind="assemble")


def need(by, stage, of, quantity):
    return draws.add_need(by=by, stage_id=stage.pk, part_id=of.pk, quantity=D(quantity))


def told(found):
    return [(p.bin, p.part.number, p.quantity, p.stage.position) for p in found.picks]


def test_bins_are_walked_along_as_people_count():
    codes = ["B1", "A10", "A3-10", "a3-02", "A3-2", "A9", "7", "12"]
    assert sorted(codes, key=walking) == ["7", "12", "a3-02", "A3-2", "A3-10", "A9", "A10", "B1"]


def test_what_expires_first_is_fetched_first_and_bins_come_in_order(office, stores, card, fit):
    near, far = bin_(stores, "A2", at=card.site), bin_(stores, "A10", at=card.site)
    tube, ring = sealant(stores), part(stores, "RNG-078", "Ring set, B2")
    late = lot(stores, tube.pk, "70", at=near, expires_on=clock.today() + timedelta(days=300))
    soon = lot(stores, tube.pk, "20", at=far, expires_on=clock.today() + timedelta(days=30))
    lot(stores, ring.pk, "5", at=near)
    need(office, fit, tube, "30")
    need(office, fit, ring, "2")
    found = picking.picking_list(card)
    assert told(found) == [("A2", ring.number, 2, 1), ("A2", tube.number, 10, 1), ("A10", tube.number, 20, 1)]
    assert [p.lot for p in found.picks if p.part == tube] == [late.number, soon.number]


def test_two_stages_share_what_lies_there_and_the_rest_is_lacking(office, stores, card, fit):
    ring = part(stores, "RNG-078", "Ring set, B2")
    lot(stores, ring.pk, "3", at=bin_(stores, at=card.site))
    need(office, fit, ring, "2")
    need(office, a_stage(card, "Fit second head", kind="assemble"), ring, "2")
    found = picking.picking_list(card)
    assert [(p.quantity, p.stage.position) for p in found.picks] == [(2, 1), (1, 2)]
    assert [(x.stage.position, x.supply.short) for x in found.lacking] == [(2, 1)]


def test_what_is_kept_for_another_card_is_not_fetched(office, stores, card, fit):
    ring = part(stores, "RNG-078", "Ring set, B2")
    lot(stores, ring.pk, "3", at=bin_(stores, at=card.site))
    other = need(office, a_stage(a_card(office, site_id=card.site_id)), ring, "2")
    draws.keep(other.pk, by=office)
    need(office, fit, ring, "2")
    assert [p.quantity for p in picking.picking_list(card).picks] == [1]


def test_what_waits_for_the_go_ahead_is_told_apart_and_what_is_declined_is_not_fetched(office, stores, card, fit):
    ring, pin = part(stores, "RNG-078", "Ring set, B2"), part(stores, "PIN-020", "Pin")
    for each in (ring, pin):
        lot(stores, each.pk, "3", at=bin_(stores, at=card.site))
    need(office, a_stage(card, "Run in", needs_go_ahead=True), ring, "1")
    need(office, fit, pin, "1")
    draws.decline_parts({(fit.pk, pin.pk)}, ref="estimate EST-26-0001 revision 1", at=clock.now(), by=office)
    found = picking.picking_list(card)
    assert (found.picks, [x.part for x in found.waiting]) == ([], [ring])


def test_page_paper_and_api_say_the_same(client, api, mechanic, office, stores, card, fit, text):
    tube = sealant(stores, hazards=["H317"])
    batch = lot(stores, tube.pk, "70", at=bin_(stores, "C1", at=card.site))
    ring = part(stores, "RNG-078", "Ring set, B2")
    need(office, fit, tube, "12.5")
    need(office, fit, ring, "2")
    draws.put_in_tray(fit.pk, by=office, number="12")
    client.force_login(mechanic)
    assert "Picking list" in text(client.get(f"/cards/{card.pk}/"))
    page = text(client.get(f"/cards/{card.pk}/picking/"))
    for said in (
        "C1",
        tube.number,
        batch.number,
        "12.5 ml",
        "1 Fit head",
        "12",
        "RNG-078 Ring set, B2 · 1 Fit head: nothing kept: order it",
    ):
        assert said in page, said
    answer = client.get(f"/cards/{card.pk}/picking.pdf")
    paper = " ".join(pages(answer.content))
    for said in (card.number, "C1", batch.number, "12.5", "nothing kept: order it"):
        assert said in paper, said
    shown = api(mechanic).get(f"cards/{card.pk}/picking-list/").json()
    assert [(p["bin"], p["lot"], p["quantity"], p["trays"]) for p in shown["picks"]] == [
        ("C1", batch.number, "12.5", ["12"])
    ]
    assert [x["supply"]["short"] for x in shown["lacking"]] == ["2"]
    assert api(mechanic).get(f"cards/{card.pk}/picking-list-pdf/").content[:4] == b"%PDF"
    assert api(mechanic).get(f"cards/{10**9}/picking-list/").status_code == 404


def test_an_empty_list_says_so(client, mechanic, card, text):
    client.force_login(mechanic)
    assert "Nothing is to be fetched for this card now." in text(client.get(f"/cards/{card.pk}/picking/"))
    assert client.get(f"/cards/{card.pk}/picking.pdf").status_code == 200


def test_it_asks_no_more_for_more_parts(office, stores, card, fit):
    def grown(n):
        some = part(stores, f"PKG-{n:03}", "Packing")
        lot(stores, some.pk, "5", at=bin_(stores, f"B{n}", at=card.site))
        need(office, fit, some, "2")

    def asked():
        with CaptureQueriesContext(connection) as queries:
            picking.picking_list(card)
        return len(queries)

    grown(1)
    few = asked()
    for n in range(2, 12):
        grown(n)
    assert asked() == few <= 9
