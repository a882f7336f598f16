"""check_ledger finds what was planted past triggers and actions; the database itself refuses changes."""

from __future__ import annotations

from decimal import Decimal as D
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from inventory.stock import actions, ledger, proof_of_costs
from inventory.stock.models import Balance, ClosingLine, Lot, Movement, Reservation, StockLevel
from shop.kernel import clock
from tests.factories import moments
from tests.factories import stock as made

pytestmark = pytest.mark.django_db

TABLES = tuple(f"inventory_stock_{name}" for name in ("movement", "lot", "revaluation", "closing", "closingline"))


@pytest.fixture
def full(stores, gasket, sealant, shelf, site):
    """A bit of everything."""
    lot = made.lot(stores, gasket.pk, "10", "4.20")
    tube = made.lot(stores, sealant.pk, "420", "0.171429")
    box = made.bin_(stores, "BOX-J", "box")
    common = {"by": stores, "part_id": gasket.pk, "site_id": site.pk}
    kept = actions.reserve(quantity=D(2), label="card 26-0031", **common)
    (drawn,) = actions.draw(quantity=D(3), label="card 26-0030", **common)
    actions.put_back(by=stores, movement_id=drawn.pk, quantity=D(1))
    actions.transfer(by=stores, lot_id=lot.pk, from_bin_id=shelf.pk, to_bin_id=box.pk, quantity=D(2))
    actions.draw(quantity=D(1), label="card 26-0031", reservation_id=kept.pk, **common)
    actions.scrap(by=stores, lot_id=lot.pk, bin_id=shelf.pk, quantity=D(1), reason="creased")
    actions.count(by=stores, lot_id=lot.pk, bin_id=shelf.pk, counted=D(3), reason="one too few")
    actions.draw(by=stores, part_id=sealant.pk, site_id=site.pk, quantity=D("33.3"), label="card 26-0030")
    actions.open_lot(by=stores, lot_id=tube.pk, bin_id=shelf.pk, quantity=D(70))
    actions.revalue(by=stores, lot_id=tube.pk, new_unit_cost=D("0.19"), reason="invoice 4711")
    actions.scrap(by=stores, lot_id=tube.pk, bin_id=shelf.pk, quantity=D("1.7"), reason="dried")
    actions.revalue(by=stores, lot_id=tube.pk, new_unit_cost=D("0.18"), reason="credit note 12")
    assert list(ledger.wrong()) == []


