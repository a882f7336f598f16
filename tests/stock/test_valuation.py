"""What stock is worth: a late invoice, any past date, moving average; and what an opened tube leaves."""

from __future__ import annotations

import uuid
from datetime import date, datetime, timedelta
from datetime import timezone as tz
from decimal import Decimal as D

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.stock import actions, ledger, queries, valuation, worth
from inventory.stock.models import Balance, Closing, Lot, Movement, Revaluation
from shop.kernel import clock
from shop.kernel.errors import BadInput, NotFound, Refused
from tests.factories import parts as made_parts
from tests.factories import stock as made

pytestmark = pytest.mark.django_db


def on(month: int, day: int = 5, year: int = 2026):
    return clock.at(datetime(year, month, day, 12, tzinfo=tz.utc))  # noqa: UP017


def value(**narrowed) -> D:
    return sum(Movement.objects.filter(**narrowed).values_list("value", flat=True), D(0))


def drawn(by, part, site, quantity: str, label: str = "card 26-0031") -> Movement:
    (movement,) = actions.draw(by=by, part_id=part.pk, site_id=site.pk, quantity=D(quantity), label=label)
    return movement


@pytest.fixture
def used(stores, gasket, site, shelf):
    """Ten at 4.20: six drawn for two cards, one of them brought back, one scrapped; four lie in two bins."""
    lot = made.lot(stores, gasket.pk, "10", "4.20")
    first = drawn(stores, gasket, site, "4")
    second = drawn(stores, gasket, site, "2", "card 26-0040")
    actions.put_back(by=stores, movement_id=first.pk, quantity=D(1))
    actions.scrap(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(1), reason="creased")
    box = made.bin_(stores, "BOX-J", "box")
    actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=shelf.pk, to_bin_id=box.pk, quantity=D(1))
    return lot, first, second


def test_a_late_invoice_is_split_between_shelf_and_use(stores, gasket, site, used):
    lot, first, second = used
    before = list(Movement.objects.order_by("id").values_list())
    row = actions.revalue(by=stores, lot_id=lot.pk, new_unit_cost=D("4.50"), reason="invoice 4711")
    assert (row.was, row.now, row.on_hand, row.used) == (D("4.20"), D("4.50"), D(4), D(6))
    assert (row.on_hand_value, row.used_value) == (D("1.20"), D("1.80"))
    assert list(Movement.objects.filter(pk__lt=row.since_id).order_by("id").values_list()) == before
    told = {m.reverses_id: (m.value, m.label) for m in Movement.objects.filter(kind="revalue", reverses__isnull=False)}
    scrapped = Movement.objects.get(kind="scrap")
    assert told == {
        first.pk: (D("-0.90"), "card 26-0031"), second.pk: (D("-0.60"), "card 26-0040"), scrapped.pk: (D("-0.30"), ""),
    }  # fmt: skip
    assert value() == D("18.00")  # what lies there at the new cost
    for balance in Balance.objects.filter(on_hand__gt=0):
        assert value(bin_id=balance.bin_id) == D("4.50") * balance.on_hand
    assert queries.levels().get().worth == D("18.00")
    assert drawn(stores, gasket, site, "1").value == D("-4.50")
    back = actions.put_back(by=stores, movement_id=first.pk, quantity=D(3))
    assert back.value == D("13.50")  # 3 x 4.20 and its difference of 0.90
    assert list(ledger.wrong()) == []


def test_down_again_and_all_is_as_if_it_never_was(stores, gasket, site, used):
    lot, *_ = used
    there = value()
    actions.revalue(by=stores, lot_id=lot.pk, new_unit_cost=D("5.55"), reason="invoice 4711")
    actions.revalue(by=stores, lot_id=lot.pk, new_unit_cost=D("4.20"), reason="credit note 12")
    assert value() == there
    assert value(kind="revalue") == 0
    assert Revaluation.objects.count() == 2
    assert list(ledger.wrong()) == []


