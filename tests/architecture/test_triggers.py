"""Tables that must not change are guarded in the database itself. On SQLite a later migration that rebuilds a table would
drop its triggers without a word; this test hears it."""

import pytest
from django.db import connection

pytestmark = pytest.mark.django_db

GUARDED = {
    "shop_trail_trailrow",
    "shop_business_interestrate",
    "inventory_stock_movement",
    "inventory_stock_lot",
    "inventory_stock_revaluation",
    "inventory_stock_closing",
    "inventory_stock_closingline",
    "inventory_stock_counttally",
    "inventory_buying_goodsreceipt",
    "inventory_buying_sentback",
    "inventory_buying_supplierinvoice",
    "inventory_buying_supplierinvoiceline",
    "jobs_machines_usagereading",
    "jobs_cards_cardnote",
    "jobs_cards_gate",
    "jobs_timebook_timebooking",
    "jobs_timebook_attendance",
    "jobs_draws_draw",
    "jobs_draws_drawevent",
    "jobs_sublet_subletbill",
    "jobs_estimates_estimate",
    "jobs_estimates_goahead",
    "jobs_estimates_goaheadline",
    "jobs_replies_customerlink",
    "jobs_replies_reply",
    "jobs_invoices_invoice",
    "jobs_accounts_reminder",
    "jobs_accounts_reminderline",
    "jobs_invoices_payment",
    "jobs_invoices_allocation",
}


def triggers() -> set[str]:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
        return {name for (name,) in cursor.fetchall()}


@pytest.mark.parametrize("table", sorted(GUARDED))
def test_the_database_refuses_change(table):
    there = triggers()
    assert {f"{table}_no_update", f"{table}_no_delete"} <= there


@pytest.mark.parametrize("table", ["jobs_machines_customer", "jobs_machines_machine"])
def test_the_text_index_is_kept(table):
    if connection.vendor == "sqlite":
        assert {f"{table}_find_text_{change}" for change in ("insert", "update", "delete")} <= triggers()
    else:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM pg_indexes WHERE indexname = %s", [f"{table}_find_text_trgm"])
            assert cursor.fetchone()
