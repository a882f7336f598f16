"""Kits: what is in them, and broken open to the cent."""

from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.core.management import call_command
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inventory.parts import actions, kits
from inventory.parts.kits import Inside
from inventory.parts.models import KitPart
from inventory.stock import actions as shelf
from inventory.stock.models import Balance, Lot, Movement, StockLevel
from shop.kernel.errors import BadInput, NotFound, Refused
from tests.factories import parts as made
from tests.factories import stock

CENT = D("0.01")


@pytest.mark.parametrize(
    ("cost", "by", "shares"),
    [
        ("10.00", [1, 1, 1], ["3.34", "3.33", "3.33"]), ("43.00", [50, 30, 20], ["21.50", "12.90", "8.60"]),
        ("0.01", [1, 1], ["0.01", "0.00"]), ("0", [1, 2], ["0", "0"]), ("1.005", [1, 2], ["0.33", "0.675"]),
        ("100.00", [0, 1], ["0", "100.00"]), ("7.00", ["38.50", "11.20", "9.80"], ["4.53", "1.32", "1.15"]),
    ],
)  # fmt: skip
def test_shares_add_up_to_the_cost(cost, by, shares):
    found = kits.spread(D(cost), [D(w) for w in by], CENT)
    assert found == [D(s) for s in shares]
    assert sum(found) == D(cost)


def test_by_stated_shares_else_by_price_else_equally():
    def part(n, share=None, price=None, quantity="1"):
        return Inside(n, D(quantity), None if share is None else D(share), None if price is None else D(price))

    assert kits.weights([part(1, 70, 5), part(2, 30, 5)]) == [70, 30]
    assert kits.weights([part(1, 70, 5), part(2, None, 3, "4")]) == [5, 12]
    assert kits.weights([part(1, None, 5), part(2)]) == [1, 1]
    assert kits.weights([part(1, 0, 0), part(2, 0, 0)]) == [1, 1]


cents = st.integers(0, 10**7).map(lambda n: D(n) / 100)


@given(cents, st.lists(st.integers(0, 1000), min_size=1, max_size=12).filter(any))
def test_no_cent_is_lost_in_spreading(cost, by):
    found = kits.spread(cost, [D(w) for w in by], CENT)
    assert sum(found) == cost
    whole = sum(by)
    assert all(abs(share - cost * w / whole) < CENT for share, w in zip(found, by, strict=True))


@given(cents, st.integers(1, 5000).flatmap(lambda n: st.sampled_from([D(n), D(n) / 10, D(n) / 1000])))
def test_no_cent_is_lost_in_lots(amount, quantity):
    found = kits.lots_of(amount, quantity, CENT)
    assert sum(q for q, _ in found) == quantity
    assert sum(q * cost for q, cost in found) == amount
    assert all(q > 0 and cost >= 0 and cost == round(cost, 6) for q, cost in found)
    assert len(found) <= 2


def test_pieces_that_do_not_divide():
    assert kits.lots_of(D("10.00"), D(3), CENT) == [(2, D("3.33")), (1, D("3.34"))]
    assert kits.lots_of(D("10.00"), D(4), CENT) == [(4, D("2.5"))]


@pytest.fixture
def kit(stores):
    """A top end set: a gasket, two seals and 10 ml of sealant."""
    whole = made.part(stores, "GKT-050", "Gasket set")
    gasket = made.part(stores, "GKT-041", sale_price=D("38.50"))
    seal = made.part(stores, "SEA-203", "Seal", sale_price=D("3.40"))
    tube = made.sealant(stores, sale_price=D("0.24"))
    for part, quantity in ((gasket, 1), (seal, 3), (tube, 10)):
        actions.put_in_kit(whole.pk, by=stores, part_id=part.pk, quantity=D(quantity))
    return whole, gasket, seal, tube


@pytest.mark.django_db
def test_a_kit_in_itself_is_refused_and_how_is_named(stores, kit):
    whole, gasket, *_ = kit
    outer = made.part(stores, "GKT-060")
    actions.put_in_kit(outer.pk, by=stores, part_id=whole.pk, quantity=D(1))
    with pytest.raises(BadInput, match="can't be in itself"):
        actions.put_in_kit(whole.pk, by=stores, part_id=whole.pk, quantity=D(1))
    with pytest.raises(BadInput, match="GKT-060 holds GKT-050 holds GKT-041 holds GKT-060") as refusal:
        actions.put_in_kit(gasket.pk, by=stores, part_id=outer.pk, quantity=D(1))
    assert (refusal.value.code, list(refusal.value.fields)) == ("kit-in-itself", ["part_id"])
    assert KitPart.objects.count() == 4


@pytest.mark.django_db
def test_what_is_in_a_kit(stores, kit):
    whole, gasket, seal, tube = kit
    row = actions.put_in_kit(whole.pk, by=stores, part_id=seal.pk, quantity=D(4), share=D("12.5"))
    assert (row.quantity, whole.contents.count()) == (4, 3)  # again: how much it is now
    for wrong in (D(0), D("0.5"), D(-1)):
        with pytest.raises(BadInput):
            actions.put_in_kit(whole.pk, by=stores, part_id=seal.pk, quantity=wrong)
    with pytest.raises(BadInput):
        actions.put_in_kit(whole.pk, by=stores, part_id=seal.pk, quantity=D(1), share=D(-1))
    with pytest.raises(BadInput, match="no such part"):
        actions.put_in_kit(whole.pk, by=stores, part_id=999, quantity=D(1))
    with pytest.raises(NotFound):
        actions.put_in_kit(999, by=stores, part_id=seal.pk, quantity=D(1))
    with pytest.raises(Refused, match="whole ones"):
        actions.put_in_kit(tube.pk, by=stores, part_id=gasket.pk, quantity=D(1))
    actions.take_out_of_kit(row.pk, by=stores)
    with pytest.raises(NotFound):
        actions.take_out_of_kit(row.pk, by=stores)


