"""Costing and issue order through the real ledger, against published figures."""

from __future__ import annotations

from datetime import date, datetime, timezone
from decimal import Decimal as D

import pytest

from inventory.stock import actions, ledger, worth
from inventory.stock.models import Balance, Movement
from shop.kernel import clock
from shop.kernel.errors import NeedsOverride
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


def on(day: date):
    return clock.at(datetime(day.year, day.month, day.day, 12, tzinfo=timezone.utc))  # noqa: UP017


def test_perpetual_fifo_of_the_textbook_exercise(stores):
    """Warren/Reeve/Duchac, Accounting, Exercise 7-6 (published answer; edition not known): cost of each issue, cost of
    goods sold 137,080, inventory left 440 at 48 = 21,120, together 158,200."""
    part = made_parts.part(stores, "FIFO-76")
    site = made.site()

    def issue(quantity: int) -> list[tuple[D, D]]:
        movements = actions.draw(by=stores, part_id=part.pk, site_id=site.pk, quantity=D(quantity), label="sold")
        return [(-m.quantity, -m.value) for m in movements]

    with on(date(2026, 5, 1)):
        made.lot(stores, part.pk, "1550", "44")
    with on(date(2026, 5, 10)):
        made.lot(stores, part.pk, "720", "45")
    with on(date(2026, 5, 12)):
        assert issue(1200) == [(D(1200), D(52_800))]
    with on(date(2026, 5, 14)):
        assert issue(830) == [(D(350), D(15_400)), (D(480), D(21_600))]
    with on(date(2026, 5, 20)):
        made.lot(stores, part.pk, "1200", "48")
    with on(date(2026, 5, 31)):
        assert issue(1000) == [(D(240), D(10_800)), (D(760), D(36_480))]
    sold = -sum(Movement.objects.filter(kind="draw").values_list("value", flat=True))
    left = [(b.on_hand, b.lot.unit_cost) for b in Balance.objects.filter(on_hand__gt=0).select_related("lot")]
    assert sold == D(137_080)
    assert left == [(D(440), D(48))]
    assert sum(Movement.objects.values_list("value", flat=True)) == D(21_120)
    assert sold + D(21_120) == D(158_200)
    assert list(ledger.wrong()) == []


def test_moving_average_of_the_same_exercise(stores):
    """The same receipts and issues by moving average (method of IAS 2.27, worked out from the formula): cost of goods sold
    137,350.073421..., inventory left 20,849.926579..., unit 47.386196797."""
    part = made_parts.part(stores, "AVG-76")
    site = made.site()
    for day, received, cost, issued in (
        (1, "1550", "44", None), (10, "720", "45", None), (12, None, None, "1200"), (14, None, None, "830"),
        (20, "1200", "48", None), (31, None, None, "1000"),
    ):  # fmt: skip
        with on(date(2026, 5, day)):
            if received:
                made.lot(stores, part.pk, received, cost)
            if issued:
                actions.draw(by=stores, part_id=part.pk, site_id=site.pk, quantity=D(issued), label="sold")
    left = worth.at(worth.end_of(date(2026, 5, 31)))[part.pk]
    assert left.value == D(21_120)
    assert abs(left.average_value - D("20849.926579")) <= D("0.000001")
    assert abs(D(158_200) - left.average_value - D("137350.073421")) <= D("0.000001")
    assert abs(left.average - D("47.386196797")) <= D("0.000001")
    (line,) = worth.report(date(2026, 5, 31), "EUR").lines
    assert (line.value, line.average_value) == (D("21120.00"), D("20849.93"))


def test_average_of_the_open_textbook(stores):
    """OpenStax, as below: the average is 27.615..., so that what is left is worth 7,870 to 7,872."""
    part = made_parts.part(stores, "AVG-102")
    for quantity, cost in (("150", "21"), ("225", "27"), ("210", "33")):
        made.lot(stores, part.pk, quantity, cost)
    actions.draw(by=stores, part_id=part.pk, site_id=made.site().pk, quantity=D(300), label="sold")
    (line,) = worth.report(clock.today(), "EUR").lines
    assert abs(line.average - D("27.615")) < D("0.001")
    assert D(7_870) <= line.average_value <= D(7_872)
    assert line.value == D(8_955)


def test_fifo_of_the_open_textbook(stores):
    """OpenStax, Principles of Accounting vol. 1, chapter 10.2 (from memory, arithmetic re-checked): 150 at 21, 225 at 27,
    210 at 33; 285 left; FIFO leaves 8,955 and sells 7,200."""
    part = made_parts.part(stores, "FIFO-102")
    for quantity, cost in (("150", "21"), ("225", "27"), ("210", "33")):
        made.lot(stores, part.pk, quantity, cost)
    movements = actions.draw(by=stores, part_id=part.pk, site_id=made.site().pk, quantity=D(300), label="sold")
    assert -sum(m.value for m in movements) == D(7_200)
    assert sum(Movement.objects.values_list("value", flat=True)) == D(8_955)


def test_what_expires_first_goes_first_and_never_what_has_expired(stores, owner):
    """Earliest expiry first among unexpired lots (common practice, no source); figures are our own example."""
    part = made_parts.sealant(stores, shelf_life_days=None)
    with on(date(2026, 5, 1)):
        l1 = made.lot(stores, part.pk, "40", expires_on=date(2026, 8, 31))
        l2 = made.lot(stores, part.pk, "25", expires_on=date(2026, 7, 31))
        l3 = made.lot(stores, part.pk, "80", expires_on=date(2026, 6, 30))
    request = {"part_id": part.pk, "site_id": made.site().pk, "label": "card 26-0031"}
    with on(date(2026, 7, 15)):
        taken = actions.draw(by=stores, quantity=D(50), **request)
        assert [(m.lot_id, m.quantity) for m in taken] == [(l2.pk, D(-25)), (l1.pk, D(-25))]
        assert Balance.objects.get(lot=l1).on_hand == 15
        with pytest.raises(NeedsOverride):
            actions.draw(by=stores, quantity=D(1), lot_id=l3.pk, **request)
    with on(date(2026, 8, 31)):  # the expiry day itself still counts
        actions.draw(by=stores, quantity=D(1), **request)
    with on(date(2026, 9, 1)), pytest.raises(NeedsOverride):
        actions.draw(by=stores, quantity=D(1), **request)