def test_an_opened_tube_follows_the_lot_it_came_from(stores, sealant, shelf, site):
    lot = made.lot(stores, sealant.pk, "420", "0.20")
    opened = actions.open_lot(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(70))
    actions.revalue(by=stores, lot_id=opened.pk, new_unit_cost=D("0.25"), reason="invoice 4711")
    assert {x.cost for x in Lot.objects.all()} == {D("0.25")}
    assert value() == D("105")
    assert actions.open_lot(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(70)).unit_cost == D("0.25")
    assert list(ledger.wrong()) == []


@pytest.mark.parametrize(
    ("cost", "reason", "says"),
    [
        ("4.20", "invoice", "costs that already"), ("-1", "invoice", "below zero"), ("4.5", "", "reason"),
        ("1e12", "invoice", "too large"), ("4.1234567", "invoice", "decimals"),
    ],
)  # fmt: skip
def test_a_price_that_can_not_be_right(stores, gasket, used, cost, reason, says):
    rows = Movement.objects.count()
    with pytest.raises(BadInput) as refused:
        actions.revalue(by=stores, lot_id=used[0].pk, new_unit_cost=D(cost), reason=reason)
    assert says in f"{refused.value.message} {refused.value.fields}"
    assert Movement.objects.count() == rows


def test_a_lot_that_is_not_there(stores):
    with pytest.raises(NotFound):
        actions.revalue(by=stores, lot_id=10**9, new_unit_cost=D(1), reason="invoice")


COSTS = st.integers(0, 10**7).map(lambda n: D(n) / 10**6)
QUANTITIES = st.integers(0, 10**7).map(lambda n: D(n) / 10**3)


@settings(deadline=None, suppress_health_check=list(HealthCheck))
@given(
    COSTS,
    COSTS,
    st.dictionaries(st.integers(1, 3), QUANTITIES),
    st.lists(st.tuples(st.integers(1, 3), QUANTITIES), max_size=12),
)
def test_a_difference_leaves_nothing_over(was, now, on_hand, gone):
    found = valuation.difference(was, now, on_hand, [valuation.Gone(n, b, -q) for n, (b, q) in enumerate(gone)])
    rows = [*found.by_bin.values(), *(amount for _, amount in found.by_use)]
    assert sum(rows, D(0)) == found.on_hand_value
    exact = (now - was) * sum(on_hand.values(), D(0))
    assert abs(found.on_hand_value - exact) <= D("0.000001") * len(on_hand)
    assert abs(found.used_value - (now - was) * found.used) <= D("0.000001") * len(gone)


def test_value_at_a_past_date_does_not_change_afterwards(stores, gasket, sealant, site):
    with on(1):
        lot = made.lot(stores, gasket.pk, "10", "4.20")
    with on(2):
        drawn(stores, gasket, site, "4")
        made.lot(stores, sealant.pk, "70", "0.2")
    with on(3):
        made.lot(stores, gasket.pk, "10", "5.00")
    days = [date(2025, 12, 31), date(2026, 1, 5), date(2026, 2, 28), date(2026, 3, 31)]
    with on(4):
        told = [worth.report(day, "EUR") for day in days]
        assert [r.value for r in told] == [D(0), D("42.00"), D("39.20"), D("89.20")]
        actions.revalue(by=stores, lot_id=lot.pk, new_unit_cost=D("4.50"), reason="invoice 4711")
        drawn(stores, gasket, site, "3")
    with on(6):
        assert len(actions.close_months()) == 5
        assert [timezone.localdate(c.until).month for c in Closing.objects.order_by("until")] == [2, 3, 4, 5, 6]
        assert actions.close_months() == []
        assert [worth.report(day, "EUR").lines for day in days] == [r.lines for r in told]
        assert worth.report(date(2026, 4, 30), "EUR").value == D("77.50")  # 3 x 4.50 + 10 x 5.00 + 14.00
        assert list(ledger.wrong()) == []


