"""An owner gives one card what another one has, and sees before who loses what."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from inventory.stock import ledger
from inventory.stock.models import Reservation, StockLevel
from jobs.draws import actions, queries
from jobs.draws.templatetags.draws import promise_words
from shop.kernel import clock
from shop.kernel.errors import BadInput
from tests.factories import moments

from .coming import arrive, cards_history, got, kept, need_of, ordered, said, send

pytestmark = pytest.mark.django_db


# --- moving ---------------------------------------------------------------------------------------


def test_an_owner_moves_what_is_kept_and_sees_first_who_loses(client, owner, office, gasket):
    loser = need_of(office, gasket, "3", 3)
    actions.keep(loser.pk, by=office)
    need = need_of(office, gasket, "2", 1)
    client.force_login(owner)
    where = f"/needs/{need.pk}/move/"
    page = said(client.get(where))
    assert f"{loser.stage.card.number}: 3 kept on the shelf" in page
    assert "What happens then" not in page
    page = said(client.get(where, {"source": f"{loser.pk}:", "quantity": "2", "reason": "The boat sails"}))
    assert "loses by it kept from the shelf 1 of 3 kept, 2 missing: order it" in page
    assert "nothing is coming for it, so that can't be kept unless it is ordered." in page
    assert "gains by it nothing kept: order it kept from the shelf" in page
    assert kept(need) == 0  # looking changes nothing
    answer = send(client, where, source=f"{loser.pk}:", quantity="2", reason="The boat sails")
    assert answer.status_code == 303
    assert (kept(need), kept(loser), StockLevel.objects.get(part=gasket).reserved) == (2, 1, 3)
    assert f"Moved 2 of {gasket.number}" in " ".join(cards_history(need))
    assert f"Gave card {need.stage.card.number} 2 of {gasket.number}" in " ".join(cards_history(loser))
    assert list(ledger.wrong()) == []


def test_what_is_coming_is_moved_and_then_arrives_there(owner, office, stores, bare):
    loser, need = need_of(office, bare, "2", 3), need_of(office, bare, "2", 30)
    order = ordered(stores, bare, "2")
    line = order.lines.get()
    effects = queries.look_at_move(need.pk, from_need_id=loser.pk, quantity=D(2), order_line_id=line.pk)
    assert [(e.need.pk, e.loses, e.after.short) for e in effects] == [(need.pk, False, 0), (loser.pk, True, 2)]
    actions.move(need.pk, by=owner, from_need_id=loser.pk, quantity=D(2), order_line_id=line.pk)
    assert (got(need).on_order, got(loser).short) == (2, 2)
    arrive(stores, order)
    assert (kept(need), kept(loser)) == (2, 0)


def test_who_takes_a_later_order_instead_is_told_by_how_much_it_is_late(owner, office, stores, bare):
    loser, need = need_of(office, bare, "2", 8), need_of(office, bare, "2", 9)
    first = ordered(stores, bare, "2", days=7)
    ordered(stores, bare, "2", days=12)
    before = queries.look_at_move(need.pk, from_need_id=loser.pk, quantity=D(2), order_line_id=first.lines.get().pk)
    assert [(e.need.pk, e.loses, e.late_days) for e in before] == [(need.pk, False, 0), (loser.pk, True, 4)]


def test_a_promise_that_is_past_is_not_said_to_be_kept(owner, office, gasket, monkeypatch):
    loser, need = need_of(office, gasket, "3", 3), need_of(office, gasket, "2")
    actions.keep(loser.pk, by=office)
    later = moments.away(9)
    monkeypatch.setattr(clock, "now", lambda: later)
    _, effect = queries.look_at_move(need.pk, from_need_id=loser.pk, quantity=D(2))
    assert promise_words(effect).endswith("which is past: nothing is coming for it, order it.")


@pytest.mark.parametrize(
    ("quantity", "field"),
    [("4", "quantity"), ("0", "quantity"), ("-1", "quantity"), ("0.5", "quantity"), ("3", "quantity")],
)
def test_no_more_is_moved_than_there_is_and_is_missing(quantity, field, owner, office, gasket):
    loser, need = need_of(office, gasket, "3"), need_of(office, gasket, "2")
    actions.keep(loser.pk, by=office)
    with pytest.raises(BadInput) as wrong:
        actions.move(need.pk, by=owner, from_need_id=loser.pk, quantity=D(quantity))
    assert field in wrong.value.fields
    assert (kept(need), kept(loser)) == (0, 3)


def test_another_part_is_not_moved(owner, office, gasket, bare):
    loser, need = need_of(office, gasket, "3"), need_of(office, bare, "2")
    actions.keep(loser.pk, by=office)
    with pytest.raises(BadInput, match="another part"):
        actions.move(need.pk, by=owner, from_need_id=loser.pk, quantity=D(1))
    with pytest.raises(BadInput, match="same one"):
        actions.move(need.pk, by=owner, from_need_id=need.pk, quantity=D(1))


@pytest.mark.parametrize("typed", [{}, {"source": "x"}, {"source": "1:", "quantity": "1"}, {"quantity": "1"}])
def test_odd_choices_move_nothing(typed, client, owner, office, gasket):
    need = need_of(office, gasket, "2")
    client.force_login(owner)
    assert send(client, f"/needs/{need.pk}/move/", **typed).status_code == 422
    assert client.get(f"/needs/{need.pk}/move/", typed).status_code in (200, 422)
    assert not Reservation.objects.exists()


def test_moving_over_the_api_is_for_owners(api, owner, office, gasket):
    loser, need = need_of(office, gasket, "3"), need_of(office, gasket, "2")
    actions.keep(loser.pk, by=office)
    body = {"from_need_id": loser.pk, "quantity": "2"}
    assert api(office).post(f"needs/{need.pk}/move/", body).status_code == 403
    client = api(owner)
    look = client.get(f"needs/{need.pk}/move-outlook/", from_need_id=loser.pk, quantity="2").json()["items"]
    assert [(e["need_id"], e["loses"], e["after"]["kept"]) for e in look] == [
        (need.pk, False, "2"),
        (loser.pk, True, "1"),
    ]
    assert client.post(f"needs/{need.pk}/move/", body).json()["kept"] == "2"
    assert client.get(f"needs/{need.pk}/move-outlook/", from_need_id=loser.pk, quantity="2").status_code == 400
    rivals = client.get(f"needs/{need.pk}/rivals/").json()["items"]
    assert [(r["need_id"], r["supply"]["kept"], r["supply"]["short"]) for r in rivals] == [(loser.pk, "1", "2")]


def test_the_api_says_where_all_of_a_card_comes_from(api, office, stores, bare, gasket):
    need = need_of(office, bare, "2")
    actions.add_need(by=office, stage_id=need.stage_id, part_id=gasket.pk, quantity=D(1))
    order = ordered(stores, bare, "2")
    items = api(office).get("needs/supply/", card_id=need.stage.card_id).json()["items"]
    assert {i["part_number"]: (i["supply"]["free"], i["supply"]["short"]) for i in items} == {
        bare.number: ("0", "0"), gasket.number: ("1", "0"),
    }  # fmt: skip
    (share,) = next(i["supply"]["coming"] for i in items if i["part_id"] == bare.pk)
    assert (share["order"], share["quantity"], share["due_on"]) == (order.number, "2", str(order.lines.get().due_on))
    assert api(office).get("needs/supply/", card_id=10**9).status_code == 404
