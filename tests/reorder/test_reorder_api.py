"""The API of ordering."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.buying import actions as buying_actions
from inventory.buying.models import OrderLine
from inventory.reorder import supply
from inventory.reorder.models import Proposal, ReorderRule
from shop.kernel import clock
from shop.trail import outbox
from shop.trail.models import TrailRow
from tests.factories import buying, moments
from tests.factories.reorder import a_proposal, part_with_a_past, run

pytestmark = pytest.mark.django_db


def test_ask_look_and_order(api, stores):
    made = part_with_a_past(stores, left="0")
    client = api(stores)
    assert client.post("reorder-runs/", {}).status_code == 201
    assert client.get("reorder-proposals/").json()["items"] == []
    outbox.drain()
    (row,) = client.get("reorder-proposals/").json()["items"]
    assert (row["part_id"], row["part_number"], row["unit"], row["state"]) == (made.pk, "GKT-041", "C62", "open")
    assert row["reason"].startswith("Order ")
    assert row["price"] == "4.20"
    (last,) = client.get("reorder-runs/").json()["items"]
    assert (last["proposed"], last["by_id"], row["run_id"]) == (1, stores.pk, last["id"])
    done = client.post(f"reorder-proposals/{row['id']}/order/", {"quantity": "12"})
    assert done.status_code == 200
    assert (done.json()["state"], done.json()["quantity"]) == ("ordered", "12")
    assert client.get("reorder-proposals/").json()["items"] == []
    assert len(client.get("reorder-proposals/", state="ordered").json()["items"]) == 1
    told = TrailRow.objects.get(verb="proposal.ordered")
    assert (told.by, told.detail["quantity"]) == (stores, "12")


def test_put_off_until_a_day(api, stores):
    row = a_proposal(stores, left="0")
    client = api(stores)
    until = clock.today() + timedelta(days=10)
    put = client.post(
        f"reorder-proposals/{row.pk}/put-off/", {"note": "Price list next week.", "until": until.isoformat()}
    )
    assert put.json()["state"] == "put-off"
    assert run().proposed == 0
    with clock.at(moments.away(10)):
        assert run().proposed == 1
    again = client.post(f"reorder-proposals/{row.pk}/order/", {})
    assert again.status_code == 409
    assert "Tamsin Roe has put off until" in again.json()["detail"]


@pytest.mark.parametrize(
    ("verb", "body", "field"),
    [
        ("order", {"quantity": "0"}, "quantity"), ("order", {"quantity": "1.5"}, "quantity"),
        ("put-off", {"note": ""}, "note"), ("put-off", {"note": "x", "until": "2020-01-01"}, "until"),
        ("put-off", {}, "note"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_and_nothing_is_decided(api, stores, verb, body, field):
    row = a_proposal(stores, left="0")
    answer = api(stores).post(f"reorder-proposals/{row.pk}/{verb}/", body)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"].strip("/") == field
    row.refresh_from_db()
    assert row.state == "open"


def test_a_proposal_that_a_newer_run_replaced_says_so(api, stores):
    row = a_proposal(stores, left="0")
    run()
    answer = api(stores).post(f"reorder-proposals/{row.pk}/order/", {})
    assert answer.status_code == 404
    assert "a newer run took its place" in answer.json()["detail"]


def test_rules(api, owner, stores):
    made = part_with_a_past(stores, left="0")
    client = api(owner)
    shop = client.post("reorder-rules/", {"service_percent": "90", "budget": "500"})
    assert shop.status_code == 201
    kind = client.post("reorder-rules/", {"kind": "gasket", "lead_days": 21})
    one = client.post("reorder-rules/", {"part_id": made.pk, "for_cards_only": True})
    assert (kind.json()["kind"], one.json()["part_id"]) == ("gasket", made.pk)
    assert client.post("reorder-rules/", {"kind": "gasket"}).status_code == 409
    where = f"reorder-rules/{kind.json()['id']}/"
    edited = client.patch(where, {"lead_days": None})
    assert edited.json()["lead_days"] is None
    assert ReorderRule.objects.count() == 3


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"service_percent": "100"}, "service_percent"), ({"service_percent": "20"}, "service_percent"),
        ({"holding_percent": "0"}, "holding_percent"), ({"kind": "gasket", "budget": "9"}, "budget"),
        ({"lead_days": 900}, "lead_days"), ({"kind": "colour"}, "kind"),
    ],
)  # fmt: skip
def test_rules_that_make_no_sense(api, owner, body, field):
    answer = api(owner).post("reorder-rules/", body)
    assert answer.status_code == 400
    assert field in answer.json()["errors"][0]["pointer"]
    assert not ReorderRule.objects.exclude(version=1).exists()


def test_twice_as_many_take_no_more_statements(api, stores):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = api(stores)

    def counted() -> int:
        client.get("reorder-proposals/")
        with CaptureQueriesContext(connection) as seen:
            assert client.get("reorder-proposals/").status_code == 200
        return len(seen)

    for n in range(2):
        part_with_a_past(stores, f"GKT-{n}", past=(2, 3, 1, 2, 4, 1), left="0")
    run()
    few = counted()
    for n in range(2, 5):
        part_with_a_past(stores, f"GKT-{n}", past=(2, 3, 1, 2, 4, 1), left="0")
    run()
    assert Proposal.objects.count() == 5
    assert counted() == few


def test_mechanics_see_none_of_it(api, mechanic):
    assert api(mechanic).get("reorder-proposals/").status_code == 403


def test_what_a_supplier_offers_is_proposed_and_ordered_from_it(api, stores):
    part = part_with_a_past(stores, left="0")
    buying.offer(stores, part, ("1", "21.00"), ("4", "19.00"), package="box", content=Decimal(5), content_unit="C62")
    run()
    client = api(stores)
    (row,) = client.get("reorder-proposals/").json()["items"]
    assert row["supplier_id"] == buying.mailable(stores).pk
    assert Decimal(row["quantity"]) % 5 == 0, "whole boxes"
    assert client.post(f"reorder-proposals/{row['id']}/order/", {}).status_code == 200
    line = OrderLine.objects.get(part=part)
    assert (line.quantity, line.order.sent_at) == (Decimal(row["quantity"]), None)
    assert Proposal.objects.get(pk=row["id"]).ordered_as == "draft order to Gullhaven Seals"
    assert run().proposed == 1, "a draft is not ordered yet"


def test_what_is_on_its_way_is_not_proposed_again(stores):
    part = part_with_a_past(stores, left="0")
    assert run().proposed == 1
    order = buying.sent(stores, part, "60")
    assert run().proposed == 0
    buying_actions.close_order(order.pk, None, by=stores, reason="Out of print")
    assert run().proposed == 1


def test_without_a_supplier_it_is_ordered_by_hand(api, stores):
    row = a_proposal(stores, left="0")
    api(stores).post(f"reorder-proposals/{row.pk}/order/", {})
    row.refresh_from_db()
    assert row.ordered_as == "by hand"


def test_days_that_deliveries_took_count_more_than_those_promised(stores):
    part = part_with_a_past(stores, left="0")
    made = buying.offer(stores, part, lead_days=3)
    assert supply.sources()[part.pk].days == [(3, 1)]
    with clock.at(moments.away(-20)):
        order = buying.sent(stores, part, "2")
    buying.received(stores, order)
    source = supply.sources()[part.pk]
    assert (source.supplier_id, source.observed, source.days) == (made.supplier_id, True, [(20, 1), (20, 1)])
