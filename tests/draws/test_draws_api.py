"""Parts of a card over the API, as mechanic and stores meet them."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock import actions as shelf
from inventory.stock.models import Lot, Movement, Reservation, StockLevel
from jobs.cards import actions as cards
from jobs.draws import queries
from jobs.draws.models import Draw
from jobs.plans.models import PlanPart
from shop.kernel import clock
from tests.factories.cards import a_card, a_plan, a_stage

pytestmark = pytest.mark.django_db


def draw(client, stage, part, quantity="1", **more):
    return client.post("draws/", {"stage_id": stage.pk, "part_id": part.pk, "quantity": quantity, **more})


def on_hand(part):
    return StockLevel.objects.get(part=part).on_hand


def test_draw_fit_and_return(api, mechanic, stage, gasket):
    client = api(mechanic)
    drawn = draw(client, stage, gasket, "2")
    assert drawn.status_code == 201, drawn.content
    assert drawn.json()["quantity"] == "2"
    row = drawn.json()["draws"][0]
    assert row["cost"] is None  # a mechanic never sees what it cost
    assert on_hand(gasket) == 1
    assert client.post(f"draws/{row['id']}/fit/", {"quantity": "1"}).json()["fitted"] == "1"
    back = client.post(f"draws/{row['id']}/return/", {"quantity": "1"})
    assert back.status_code == 200, back.content
    assert on_hand(gasket) == 2
    again = client.post(f"draws/{row['id']}/return/", {"quantity": "1"})
    assert again.status_code == 400
    assert "0 are in hand" in again.json()["detail"]
    assert on_hand(gasket) == 2


def test_stores_see_the_cost(api, stores, stage, gasket):
    assert draw(api(stores), stage, gasket).json()["draws"][0]["cost"] == "21.40"


def test_a_trial_fit_spends_the_gasket_and_asks_for_another(api, mechanic, stage, gasket):
    client = api(mechanic)
    client.post("needs/", {"stage_id": stage.pk, "part_id": gasket.pk, "quantity": "1"})
    row = draw(client, stage, gasket).json()["draws"][0]
    trial = client.post(f"draws/{row['id']}/trial-fit/", {"quantity": "1", "note": "checking squish"}).json()
    assert trial["spent"] == "1"
    need = client.get("needs/", card_id=stage.card_id).json()["items"][0]
    assert (need["quantity"], need["drawn"]) == ("2", "1")
    assert client.post(f"draws/{row['id']}/return/", {"quantity": "1"}).status_code == 400


def test_a_fitted_single_use_part_that_comes_off_is_spent(api, mechanic, stage, gasket):
    client = api(mechanic)
    row = draw(client, stage, gasket).json()["draws"][0]
    client.post(f"draws/{row['id']}/fit/", {"quantity": "1"})
    off = client.post(f"draws/{row['id']}/take-off/", {"quantity": "1"}).json()
    assert (off["fitted"], off["spent"]) == ("0", "1")
    assert client.get("needs/", card_id=stage.card_id).json()["items"][0]["quantity"] == "1"


def test_a_press_by_mistake_is_corrected_with_a_reason(api, mechanic, stage, gasket):
    client = api(mechanic)
    row = draw(client, stage, gasket).json()["draws"][0]
    client.post(f"draws/{row['id']}/fit/", {"quantity": "1"})
    assert client.post(f"draws/{row['id']}/not-fitted/", {"quantity": "1"}).status_code == 400
    undone = client.post(f"draws/{row['id']}/not-fitted/", {"quantity": "1", "note": "wrong line"})
    assert (undone.json()["fitted"], undone.json()["spent"]) == ("0", "0")


def test_millilitres_out_of_a_tube(api, mechanic, stage, tube):
    client = api(mechanic)
    assert draw(client, stage, tube, "12").json()["quantity"] == "12"
    assert on_hand(tube) == 58
    assert queries.used(stage.card_id)[0]["cost"] == Decimal("1.38")  # 12 x 0.115


def test_no_more_than_is_free_and_it_says_who_has_it(api, mechanic, stores, office, stage, gasket):
    other = a_stage(a_card(office), "Fit head", kind="assemble")
    need = api(stores).post("needs/", {"stage_id": other.pk, "part_id": gasket.pk, "quantity": "2"}).json()
    kept = api(stores).post(f"needs/{need['id']}/keep/").json()
    assert kept["kept"] == "2"
    refused = draw(api(mechanic), stage, gasket, "2")
    assert refused.status_code == 409
    assert other.card.number in refused.json()["detail"]
    assert "A3-02" in refused.json()["detail"]
    assert on_hand(gasket) == 3
    assert draw(api(mechanic), stage, gasket, "1").status_code == 201
    own = draw(api(mechanic), other, gasket, "2")
    assert own.status_code == 201, own.content
    assert StockLevel.objects.get(part=gasket).reserved == 0


def test_nothing_chargeable_is_drawn_without_the_go_ahead(api, mechanic, card, gasket):
    stage = a_stage(card, "Fit head", kind="assemble", needs_go_ahead=True)
    refused = draw(api(mechanic), stage, gasket)
    assert (refused.status_code, refused.json()["type"]) == (409, "/api/problems/go-ahead-missing")
    assert not Movement.objects.filter(kind="draw").exists()


def test_needs_change_and_go(api, office, mechanic, stage, gasket):
    client = api(office)
    need = client.post("needs/", {"stage_id": stage.pk, "part_id": gasket.pk, "quantity": "1"}).json()
    more = client.post("needs/", {"stage_id": stage.pk, "part_id": gasket.pk, "quantity": "1"}).json()
    assert (more["id"], more["quantity"]) == (need["id"], "2")
    client.post(f"needs/{need['id']}/keep/")
    draw(api(mechanic), stage, gasket)
    low = client.patch(f"needs/{need['id']}/", {"quantity": "0.5"})
    assert low.status_code == 400
    changed = client.patch(f"needs/{need['id']}/", {"quantity": "1"})
    assert (changed.json()["quantity"], changed.json()["kept"]) == ("1", "0")
    assert client.delete(f"needs/{need['id']}/").status_code == 409


def test_a_plan_brings_its_parts(api, office, gasket, card):
    top = a_plan()
    PlanPart.objects.create(stage=top.stages.get(name="Fit rings"), part=gasket, quantity="1")
    opened = api(office).post("cards/", {"machine_id": card.machine_id, "complaint": "Leaks", "plan_ids": [top.pk]})
    assert opened.status_code == 201, opened.content
    listed = api(office).get("needs/", card_id=opened.json()["id"]).json()["items"]
    assert [(n["part_number"], n["quantity"]) for n in listed] == [("GKT-041", "1")]


@pytest.mark.parametrize("quantity", ["0", "-1", "NaN", "Infinity", "1e3", "0.5", "99999999999", 1, None])
def test_quantities_that_make_no_sense(api, mechanic, stage, gasket, quantity):
    answer = api(mechanic).post("draws/", {"stage_id": stage.pk, "part_id": gasket.pk, "quantity": quantity})
    assert answer.status_code == 400
    assert "/quantity" in [e["pointer"] for e in answer.json()["errors"]]
    assert on_hand(gasket) == 3


def test_the_history_tells_it(api, owner, mechanic, stage, gasket):
    draw(api(mechanic), stage, gasket)
    told = [row["what"] for row in api(owner).get(f"cards/{stage.card_id}/history/").json()["items"]]
    assert any("Drew 1 of GKT-041" in line for line in told), told


def test_lists_cost_the_same_however_long(api, mechanic, stage, gasket, tube, django_assert_max_num_queries):
    client = api(mechanic)
    for _ in range(2):
        draw(client, stage, tube, "1")
    with django_assert_max_num_queries(3):
        assert len(client.get("draws/", card_id=stage.card_id).json()["items"]) == 2


def test_what_is_used_is_what_was_drawn_less_what_came_back(api, mechanic, stage, tube):
    client = api(mechanic)
    row = draw(client, stage, tube, "12").json()["draws"][0]
    client.post(f"draws/{row['id']}/return/", {"quantity": "2.5"})
    (used,) = queries.used(stage.card_id)
    assert str(used["quantity"].normalize()) == "9.5"
    assert used["cost"] == Decimal("1.0925")  # 9.5 x 0.115


def test_returned_after_the_card_was_cancelled(api, office, mechanic, stage, gasket):
    row = draw(api(mechanic), stage, gasket).json()["draws"][0]
    cards.cancel_card(stage.card_id, by=office, reason="Customer took it away")
    assert api(mechanic).post(f"draws/{row['id']}/fit/", {"quantity": "1"}).status_code == 409
    assert api(mechanic).post(f"draws/{row['id']}/return/", {"quantity": "1"}).status_code == 200
    assert on_hand(gasket) == 3


def test_what_we_spoiled_is_our_cost_and_not_billed(api, mechanic, stage, gasket):
    client = api(mechanic)
    first = draw(client, stage, gasket).json()["draws"][0]
    client.post(f"draws/{first['id']}/spoil/", {"quantity": "1", "note": "Torn at a dowel"})
    assert queries.used(stage.card_id) == []
    second = draw(client, stage, gasket).json()["draws"][0]
    client.post(f"draws/{second['id']}/fit/", {"quantity": "1"})
    (used,) = queries.used(stage.card_id)
    assert (used["quantity"], used["cost"]) == (1, Decimal("42.80"))


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_a_draw_takes_eight_statements(api, mechanic, stores, stage, gasket):
    """Token, BEGIN, key, card with stage, part and need, level, what lies where, all changes at once, COMMIT."""
    client = api(mechanic)
    need = api(stores).post("needs/", {"stage_id": stage.pk, "part_id": gasket.pk, "quantity": "2"}).json()
    api(stores).post(f"needs/{need['id']}/keep/")
    with CaptureQueriesContext(connection) as asked:
        assert draw(client, stage, gasket).status_code == 201
    assert [q["sql"].split()[0] for q in asked] == [
        "SELECT", "BEGIN", "INSERT", "SELECT", "SELECT", "SELECT", "WITH", "COMMIT",
    ], asked.captured_queries  # fmt: skip
    assert not any(";" in q["sql"] for q in asked)  # each of them is one
    assert [r.quantity for r in Reservation.objects.all()] == [1]
    assert client.get("needs/", card_id=stage.card_id).json()["items"][0]["drawn"] == "1"


def test_a_late_invoice_adds_to_the_cost_of_the_card_and_changes_no_row(api, mechanic, owner, stage, gasket):
    draw(api(mechanic), stage, gasket, "2")
    row = Draw.objects.get()
    at = (stage.pk, gasket.pk)
    assert queries.cost_by_stage_and_part(stage.card_id) == {at: Decimal("42.80")}
    shelf.revalue(by=owner, lot_id=row.movement.lot_id, new_unit_cost=Decimal("22.00"), reason="Invoice 4711")
    assert queries.cost_by_stage_and_part(stage.card_id) == {at: Decimal("44.00")}
    assert Draw.objects.get().value == Decimal("42.80")
    api(mechanic).post(f"draws/{row.pk}/return/", {"quantity": "1"})
    assert queries.cost_by_stage_and_part(stage.card_id) == {at: Decimal("22.00")}
    assert queries.cost_by_stage_and_part(a_card(owner).pk) == {}


def test_what_is_left_of_a_tube_comes_back_opened(api, mechanic, stage, tube):
    client = api(mechanic)
    row = draw(client, stage, tube, "50").json()["draws"][0]
    back = client.post(f"draws/{row['id']}/return/", {"quantity": "30", "opened_on": f"{clock.today()}"})
    assert back.status_code == 200, back.content
    left = Lot.objects.get(opened_from__isnull=False)
    assert left.last_day == clock.today() + timedelta(days=tube.open_life_days)
    assert draw(client, stage, tube, "5").json()["draws"][0]["lot"] == left.number
