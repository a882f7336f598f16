"""Kit trays: which tray holds the parts for which stage, until it is empty."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from jobs.cards import actions as cards
from jobs.draws import actions, queries
from jobs.draws.models import TrayUse
from shop.kernel.errors import Refused
from tests.factories.cards import a_card, a_stage

from .coming import said, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def other(office, stage):
    return a_stage(a_card(office, site_id=stage.card.site_id), "Strip gearbox")


def in_use(stage):
    return [use.called for use in queries.trays(stage_id=stage.pk)]


def test_it_is_said_on_stage_card_and_bench(client, mechanic, stage):
    cards.edit_stage(stage.pk, None, by=stage.card.opened_by, mechanic_id=mechanic.pk)
    client.force_login(mechanic)
    where = f"/cards/{stage.card_id}/stages/{stage.pk}"
    assert "They are in a tray" in said(client.get(f"{where}/"))
    assert send(client, f"{where}/tray/", number="12").status_code == 303
    for page in (f"{where}/", f"/cards/{stage.card_id}/", "/bench/"):
        assert "All parts are in tray 12" in said(client.get(page)), page
    use = TrayUse.objects.get()
    assert send(client, f"/trays/{use.pk}/clear/").status_code == 303
    assert "All parts are in tray 12" not in said(client.get(f"/cards/{stage.card_id}/"))


def test_a_tray_in_use_is_pointed_out_and_only_shared_when_said(client, mechanic, stage, other):
    actions.put_in_tray(other.pk, by=mechanic, number="a 12")
    client.force_login(mechanic)
    where = f"/cards/{stage.card_id}/stages/{stage.pk}/tray/"
    assert "They share the tray" not in said(client.get(where))
    answer = send(client, where, number="A 12")
    assert answer.status_code == 422
    assert f"Tray A 12 holds the parts for stage 1 “Strip gearbox” of card {other.card.number}" in said(answer)
    assert "They share the tray" in said(answer)
    assert in_use(stage) == []
    assert send(client, where, number="A 12", shared="on").status_code == 303
    assert (in_use(stage), in_use(other)) == (["A 12"], ["a 12"])


@pytest.mark.parametrize("number", ["", "   ", "1" * 21, "1\n2"])
def test_odd_numbers_note_nothing(number, client, mechanic, stage):
    client.force_login(mechanic)
    answer = send(client, f"/cards/{stage.card_id}/stages/{stage.pk}/tray/", number=number)
    assert answer.status_code in (303, 422)
    assert TrayUse.objects.count() == (1 if answer.status_code == 303 else 0)
    assert all("\n" not in use.called for use in TrayUse.objects.all())


def test_said_twice_it_is_noted_once_and_an_emptied_one_is_free(mechanic, stage, other):
    use = actions.put_in_tray(stage.pk, by=mechanic, number="12")
    assert actions.put_in_tray(stage.pk, by=mechanic, number="12") == use
    actions.clear_tray(use.pk, by=mechanic)
    assert actions.clear_tray(use.pk, by=mechanic).cleared_by == mechanic
    actions.put_in_tray(other.pk, by=mechanic, number="12")


def finish(stage, by):
    cards.start_stage(stage.pk, by=by)
    cards.finish_stage(stage.pk, by=by)


def test_a_finished_stage_leaves_its_tray_empty(mechanic, stage):
    actions.put_in_tray(stage.pk, by=mechanic, number="12")
    finish(stage, mechanic)
    assert in_use(stage) == []


@pytest.mark.parametrize("then", ["fit", "return", "spoil"])
def test_while_something_is_in_hand_it_isnt_empty(then, mechanic, stage, gasket):
    actions.put_in_tray(stage.pk, by=mechanic, number="12")
    drawn = actions.draw(by=mechanic, stage_id=stage.pk, part_id=gasket.pk, quantity=D(1))
    finish(stage, mechanic)
    assert in_use(stage) == ["12"]
    assert [use.called for use in queries.unreturned_trays(stage.card_id)] == ["12"]
    if then == "fit":
        actions.fit(drawn.pk, by=mechanic, quantity=D(1))
    elif then == "return":
        actions.put_back(drawn.pk, by=mechanic, quantity=D(1))
    else:
        actions.spoil(drawn.pk, by=mechanic, quantity=D(1), note="Torn")
    assert not queries.unreturned_trays(stage.card_id).exists()


def test_work_that_was_called_off_leaves_its_tray_to_be_brought_back(office, mechanic, stage, other):
    actions.put_in_tray(stage.pk, by=mechanic, number="12")
    cards.remove_stage(stage.pk, None, by=office)
    assert [use.called for use in queries.unreturned_trays(stage.card_id)] == ["12"]
    with pytest.raises(Refused):
        actions.put_in_tray(other.pk, by=mechanic, number="12")


def test_over_the_api(api, mechanic, stage, other):
    client = api(mechanic)
    made = client.post("trays/", {"stage_id": stage.pk, "number": "12"})
    assert made.status_code == 201, made.content
    refused = client.post("trays/", {"stage_id": other.pk, "number": "12"})
    assert (refused.status_code, refused.json()["facts"]["stage_ids"]) == (409, [stage.pk])
    assert client.post("trays/", {"stage_id": other.pk, "number": "12", "shared": True}).status_code == 201
    assert [t["number"] for t in client.get("trays/", card_id=stage.card_id, in_use="true").json()["items"]] == ["12"]
    cleared = client.post(f"trays/{made.json()['id']}/clear/").json()
    assert cleared["cleared_at"]
    assert client.get("trays/", stage_id=stage.pk, in_use="true").json()["items"] == []
    assert len(client.get("trays/", stage_id=stage.pk).json()["items"]) == 1
