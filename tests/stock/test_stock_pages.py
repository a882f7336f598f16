from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.stock import actions, queries
from inventory.stock.models import Balance, Bin, Lot, Movement, Reservation, StockLevel
from shop.kernel import clock
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client, stores):
    client.force_login(stores)
    return client


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def text_of(answer) -> str:
    return answer.content.decode()


def test_receive_by_typed_codes(desk, gasket, shelf):
    url = reverse("stock:receive")
    fields = {"part": "gkt-041", "bin": "a3-02", "quantity": "5", "unit_cost": "4.20", "source": "Gullhaven, note 114"}
    answer = post(desk, url, **fields)
    lot = Lot.objects.get()
    assert (answer.status_code, answer["Location"]) == (303, reverse("stock:lot", args=[lot.pk]))
    shown = text_of(desk.get(answer["Location"]))
    assert "Gullhaven, note 114" in shown
    assert "€4.20" in shown
    once = str(uuid.uuid4())
    for _ in range(2):
        desk.post(url, fields | {"once": once})
    assert Lot.objects.count() == 2


def test_a_gs1_code_brings_batch_and_expiry(desk, stores, shelf):
    part = made_parts.sealant(stores, barcode="4006381333931")
    code = "(01)04006381333931(17)281231(10)K7"
    post(desk, reverse("stock:receive"), part=code, bin="A3-02", quantity="70", unit_cost="0.2")
    lot = Lot.objects.get()
    assert (lot.part_id, lot.batch, str(lot.expires_on)) == (part.pk, "K7", "2028-12-31")


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("part", "GKT-999", "no part with this number"), ("part", "(01)123", "characters"), ("bin", "Z9", "no bin with this code"),
        ("quantity", "0", "above zero"), ("quantity", "0.5", "whole numbers"), ("quantity", "five", "not a number"),
        ("unit_cost", "-1", "Give 0 or more."), ("expires_on", "2020-01-01", "expired on 2020-01-01"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_nothing_is_lost(desk, gasket, shelf, field, value, says):
    fields = {"part": "GKT-041", "bin": "A3-02", "quantity": "5", "unit_cost": "4.20", "source": "note 114"}
    answer = post(desk, reverse("stock:receive"), **fields | {field: value})
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert "note 114" in text_of(answer)
    assert not Movement.objects.exists()


def test_a_code_at_two_sites_asks_which(desk, stores, gasket, shelf):
    made.bin_(stores, "A3-02", at=made.site("FARM"))
    fields = {"part": "GKT-041", "quantity": "5", "unit_cost": "1"}
    assert "FARM/A3-02" in text_of(post(desk, reverse("stock:receive"), bin="A3-02", **fields))
    post(desk, reverse("stock:receive"), bin="farm/A3-02", **fields)
    assert Movement.objects.get().site.code == "FARM"


def test_move_scrap_and_open_from_the_place(desk, stores, sealant, shelf):
    lot = made.lot(stores, sealant.pk, "140")
    tray = made.bin_(stores, "T12", "tray")
    here = [lot.pk, shelf.pk]
    assert desk.get(reverse("stock:place", args=here)).status_code == 200
    moved = post(desk, reverse("stock:transfer", args=here), **{"move-to_bin": "T12", "move-quantity": "70"})
    assert moved["Location"] == reverse("stock:place", args=[lot.pk, tray.pk])
    refused = post(desk, reverse("stock:transfer", args=here), **{"move-to_bin": "T12", "move-quantity": "71"})
    assert refused.status_code == 422
    assert "Only 70 ml" in text_of(refused)
    post(desk, reverse("stock:open", args=here), **{"open-quantity": "20"})
    assert Lot.objects.filter(opened_from=lot).exists()
    assert post(desk, reverse("stock:scrap", args=here), **{"scrap-quantity": "5"}).status_code == 422
    post(desk, reverse("stock:scrap", args=here), **{"scrap-quantity": "5", "scrap-reason": "dried out"})
    assert Balance.objects.get(lot=lot, bin=shelf).on_hand == 45
    assert desk.get(reverse("stock:scrap", args=here)).status_code == 302


def test_count_a_bin_blind_and_look_twice(desk, stores, gasket, sealant, shelf):
    one, two = made.lot(stores, gasket.pk, "7"), made.lot(stores, sealant.pk, "70")
    url = reverse("stock:count", args=[shelf.pk])
    blank = text_of(desk.get(url))
    assert 'value="7"' not in blank
    assert "Why it differs" not in blank
    counted = {f"lot_{one.pk}": "6", f"lot_{two.pk}": "70"}
    answer = post(desk, url, **counted)
    assert answer.status_code == 422
    assert "By the ledger 7 lie there" in text_of(answer)
    assert "Why it differs" in text_of(answer)
    assert not Movement.objects.filter(kind="count").exists()
    assert post(desk, url, **counted, reason="one was torn").status_code == 303
    assert [(m.lot_id, m.quantity) for m in Movement.objects.filter(kind="count")] == [(one.pk, D(-1))]
    missing = post(desk, url, **{f"lot_{one.pk}": "6"})
    assert missing.status_code == 422


def test_bins(desk, stores, gasket, site):
    answer = post(desk, reverse("stock:add-bin"), site=site.pk, code="B7", kind="shelf", name="Rings")
    bin_ = Bin.objects.get()
    assert answer["Location"] == reverse("stock:bin", args=[bin_.pk])
    edit = reverse("stock:edit-bin", args=[bin_.pk])
    fields = {"code": "B7", "kind": "shelf", "version": "1"}
    assert post(desk, edit, **fields, name="Piston rings").status_code == 303
    stale = post(desk, edit, **fields, name="Ring sets")
    assert stale.status_code == 422
    assert "Piston rings" in text_of(stale)
    assert post(desk, reverse("stock:add-bin"), site=site.pk, code="b7", kind="shelf").status_code == 422
    made.lot(stores, gasket.pk, at=bin_)
    post(desk, reverse("stock:archive-bin", args=[bin_.pk]))
    assert "GKT-041" in text_of(desk.get(reverse("stock:bin", args=[bin_.pk])))
    bin_.refresh_from_db()
    assert bin_.archived_at is None


def test_the_page_of_a_part_shows_where_it_lies_and_for_whom(desk, client, stores, mechanic, gasket, shelf, site):
    made.lot(stores, gasket.pk, "5", "4.20")
    kept = actions.reserve(by=stores, part_id=gasket.pk, site_id=site.pk, quantity=D(2), label="card 26-0031")
    url = reverse("parts:part", args=[gasket.pk])
    shown = text_of(desk.get(url))
    for words in ("A3-02", "card 26-0031", "€4.20", "Receipt", "Free it"):
        assert words in shown
    post(desk, reverse("stock:release", args=[kept.pk]))
    assert Reservation.objects.get().ended_at
    client.force_login(mechanic)
    shown = text_of(client.get(url))
    assert "A3-02" in shown
    assert "4.20" not in shown
    assert "21.00" not in shown


def test_what_expires_soon(desk, stores, sealant, shelf):
    made.lot(stores, sealant.pk, "70", expires_on=clock.today() + timedelta(days=9), batch="K7")
    made.lot(stores, sealant.pk, "70", expires_on=clock.today() + timedelta(days=90))
    assert text_of(desk.get(reverse("stock:expiring"))).count("SEA-070") == 1


def test_a_mechanic_looks_and_moves_nothing(client, mechanic, stores, gasket, shelf):
    lot = made.lot(stores, gasket.pk, "5", "4.20")
    client.force_login(mechanic)
    here = [lot.pk, shelf.pk]
    looks = [
        reverse("stock:list"), reverse("stock:bins"), reverse("stock:movements"), reverse("stock:expiring"),
        reverse("stock:lot", args=[lot.pk]), reverse("stock:place", args=here), reverse("stock:bin", args=[shelf.pk]),
    ]  # fmt: skip
    for url in looks:
        answer = client.get(url)
        assert answer.status_code == 200
        assert "4.20" not in text_of(answer)
        assert "21.00" not in text_of(answer)
    for name in ("transfer", "scrap", "open"):
        assert post(client, reverse(f"stock:{name}", args=here)).status_code == 403
    assert client.get(reverse("stock:receive")).status_code == 403
    assert client.get(reverse("stock:count", args=[shelf.pk])).status_code == 403
    assert StockLevel.objects.get().on_hand == 5


@pytest.mark.parametrize("name", ["parts:list", "stock:list", "stock:bins", "stock:movements", "stock:expiring"])
def test_lists_ask_the_database_as_often_for_many_as_for_few(desk, stores, name):
    def fill(start, end):
        for n in range(start, end):
            part = made_parts.sealant(stores, f"SEA-{n}")
            until = clock.today() + timedelta(days=9)
            made.lot(stores, part.pk, at=made.bin_(stores, f"B{n}"), expires_on=until)

    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert desk.get(reverse(name)).status_code == 200
        return len(asked)

    fill(0, 3)
    queries()
    few = queries()
    fill(3, 9)
    assert queries() == few <= 7  # one of them counts the alerts for the menu


def test_search_and_filter(desk, stores, gasket, sealant, shelf):
    made.lot(stores, gasket.pk)
    made.lot(stores, sealant.pk, "70")
    shown = text_of(desk.get(reverse("stock:list"), {"text": "head"}))
    assert "GKT-041" in shown
    assert "SEA-070" not in shown
    shown = text_of(desk.get(reverse("stock:movements"), {"part": "SEA-070", "kind": "receipt"}))
    assert "SEA-070" in shown
    assert "GKT-041" not in shown


def test_a_serial_number_leads_to_its_piece(stores, shelf):
    pump = made_parts.part(stores, "PMP-9")
    lot = made.lot(stores, pump.pk, "1", "240", serial_no="RW-1530")
    assert queries.by_code("rw-1530") == (pump, lot)
    actions.scrap(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(1), reason="cracked")
    assert queries.by_code("RW-1530") == (None, None)
