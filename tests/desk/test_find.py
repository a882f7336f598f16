"""One box for everything, and where a scanned code leads."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.factories.desk import scene
from tests.factories.machines import customer, machine
from tests.factories.stock import lot

pytestmark = pytest.mark.django_db


def test_a_whole_card_number_goes_straight_there(at, office, shop):
    for typed in (shop.card.number, f"C{shop.card.number}", f" c{shop.card.number} "):
        answer = at(office).get("/find/", {"q": typed})
        assert answer["Location"] == f"/cards/{shop.card.pk}/", typed


def test_the_running_number_alone_finds_the_card(at, office, shop, text):
    short = str(int(shop.card.number.partition("-")[2]))
    page = text(at(office).get("/find/", {"q": short}))
    assert shop.card.number in page
    assert "Brindlecote B2" in page


def test_a_name_finds_customer_machine_and_open_card(at, office, shop, text):
    page = text(at(office).get("/find/", {"q": "quill"}))
    assert "Mara Quill" in page
    assert "+353 00 555 0142" in page
    assert f"Open: {shop.card.number}" in page


def test_a_mechanic_finds_the_card_by_its_customer_but_sees_no_list_of_customers(at, mechanic, shop, text):
    page = text(at(mechanic).get("/find/", {"q": "quill"}))
    assert shop.card.number in page
    assert "Customers" not in page
    assert "555 0142" not in page


def test_a_serial_number_goes_to_its_machine_unless_two_have_it(at, office, shop):
    engine = shop.card.machine
    assert at(office).get("/find/", {"q": engine.serial_no})["Location"] == f"/machines/{engine.pk}/"
    machine(customer(), serial_no=engine.serial_no, despite_duplicates=True)
    answer = at(office).get("/find/", {"q": engine.serial_no})
    assert answer.status_code == 200
    assert answer.content.decode().count(engine.serial_no) >= 2


def test_parts_are_found_by_their_words(at, stores, shop, text):
    page = text(at(stores).get("/find/", {"q": "head gask"}))
    assert "GKT-041" in page


def test_nothing_fits_says_what_to_try(at, office, shop, text):
    page = text(at(office).get("/find/", {"q": "zebra"}))
    assert "Nothing fits" in page
    assert "Take a machine in" in page


@pytest.mark.parametrize("typed", ["", " ", "%", "_", "'", '"><script>', "\x00", "9" * 500, "ü" * 300, "\u202e26-0031"])
def test_odd_input_is_looked_for_like_any_other(at, office, shop, typed):
    answer = at(office).get("/find/", {"q": typed})
    assert answer.status_code == 200
    assert "<script>" not in answer.content.decode().split("<main")[1]


def test_scans_lead_to_what_they_name(at, mechanic, shop):
    browser = at(mechanic)
    engine, gasket = shop.card.machine, shop.gasket
    lot = gasket.lots.get()
    leads = {
        f"C{shop.card.number}": f"/cards/{shop.card.pk}/",
        engine.serial_no: f"/machines/{engine.pk}/",
        "4006381333931": f"/parts/{gasket.pk}/",
        "gkt-041": f"/parts/{gasket.pk}/",
        "]C10104006381333931": f"/parts/{gasket.pk}/",
        lot.number: f"/stock/lots/{lot.pk}/",
        shop.shelf.code: f"/stock/bins/{shop.shelf.pk}/",
    }
    for code, where in leads.items():
        assert browser.get("/scan/", {"code": code})["Location"] == where, code


def test_a_bins_code_is_one_hit_among_others(at, stores, shop, text):
    """ "B2" may be half of a machine's name."""
    answer = at(stores).get("/find/", {"q": shop.shelf.code})
    assert answer.status_code == 200
    assert f"Bin {shop.shelf.code}" in text(answer)


def test_a_gs1_code_with_a_batch_leads_to_its_lot(at, stores, shop):
    batch = lot(stores, shop.gasket.pk, "2", at=shop.shelf, batch="B77")
    answer = at(stores).get("/scan/", {"code": "]C1010400638133393110B77"})
    assert answer["Location"] == f"/stock/lots/{batch.pk}/"


def test_an_unknown_code_says_so(at, mechanic, shop, text):
    answer = at(mechanic).get("/scan/", {"code": "NO-SUCH-9"})
    assert "The code NO-SUCH-9 is not known here" in text(answer)
    assert 'data-scan-unknown="NO-SUCH-9"' in answer.content.decode()


def test_the_number_of_queries_does_not_grow(at, office, shop):
    def count():
        with CaptureQueriesContext(connection) as queries:
            assert at(office).get("/find/", {"q": "brindlecote"}).status_code == 200
        return len(queries)

    count()
    first = count()
    scene(), scene()
    assert count() == first