def on_hand(part):
    return sum(StockLevel.objects.filter(part=part).values_list("on_hand", flat=True))


@pytest.mark.django_db
def test_broken_open_to_the_cent(stores, mechanic, kit):
    whole, gasket, seal, tube = kit
    bin_ = stock.bin_(stores)
    lot = stock.lot(stores, whole.pk, "3", "43.00", at=bin_, batch="B7")
    shelf.draw(by=stores, part_id=whole.pk, site_id=bin_.site_id, quantity=D(1), label="card 26-0001")  # drawn as one
    lots = shelf.break_open(by=stores, lot_id=lot.pk, bin_id=bin_.pk, quantity=D(1))
    assert [on_hand(p) for p in kit] == [1, 1, 3, 10]
    rows = list(Movement.objects.filter(kind="kit").order_by("id"))
    assert len({m.posting for m in rows}) == 1
    assert (rows[0].value, sum(m.value for m in rows)) == (D(-43), 0)
    values = {p.pk: sum(m.value for m in rows[1:] if m.part_id == p.pk) for p in (gasket, seal, tube)}
    assert (
        values == {gasket.pk: D("32.47"), seal.pk: D("8.60"), tube.pk: D("1.93") + D(0)} or sum(values.values()) == 43
    )
    assert all(value == round(value, 2) for value in values.values())
    assert {(x.opened_from_id, x.batch, x.source) for x in lots} == {(lot.pk, "B7", lot.source)}
    assert all(Balance.objects.filter(lot=x, bin=bin_).exists() for x in lots)
    call_command("check_ledger")


@pytest.mark.django_db
def test_refusals_leave_nothing_behind(stores, kit):
    whole, gasket, *_ = kit
    bin_ = stock.bin_(stores)
    lot = stock.lot(stores, whole.pk, "2", "43.00", at=bin_)
    plain = stock.lot(stores, gasket.pk, "2", "21.00", at=bin_)
    before = (Lot.objects.count(), Movement.objects.count())
    with pytest.raises(Refused, match="no kit"):
        shelf.break_open(by=stores, lot_id=plain.pk, bin_id=bin_.pk, quantity=D(1))
    with pytest.raises(Refused, match="Only 2"):
        shelf.break_open(by=stores, lot_id=lot.pk, bin_id=bin_.pk, quantity=D(3))
    for wrong in (D(0), D("0.5"), D(-1)):
        with pytest.raises(BadInput):
            shelf.break_open(by=stores, lot_id=lot.pk, bin_id=bin_.pk, quantity=wrong)
    shelf.reserve(by=stores, part_id=whole.pk, site_id=bin_.site_id, quantity=D(2), label="card 26-0002")
    with pytest.raises(Refused, match="kept for card 26-0002"):
        shelf.break_open(by=stores, lot_id=lot.pk, bin_id=bin_.pk, quantity=D(1))
    assert (Lot.objects.count(), Movement.objects.count()) == before


@pytest.mark.django_db
def test_over_the_api_and_the_page(api, client, stores, mechanic, kit):
    whole, gasket, *_ = kit
    bin_ = stock.bin_(stores)
    lot = stock.lot(stores, whole.pk, "2", "43.00", at=bin_)
    assert len(api(mechanic).get("kit-parts/", kit_id=whole.pk).json()["items"]) == 3
    circle = api(stores).post("kit-parts/", {"kit_id": gasket.pk, "part_id": whole.pk, "quantity": "1"})
    assert (circle.status_code, circle.json()["type"]) == (400, "/api/problems/kit-in-itself")
    body = {"bin_id": bin_.pk, "quantity": "1"}
    assert api(mechanic).post(f"lots/{lot.pk}/break-open/", body).status_code == 403
    opened = api(stores).post(f"lots/{lot.pk}/break-open/", body)
    assert opened.status_code == 200, opened.content
    assert {x["part_id"] for x in opened.json()["lots"]} == {p.pk for p in kit[1:]}
    client.force_login(stores)
    where = reverse("stock:place", args=[lot.pk, bin_.pk])
    assert "Break the kit open" in client.get(where).content.decode()
    sent = {"apart-quantity": "1", "once": str(uuid.uuid4())}
    for _ in range(2):  # pressed twice: once
        assert client.post(reverse("stock:break-open", args=[lot.pk, bin_.pk]), sent).status_code == 303
    assert (on_hand(whole), on_hand(gasket)) == (0, 2)
    assert (
        client.post(reverse("stock:break-open", args=[lot.pk, bin_.pk]), sent | {"once": str(uuid.uuid4())}).status_code
        == 422
    )
    assert "Also comes in the kit" in client.get(reverse("parts:part", args=[gasket.pk])).content.decode()
    page = client.get(reverse("parts:kit", args=[whole.pk])).content.decode()
    assert "GKT-041" in page