def test_a_past_value_reads_one_month_of_movements(stores, gasket, site):
    for month in range(1, 7):
        with on(month):
            made.lot(stores, gasket.pk, "10", "4.20")
    with on(7, 2):
        actions.close_months()
        with CaptureQueriesContext(connection) as seen:
            assert worth.at(worth.end_of(date(2026, 6, 30)))[gasket.pk].quantity == 60
    assert len(seen) == 3
    assert not worth.at(worth.end_of(date(2025, 6, 30)))


def test_moving_average_by_hand(stores, gasket, site):
    with on(1):
        made.lot(stores, gasket.pk, "10", "4.00")
        made.lot(stores, gasket.pk, "10", "5.00")  # 20 at 4.50
        movement = drawn(stores, gasket, site, "4")  # leaves 16 at 4.50
        made.lot(stores, gasket.pk, "4", "9.50")  # 20 at 5.50
        actions.put_back(by=stores, movement_id=movement.pk, quantity=D(2))  # comes in at 5.50
    (line,) = worth.report(date(2026, 1, 31), "EUR").lines
    assert (line.quantity, line.average_value, line.average) == (D(22), D("121.00"), D("5.5"))
    assert line.value == D("120.00")  # 8 x 4 + 10 x 5 + 4 x 9.50


def test_what_is_left_of_a_tube_goes_back_opened(stores, sealant, shelf, site):
    lot = made.lot(stores, sealant.pk, "140", "0.2", batch="K7", expires_on=clock.today() + timedelta(days=300))
    movement = drawn(stores, sealant, site, "70")
    actions.put_back(by=stores, movement_id=movement.pk, quantity=D(30), opened_on=clock.today())
    left = Lot.objects.get(opened_from=lot)
    assert (left.batch, left.last_day) == ("K7", clock.today() + timedelta(days=sealant.open_life_days))
    assert dict(Balance.objects.values_list("lot", "on_hand")) == {lot.pk: D(70), left.pk: D(30)}
    actions.put_back(by=stores, movement_id=movement.pk, quantity=D(5), opened_on=clock.today())
    assert Balance.objects.get(lot=left).on_hand == 35
    assert drawn(stores, sealant, site, "10").lot_id == left.pk  # it must be used first
    with pytest.raises(Refused, match="at most 35 ml"):
        actions.put_back(by=stores, movement_id=movement.pk, quantity=D(36), opened_on=clock.today())
    for day, says in (
        (clock.today() + timedelta(days=1), "future"),
        (clock.today() - timedelta(days=1), "drawn closed"),
    ):
        with pytest.raises(BadInput, match=says):
            actions.put_back(by=stores, movement_id=movement.pk, quantity=D(1), opened_on=day)
    assert list(ledger.wrong()) == []


def text_of(answer) -> str:
    return answer.content.decode()


def test_the_page_shows_a_past_value_and_what_of_it_is_csv(client, office, stores, gasket, sealant, site):
    with on(1):
        lot = made.lot(stores, gasket.pk, "10", "4.20")
        made.lot(stores, sealant.pk, "70", "0.211111")
    with on(3):
        drawn(stores, gasket, site, "4")
        client.force_login(office)
        page = text_of(client.get(reverse("stock:value"), {"day": "2026-01-31"}))
        assert "€56.78" in page  # 42.00 + 14.78, as the rows say
        assert "€14.78" in page
        now = text_of(client.get(reverse("stock:value")))
        assert "€39.98" in now
        assert "As of now." in now
        rows = text_of(client.get(reverse("stock:value-csv"), {"day": "2026-01-31"})).splitlines()
        assert rows[1].startswith("GKT-041,")
        assert rows[1].endswith(",C62,10,42.00,42.00,4.200000,EUR,2026-01-31")
        assert len(rows) == 3
        wrong = client.get(reverse("stock:value"), {"day": "yesterday"})
        assert wrong.status_code == 422
        url = reverse("stock:revalue", args=[lot.pk])
        fields = {"once": str(uuid.uuid4()), "new_unit_cost": "4.50", "reason": "Invoice 4711"}
        for _ in range(2):  # pressed twice
            assert client.post(url, fields).status_code == 303
        assert Revaluation.objects.count() == 1
        page = text_of(client.get(reverse("stock:lot", args=[lot.pk])))
        assert "received at €4.20" in page
        assert "€1.80" in page
        again = client.post(url, {**fields, "once": str(uuid.uuid4())})
        assert again.status_code == 422
        assert "costs that already" in text_of(again)


