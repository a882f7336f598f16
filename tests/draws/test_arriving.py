"""Ordered goods come and are kept for whom they were promised."""

from __future__ import annotations

import pytest

from inventory.buying import actions as buying
from inventory.stock import ledger
from inventory.stock.models import Reservation, StockLevel
from jobs.cards import actions as cards
from jobs.draws import actions
from jobs.draws.models import Promise
from shop.kernel import clock
from tests.factories import buying as made

from .coming import arrive, cards_history, got, kept, need_of, sent, words

pytestmark = pytest.mark.django_db


# --- arriving -------------------------------------------------------------------------------------


def test_what_was_ordered_for_a_need_is_kept_for_it_when_it_comes(office, stores, bare):
    need = need_of(office, bare, "2", 30)
    sooner = need_of(office, bare, "2", 3)
    order = sent(stores, actions.order_for(need.pk, by=stores))
    arrive(stores, order)
    assert (kept(need), kept(sooner)) == (2, 0)
    assert words(need) == "kept from the shelf"
    assert not Promise.objects.exists()
    assert list(ledger.wrong()) == []
    assert "came with order" in str(list(cards_history(need)))


def test_part_of_it_comes(office, stores, bare):
    need = need_of(office, bare, "4")
    order = sent(stores, actions.order_for(need.pk, by=stores))
    arrive(stores, order, "1")
    assert (kept(need), Promise.objects.get().quantity, got(need).on_order) == (1, 3, 3)
    arrive(stores, order, "3", note="4712")
    assert (kept(need), Promise.objects.exists()) == (4, False)


def test_what_nobody_is_named_for_is_kept_in_the_order_of_the_promised_days(office, stores, bare):
    later, soon = need_of(office, bare, "2", 20), need_of(office, bare, "2", 3)
    arrive(stores, made.sent(stores, bare, "3"))
    assert (kept(soon), kept(later)) == (2, 1)
    assert Reservation.objects.filter(ended_at__isnull=True).count() == 2


def test_without_a_go_ahead_it_stays_free(office, stores, bare):
    waits = need_of(office, bare, "2", needs_go_ahead=True)
    arrive(stores, made.sent(stores, bare, "3"))
    assert kept(waits) == 0
    assert StockLevel.objects.get(part=bare).reserved == 0


@pytest.mark.parametrize("ends", ["cancel", "remove", "decline"])
def test_who_no_longer_needs_it_gets_nothing(ends, office, stores, bare):
    need = need_of(office, bare, "2")
    order = sent(stores, actions.order_for(need.pk, by=stores))
    if ends == "cancel":
        cards.cancel_card(need.stage.card_id, by=office, reason="Sold the boat")
    elif ends == "remove":
        actions.remove_need(need.pk, None, by=office)
    else:
        actions.decline_parts(
            {(need.stage_id, bare.pk)}, ref="estimate EST-26-0001 revision 1", at=clock.now(), by=office
        )
    other = need_of(office, bare, "1")
    arrive(stores, order)
    assert (kept(need), kept(other)) == (0, 1)


def test_what_was_free_already_is_not_kept_by_an_arrival(office, stores, gasket):
    """Three lie free for the card promised first; what comes is for the next one."""
    first, second = need_of(office, gasket, "3", 2), need_of(office, gasket, "2", 9)
    arrive(stores, made.sent(stores, gasket, "2"))
    assert (kept(first), kept(second)) == (0, 2)
    assert got(first).free == 3


def test_a_closed_line_brings_nothing(office, stores, bare):
    need = need_of(office, bare, "2")
    line = actions.order_for(need.pk, by=stores)
    sent(stores, line)
    buying.close_order_line(line.pk, None, by=stores, reason="No longer made")
    assert words(need) == "nothing kept: order it"