def plant(sql: str) -> None:
    """Run `sql` with triggers and constraints out of the way."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            for table in TABLES:
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            cursor.execute(sql)
            for table in TABLES:
                cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
            return
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f"DROP TRIGGER {name}")
        cursor.execute("PRAGMA ignore_check_constraints = 1")
        cursor.execute(sql)
        cursor.execute("PRAGMA ignore_check_constraints = 0")
        for _, made_by in triggers:
            cursor.execute(made_by)


ERRORS = {
    "balance is the sum of its movements": "UPDATE inventory_stock_balance SET on_hand = on_hand + 1",
    "movements have a balance": "DELETE FROM inventory_stock_balance",
    "level is the sum of its movements": "UPDATE inventory_stock_stocklevel SET on_hand = on_hand + 0.000001",
    "movements have a level": "DELETE FROM inventory_stock_stocklevel",
    "promised is the sum of open reservations": "UPDATE inventory_stock_reservation SET quantity = quantity + 1",
    "reservations have a level": "DELETE FROM inventory_stock_stocklevel",
    "an ended reservation promises nothing, an open one something": (
        "UPDATE inventory_stock_reservation SET ended_at = created_at"
    ),
    "value is quantity times the cost of the lot": (
        "UPDATE inventory_stock_movement SET value = value + 0.01 WHERE kind = 'scrap'"
    ),
    "value is quantity times what the lot cost then": (
        "UPDATE inventory_stock_movement SET value = -0.306 WHERE kind = 'scrap' AND reason = 'dried'"
    ),
    "a lot costs what its last revaluation says": (
        "UPDATE inventory_stock_lot SET cost_now = 0.2 WHERE cost_now IS NOT NULL"
    ),
    "a revaluation begins where the last one ended": "UPDATE inventory_stock_revaluation SET was = was + 0.000001",
    "a revaluation is posted in full": "UPDATE inventory_stock_revaluation SET used_value = used_value + 0.01",
    "a cost difference belongs to a revaluation": (
        "UPDATE inventory_stock_revaluation SET posting = (SELECT posting FROM inventory_stock_movement"
        " WHERE kind = 'receipt' ORDER BY id LIMIT 1)"
    ),
    "a cost difference names a use of its lot": (
        "UPDATE inventory_stock_movement SET reverses_id = (SELECT MIN(id) FROM inventory_stock_movement)"
        " WHERE kind = 'revalue' AND reverses_id IS NOT NULL"
    ),
    "a revalued lot is worth what lies of it at its cost": (
        "UPDATE inventory_stock_movement SET value = value + 0.001 WHERE kind = 'revalue' AND reverses_id IS NULL"
    ),
    "part and site of a movement are those of its lot and bin": (
        "UPDATE inventory_stock_movement SET part_id = (SELECT MAX(id) FROM inventory_parts_part) WHERE kind = 'scrap'"
    ),
    "part of a balance is that of its lot": (
        "UPDATE inventory_stock_balance SET part_id = (SELECT MAX(id) FROM inventory_parts_part)"
    ),
    "a lot came in once, or was opened from another": (
        "UPDATE inventory_stock_movement SET kind = 'count' WHERE kind = 'receipt'"
    ),
    "nothing was ever below zero": (
        "UPDATE inventory_stock_movement SET quantity = -15, value = -63"
        " WHERE kind = 'draw' AND label = 'card 26-0030'"
    ),
    "a transfer puts down what it took up": (
        "UPDATE inventory_stock_movement SET quantity = quantity + 1 WHERE kind = 'transfer' AND quantity > 0"
    ),
    "no more came back than was drawn": (
        "UPDATE inventory_stock_movement SET quantity = 4, value = 16.80 WHERE kind = 'return'"
    ),
    "a kit that was broken open is worth what its parts are": (
        "UPDATE inventory_stock_movement SET kind = 'kit' WHERE kind = 'scrap'"
    ),
    "a return names its draw": "UPDATE inventory_stock_movement SET reverses_id = NULL WHERE kind = 'return'",
}  # fmt: skip


@pytest.mark.parametrize("check", ledger.CHECKS)
def test_each_check_finds_its_planted_error(full, check):
    plant(ERRORS[check])
    assert check in {w.check for w in ledger.wrong()}


CLOSINGS = {
    proof_of_costs.CLOSED: "UPDATE inventory_stock_closingline SET value = value + 0.01 WHERE id = {id}",
    f"{proof_of_costs.CLOSED} ": "UPDATE inventory_stock_closingline SET quantity = quantity + 1 WHERE id = {id}",
    f"{proof_of_costs.CLOSED}  ": "DELETE FROM inventory_stock_closingline WHERE id = {id}",
    proof_of_costs.AVERAGED: "UPDATE inventory_stock_closingline SET average_value = average_value + 0.01 WHERE id = {id}",
}


@pytest.mark.parametrize("check", CLOSINGS)
def test_an_error_in_a_closed_month_is_found(full, stores, gasket, check):
    with clock.at(moments.months_on(1)):
        actions.close_months()
        made.lot(stores, gasket.pk, "3", "4.80")
    with clock.at(moments.months_on(2)):
        assert len(actions.close_months()) == 1
        assert list(ledger.wrong()) == []
        last = ClosingLine.objects.filter(part=gasket).order_by("-id").values_list("id", flat=True)[0]
        plant(CLOSINGS[check].format(id=last))
        assert {w.check for w in ledger.wrong()} == {check.strip()}


def test_a_movement_slipped_into_a_closed_month_is_found(full, stores, gasket):
    with clock.at(moments.months_on(1)):
        actions.close_months()
    made.lot(stores, gasket.pk, "3", "4.80")
    assert proof_of_costs.CLOSED in {w.check for w in ledger.wrong()}


def test_a_missing_trigger_is_found(full):
    with connection.cursor() as cursor:
        on = " ON inventory_stock_movement" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER inventory_stock_movement_no_update{on}")
    assert [w.where for w in ledger.wrong()] == ["inventory_stock_movement_no_update"]


def test_the_command_says_so_and_fails(full):
    out, err = StringIO(), StringIO()
    call_command("check_ledger", stdout=out, stderr=err)
    assert "The ledger is right" in out.getvalue()
    plant("UPDATE inventory_stock_stocklevel SET on_hand = on_hand + 1")
    with pytest.raises(SystemExit) as stopped:
        call_command("check_ledger", stdout=out, stderr=err)
    assert stopped.value.code == 1
    assert "GKT-041 at site QUAY" in err.getvalue()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE inventory_stock_movement SET quantity = quantity + 1",
        "UPDATE inventory_stock_movement SET label = 'another card'",
        "DELETE FROM inventory_stock_movement",
        "UPDATE inventory_stock_lot SET unit_cost = 1",
        "UPDATE inventory_stock_lot SET expires_on = '2099-01-01'",
        "DELETE FROM inventory_stock_lot",
        "UPDATE inventory_stock_revaluation SET now = 1",
        "DELETE FROM inventory_stock_revaluation",
    ],
)
def test_the_database_refuses_to_change_the_ledger(full, sql):
    before = list(Movement.objects.values_list()), list(Lot.objects.values_list())
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    assert (list(Movement.objects.values_list()), list(Lot.objects.values_list())) == before


@pytest.mark.parametrize(
    ("model", "values"),
    [
        (Balance, {"on_hand": D(-1)}), (StockLevel, {"on_hand": D(-1)}), (StockLevel, {"reserved": D(-1)}),
        (StockLevel, {"reserved": D(1000)}), (Reservation, {"quantity": D(-1)}),
    ],
)  # fmt: skip
def test_the_database_refuses_impossible_balances(full, model, values):
    with pytest.raises(DatabaseError), transaction.atomic():
        model.objects.update(**values)