def test_long_reports_are_paged(client, owner, gasket, shelf):
    for n in range(120):
        made.lot(owner, made_parts.part(owner, f"SCR-{n:03}").pk, "1", "1")
    client.force_login(owner)
    url = reverse("stock:value")
    assert text_of(client.get(url)).count('class="head code"') == 100
    with CaptureQueriesContext(connection) as seen:
        page = text_of(client.get(url, {"from": "100"}))
    assert page.count('class="head code"') == 20
    assert "€120.00" in page
    assert len(seen) < 15  # for 120 parts; three of them for the ends of months


def test_value_is_for_owner_and_office(client, stores, mechanic, gasket, shelf):
    lot = made.lot(stores, gasket.pk)
    for person in (stores, mechanic):
        client.force_login(person)
        for url in (reverse("stock:value"), reverse("stock:value-csv"), reverse("stock:revalue", args=[lot.pk])):
            assert client.get(url).status_code == 403


def test_over_the_api(api, office, mechanic, stores, gasket, site):
    lot = made.lot(stores, gasket.pk, "10", "4.20")
    drawn(stores, gasket, site, "4")
    desk = api(office)
    body = {"new_unit_cost": "4.50", "reason": "Invoice 4711"}
    told = desk.post(f"/api/v1/lots/{lot.pk}/revalue/", body).json()
    assert (told["on_hand_value"], told["used_value"]) == ("1.80", "1.20")
    assert desk.get(f"/api/v1/revaluations/?lot_id={lot.pk}").json()["items"] == [told]
    value_now = desk.get("/api/v1/stock-value/").json()
    assert (value_now["value"], value_now["lines"][0]["quantity"]) == ("27.00", "6")
    assert desk.get(f"/api/v1/stock-value/?day={clock.today() - timedelta(days=1)}").json()["lines"] == []
    shown = desk.get(f"/api/v1/lots/{lot.pk}/").json()
    assert (shown["unit_cost"], shown["cost_now"]) == ("4.20", "4.50")
    assert api(mechanic).get(f"/api/v1/lots/{lot.pk}/").json()["cost_now"] is None
    assert api(mechanic).post(f"/api/v1/lots/{lot.pk}/revalue/", body).status_code == 403


def test_what_is_sent_back_leaves_at_its_own_cost_and_is_proved(stores, gasket, shelf):
    """Ten at 4.20 and five at 6: two of the dear ones go back. By lots and by average what is left is worth what it cost."""
    made.lot(stores, gasket.pk, "10", "4.20")
    dear = made.lot(stores, gasket.pk, "5", "6")
    move = actions.send_back(
        by=stores, lot_id=dear.pk, bin_id=shelf.pk, quantity=D(2), reason="Bent", label="Gullhaven Seals, GR-26-0001"
    )
    assert (move.kind, move.quantity, move.value) == ("sent-back", D(-2), D(-12))
    (now,) = worth.at(clock.now() + timedelta(seconds=1)).values()
    assert (now.quantity, now.value, now.average_value) == (D(13), D(60), D(60))
    actions.revalue(by=stores, lot_id=dear.pk, new_unit_cost=D("6.50"), reason="invoice 4712")
    named = Movement.objects.get(kind="revalue", reverses=move)
    assert (named.value, named.label) == (D("-1.00"), "Gullhaven Seals, GR-26-0001")
    assert list(ledger.wrong()) == []


def test_no_average_falls_below_nothing_by_what_is_sent_back():
    rows = [
        ("receipt", D(10), D(10)),
        ("receipt", D(2), D(200)),
        ("draw", D(-10), D(-10)),
        ("sent-back", D(-1), D(-100)),
    ]
    found = valuation.roll(valuation.Worth(), rows)
    assert (found.quantity, found.value, found.average_value) == (D(1), D(100), D("17.5"))
