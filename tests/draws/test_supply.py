"""Where the parts of a card come from: kept, free, ordered for it, moved to it, arrived."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.buying import actions as buying
from inventory.buying.models import OrderLine
from jobs.draws import actions, lines
from jobs.draws.models import Promise
from shop.kernel import clock
from shop.kernel.errors import Refused
from shop.ui.formats import day
from tests.factories import buying as made
from tests.factories import moments
from tests.factories.cards import a_card, a_stage
from tests.factories.parts import part
from tests.factories.stock import lot

from .coming import got, need_of, ordered, said, send, words

pytestmark = pytest.mark.django_db


# --- in words -------------------------------------------------------------------------------------


def test_kept_coming_and_missing_in_words(office, stores, gasket):
    need = need_of(office, gasket, "4")
    assert words(need) == "3 free on the shelf, not kept yet, 1 missing: order it"
    actions.keep(need.pk, by=office)
    order = ordered(stores, gasket, "1")
    until = day(clock.today() + timedelta(days=7))
    assert words(need) == f"3 of 4 kept, 1 coming on {until} with order {order.number}"


def test_all_kept_and_nothing_kept_in_words(office, gasket, bare):
    full, none = need_of(office, gasket), need_of(office, bare)
    actions.keep(full.pk, by=office)
    assert (words(full), words(none)) == ("kept from the shelf", "nothing kept: order it")


def test_an_order_that_is_late_or_knows_no_day_says_so(office, stores, bare, monkeypatch):
    need = need_of(office, bare, "2")
    order = ordered(stores, bare, "2", days=3)
    later = moments.away(9)
    since = day(clock.today() + timedelta(days=3))
    monkeypatch.setattr(clock, "now", lambda: later)
    assert words(need) == f"2 awaited since {since} with order {order.number}"
    OrderLine.objects.update(due_on=None)
    assert words(need) == f"2 coming with order {order.number}, no day known"


def test_the_card_says_it_and_how_late_that_is(client, office, stores, bare):
    need = need_of(office, bare, "2", promised=4)
    order = ordered(stores, bare, "2", days=7)
    client.force_login(office)
    page = said(client.get(f"/cards/{need.stage.card_id}/"))
    assert f"with order {order.number}; 3 days after the promised day" in page
    assert "Order what is missing" not in page


def test_what_is_coming_goes_to_the_soonest_promised(office, stores, bare):
    later, soon, never = (need_of(office, bare, "2", days) for days in (20, 3, None))
    ordered(stores, bare, "3")
    assert [got(n).on_order for n in (soon, later, never)] == [2, 1, 0]
    assert words(never) == "nothing kept: order it"


# --- ordering -------------------------------------------------------------------------------------


def test_what_is_missing_is_ordered_once_with_the_number_of_the_card(office, stores, bare, gasket):
    need = need_of(office, bare, "2")
    line = actions.order_for(need.pk, by=stores)
    number = need.stage.card.number
    assert (line.label, line.quantity, line.order.sent_at) == (f"card {number}", 2, None)
    assert words(need) == "2 on the draft order to Gullhaven Seals, not sent yet"
    with pytest.raises(Refused, match="nothing is missing"):
        actions.order_for(need.pk, by=stores)
    assert OrderLine.objects.get().quantity == 2


def test_a_box_that_holds_enough_is_not_ordered_twice(office, stores, bare):
    made.offer(
        stores, bare, ("1", "30"), package="box", content=D(10), of=made.supplier(stores, "Tern"), preferred=True
    )
    need = need_of(office, bare, "2")
    other = a_stage(need.stage.card, "Try out", kind="test")
    more = actions.add_need(by=office, stage_id=other.pk, part_id=bare.pk, quantity=D(3))
    actions.order_for(need.pk, by=stores)
    actions.order_for(more.pk, by=stores)
    line = OrderLine.objects.get()
    assert (line.packages, line.quantity) == (1, 10)
    assert sorted(Promise.objects.values_list("quantity", flat=True)) == [2, 3]


def test_nobody_sells_it(office, stores, gasket):
    need = need_of(office, gasket, "4")
    with pytest.raises(Refused) as refusal:
        actions.order_for(need.pk, by=stores)
    assert refusal.value.code == "no-offer"
    with pytest.raises(Refused, match=f"Nobody is noted to sell {gasket.number}"):
        actions.order_missing(need.stage.card_id, by=stores)


def test_order_what_the_card_lacks_from_the_card(client, office, stores, bare, gasket):
    need = need_of(office, bare, "2")
    actions.add_need(by=office, stage_id=need.stage_id, part_id=gasket.pk, quantity=D(5))
    client.force_login(office)
    where = f"/cards/{need.stage.card_id}/"
    assert "Order what is missing" in said(client.get(where))
    page = said(client.get(send(client, f"{where}order/")["Location"]))
    assert "Put onto the draft orders of the suppliers." in page
    assert f"Nobody is noted to sell {gasket.number}" in page
    assert OrderLine.objects.get().part == bare
    again = client.get(send(client, f"{where}order/")["Location"])
    assert f"Nobody is noted to sell {gasket.number}" in said(again)
    assert OrderLine.objects.count() == 1


def test_what_waits_for_the_go_ahead_is_ordered_only_by_itself(office, stores, bare):
    need = need_of(office, bare, "2", needs_go_ahead=True)
    with pytest.raises(Refused, match="waits for the customer's go-ahead"):
        actions.order_missing(need.stage.card_id, by=stores)
    assert actions.order_for(need.pk, by=stores).quantity == 2


def test_a_line_taken_off_the_draft_is_missing_again(office, stores, bare):
    need = need_of(office, bare, "2")
    line = actions.order_for(need.pk, by=stores)
    buying.remove_order_line(line.pk, None, by=stores)
    assert words(need) == "nothing kept: order it"
    assert actions.order_for(need.pk, by=stores).quantity == 2


def test_mechanics_do_not_order(client, api, mechanic, office, bare):
    need = need_of(office, bare, "2")
    assert api(mechanic).post(f"needs/{need.pk}/order/").status_code == 403
    client.force_login(mechanic)
    assert send(client, f"/needs/{need.pk}/order/").status_code == 403
    assert "Order it" not in said(client.get(f"/cards/{need.stage.card_id}/stages/{need.stage_id}/"))


def test_ordering_over_the_api(api, stores, office, bare):
    need = need_of(office, bare, "2")
    client = api(stores)
    answer = client.post(f"needs/{need.pk}/order/", {"quantity": "3"})
    assert answer.status_code == 200, answer.content
    assert (answer.json()["quantity"], answer.json()["label"]) == ("3", f"card {need.stage.card.number}")
    assert client.post(f"needs/{need.pk}/order/", {"quantity": "0"}).status_code == 400
    again = client.post(f"cards/{need.stage.card_id}/order-missing/")
    assert (again.status_code, again.json()["type"].rsplit("/", 1)[-1]) == (409, "nothing-missing")


# --- cost -----------------------------------------------------------------------------------------


def test_a_card_asks_no_more_for_more_parts_rivals_and_orders(office, stores, shelf):
    def grown(card, numbers):
        row = a_stage(card, "Fit", kind="assemble")
        for n in numbers:
            some = part(stores, f"PKG-{n:03}", "Packing")
            made.offer(stores, some)
            lot(stores, some.pk, "1", at=shelf)
            need = actions.add_need(by=office, stage_id=row.pk, part_id=some.pk, quantity=D(5))
            actions.order_for(need.pk, by=stores, quantity=D(1))
            need_of(office, some, "1")
        return card

    def asked(card):
        with CaptureQueriesContext(connection) as told_:
            found = lines.of_card(card)
        assert all(x.supply for x in found)
        return len(told_)

    small, big = grown(a_card(office), range(1)), grown(a_card(office), range(10, 18))
    assert asked(small) == asked(big) <= 7
