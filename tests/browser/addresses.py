"""Every page of the project by its route, with real rows of the invented shop for what a route asks for."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

ARGUMENT = re.compile(r"<(?:\w+:)?(\w+)>|\(\?P<(\w+)>[^)]*\)")
DOCUMENT = re.compile(r"(\.pdf|pdf/|\.xml|\.csv|csv\|xlsx\)|^files/<int:pk>/(small/)?)\$?$")
# only on a device that was enrolled: test_every_page does so
APART = {"tablet/", "tablet/<int:pk>/"}
# with a secret that stands in no table: test_customer_link
SECRET = "r/<str:token>/"
NO_PAGE = re.compile(r"^(healthz$|api/v1/|\^api/)")

# What stands for a route's arguments: their names and a query for rows of them. The longest beginning counts. A page that
# shows one thing is looked at with every row, one below it with the first.
_STAGE = """SELECT card_id, id FROM jobs_cards_stage WHERE id IN (SELECT max(s.id) FROM jobs_cards_stage s
    JOIN jobs_cards_jobcard c ON c.id = s.card_id WHERE c.handed_over_at IS NULL AND c.cancelled_at IS NULL
    GROUP BY s.started_at IS NULL, s.finished_at IS NULL, s.go_ahead_at IS NULL, s.declined_at IS NULL)
    ORDER BY finished_at IS NOT NULL, started_at IS NULL, id"""
_CARD = """SELECT max(id) FROM jobs_cards_jobcard GROUP BY arrived_at IS NULL, finished_at IS NULL,
    handed_over_at IS NULL, cancelled_at IS NULL ORDER BY 1 DESC"""
_ESTIMATE = """SELECT max(e.id) FROM jobs_estimates_estimate e LEFT JOIN jobs_estimates_goahead g ON g.estimate_id = e.id
    GROUP BY e.issued_at IS NULL, g.id IS NULL ORDER BY 1 DESC"""
_BOOKING = """SELECT max(b.id) FROM jobs_timebook_timebooking b JOIN shop_people_person p ON p.id = b.person_id
    WHERE b.ended_at IS NOT NULL AND p.username = 'jory'"""
_ATTENDANCE = """SELECT max(a.id) FROM jobs_timebook_attendance a JOIN shop_people_person p ON p.id = a.person_id
    WHERE a.left_at IS NOT NULL AND a.superseded_at IS NULL AND p.username = 'jory'"""
_ORDER = """SELECT max(id) FROM inventory_buying_purchaseorder
    GROUP BY sent_at IS NULL, confirmed_at IS NULL, closed_at IS NULL ORDER BY 1 DESC"""
_LYING = """SELECT b.lot_id, b.bin_id FROM inventory_stock_balance b JOIN inventory_parts_part p ON p.id = b.part_id
    WHERE b.on_hand > 0 AND p.open_life_days IS NOT NULL ORDER BY b.id LIMIT 1"""
_WENT = """SELECT m.lot_id, c.customer_id FROM jobs_draws_draw d JOIN inventory_stock_movement m ON m.id = d.movement_id
    JOIN jobs_cards_jobcard c ON c.id = d.card_id WHERE d.quantity > d.returned"""
_RECALLED = f"SELECT max(x.lot_id) FROM ({_WENT}) x"
EXAMPLES: dict[str, tuple[str, str]] = {
    "api/reference/<slug:name>/": ("name", "SELECT 'cards' UNION SELECT 'draws'"),
    "api/problems/<slug:code>": ("code", "SELECT 'go-ahead-missing' UNION SELECT 'stale'"),
    "business/sites/<int:pk>/": ("pk", "SELECT min(id) FROM shop_business_site"),
    "business/hours/<int:weekday>/": ("weekday", "SELECT 1"),
    "business/vat/<int:pk>/": ("pk", "SELECT min(id) FROM shop_business_taxrate"),
    "business/labour/<int:pk>/": ("pk", "SELECT min(id) FROM shop_business_labourrate"),
    "people/<int:pk>/": ("pk", "SELECT min(id) FROM shop_people_person"),
    "files/<slug:subject>/<int:subject_id>/": (
        "subject subject_id", "SELECT subject, subject_id FROM shop_documents_attachment WHERE subject = 'jobcard'",
    ),
    "files/<int:pk>/": ("pk", "SELECT id FROM shop_documents_attachment WHERE subject = 'jobcard'"),
    "suppliers/offers/<int:pk>/": ("pk", "SELECT min(id) FROM inventory_buying_offer WHERE package != ''"),
    "orders/<int:pk>/": ("pk", _ORDER),
    "orders/part/<int:pk>/": ("pk", "SELECT id FROM inventory_parts_part WHERE number = 'GKT-041'"),
    "orders/lines/<int:pk>/": ("pk", """SELECT max(l.id) FROM inventory_buying_orderline l
        JOIN inventory_buying_purchaseorder o ON o.id = l.order_id WHERE o.sent_at IS NULL"""),
    "orders/lines/<int:pk>/close/": ("pk", """SELECT max(l.id) FROM inventory_buying_orderline l
        JOIN inventory_buying_purchaseorder o ON o.id = l.order_id WHERE o.sent_at IS NOT NULL AND l.closed_at IS NULL"""),
    "receipts/<int:pk>/": ("pk", "SELECT max(id) FROM inventory_buying_goodsreceipt GROUP BY posted_at IS NULL ORDER BY 1 DESC"),
    "receipts/<int:pk>/lines/": ("pk", "SELECT max(id) FROM inventory_buying_goodsreceipt WHERE posted_at IS NULL"),
    "receipts/lines/<int:pk>/": ("pk", """SELECT max(l.id) FROM inventory_buying_receiptline l
        JOIN inventory_buying_goodsreceipt r ON r.id = l.receipt_id WHERE r.posted_at IS NULL"""),
    "receipts/lines/<int:pk>/send-back/": ("pk", """SELECT max(l.id) FROM inventory_buying_receiptline l
        JOIN inventory_stock_balance b ON b.lot_id = l.lot_id WHERE b.on_hand > 0"""),
    "supplier-invoices/<int:pk>/": ("pk", "SELECT max(id) FROM inventory_buying_supplierinvoice"),
    "supplier-invoices/incoming/<int:pk>/": ("pk", "SELECT max(id) FROM inventory_buying_incominginvoice WHERE bill_id IS NULL"),
    "supplier-invoices/new/<int:pk>/": ("pk", "SELECT max(supplier_id) FROM inventory_buying_goodsreceipt WHERE posted_at IS NOT NULL"),
    "suppliers/<int:pk>/": ("pk", "SELECT id FROM inventory_buying_supplier ORDER BY id LIMIT 1"),
    "labels/papers/<int:pk>/": ("pk", "SELECT min(id) FROM inventory_labels_labelpaper"),
    "parts/prices/<int:pk>/": ("pk", "SELECT min(id) FROM inventory_parts_pricerule"),
    "parts/charges/<int:pk>/": ("pk", "SELECT min(id) FROM inventory_parts_partcharge"),
    "parts/<int:pk>/": ("pk", "SELECT id FROM inventory_parts_part WHERE number IN ('GKT-041', 'GKT-040', 'CON-802')"),
    "stock/lots/<int:pk>/": (
        "pk", "SELECT max(lot_id) FROM inventory_stock_balance GROUP BY on_hand > 0",
    ),
    "stock/lots/<int:lot_id>/in/<int:bin_id>/": ("lot_id bin_id", _LYING),
    "stock/counts/<int:pk>/": ("pk", "SELECT max(count_id) FROM inventory_stock_countline GROUP BY closed_at IS NULL"),
    "stock/counts/lines/<int:pk>/": (
        "pk", "SELECT max(id) FROM inventory_stock_countline GROUP BY closed_at IS NULL, finished_at IS NULL",
    ),
    "recall/lots/<int:pk>/": ("pk", _RECALLED),
    "recall/lots/<int:pk>/customers/<int:customer>/letter.pdf": (
        "pk customer", f"SELECT x.lot_id, max(x.customer_id) FROM ({_WENT}) x GROUP BY x.lot_id ORDER BY x.lot_id DESC LIMIT 1",
    ),
    "stock/bins/<int:pk>/": ("pk", "SELECT bin_id FROM inventory_stock_balance WHERE on_hand > 0 ORDER BY id LIMIT 1"),
    "alerts/<int:pk>/": ("pk", "SELECT min(id) FROM jobs_alerts_alert WHERE ended_at IS NULL"),
    "reorder/<int:pk>/": (
        "pk", "SELECT max(id) FROM inventory_reorder_proposal GROUP BY put_off_at IS NULL, ordered_at IS NULL",
    ),
    "reorder/rules/<int:pk>/": ("pk", "SELECT id FROM inventory_reorder_reorderrule ORDER BY id LIMIT 2"),
    "customers/<int:pk>/": ("pk", "SELECT customer_id FROM jobs_cards_jobcard ORDER BY id LIMIT 1"),
    "customers/<int:customer>/": ("customer", "SELECT customer_id FROM jobs_invoices_invoice WHERE settled_at IS NULL"),
    "machines/<int:pk>/": ("pk", "SELECT machine_id FROM jobs_machines_usagereading ORDER BY id DESC LIMIT 1"),
    "plans/<int:pk>/": ("pk", "SELECT min(id) FROM jobs_plans_workplan"),
    "plans/stages/<int:pk>/": ("pk", "SELECT min(id) FROM jobs_plans_planstage"),
    "plans/gates/<int:pk>/": ("pk", "SELECT min(id) FROM jobs_plans_plangate"),
    "plans/parts/<int:pk>/": ("pk", "SELECT min(id) FROM jobs_plans_planpart"),
    "hours/people/<int:pk>/": ("pk", "SELECT max(person_id) FROM jobs_timebook_timebooking"),
    "hours/<int:pk>/": ("pk", _BOOKING),
    "hours/attendance/<int:pk>/": ("pk", _ATTENDANCE),
    "cards/<int:pk>/": ("pk", _CARD),
    "cards/<int:card>/": ("card", _CARD),
    "cards/<int:card>/stages/<int:pk>/": ("card pk", _STAGE),
    "cards/<int:card>/stages/<int:stage>/": ("card stage", _STAGE),
    "cards/<int:card>/stages/<int:stage>/sent-out/": ("card stage", """SELECT card_id, id FROM jobs_cards_stage
        WHERE kind = 'sublet' AND removed_at IS NULL ORDER BY id DESC LIMIT 1"""),
    "sent-out/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_sublet_subletbill"),
    "draws/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_draws_draw GROUP BY fitted > 0, spent > 0, returned > 0"),
    "needs/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_draws_need WHERE removed_at IS NULL"),
    "estimates/<int:pk>/": ("pk", _ESTIMATE),
    "estimates/<int:pk>/links/": ("pk", "SELECT estimate_id FROM jobs_replies_customerlink UNION SELECT min(id) FROM jobs_estimates_estimate"),
    "invoices/<int:pk>/": (
        "pk", "SELECT max(id) FROM jobs_invoices_invoice GROUP BY kind, issued_at IS NULL, settled_at IS NULL",
    ),
    "invoices/cores/<int:line>/": ("line", """SELECT max(l.id) FROM jobs_invoices_invoiceline l
        JOIN jobs_invoices_invoice i ON i.id = l.invoice_id WHERE l.kind = 'core' AND i.issued_at IS NOT NULL"""),
    "invoices/cores/records/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_invoices_corereturn WHERE reverses_id IS NULL"),
    "invoices/<int:pk>/cii.xml": ("pk", "SELECT max(id) FROM jobs_invoices_invoice WHERE issued_at IS NOT NULL"),
    "invoices/<int:pk>/ubl.xml": ("pk", "SELECT max(id) FROM jobs_invoices_invoice WHERE kind = 'credit'"),
    "payments/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_invoices_payment"),
    "accounts/letters/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_accounts_reminder"),
    "accounts/disputes/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_accounts_dispute"),
    "import/<int:pk>/": ("pk", "SELECT max(id) FROM jobs_exchange_importrun"),
    "import/empty/<slug:kind>": ("kind", "SELECT 'parts' UNION SELECT 'customers'"),
    "export/": ("kind form", "SELECT 'parts', 'csv' UNION SELECT 'parts', 'xlsx'"),
}  # fmt: skip


@dataclass(frozen=True)
class Route:
    pattern: str  # "cards/<int:pk>/"
    right: str | None
    paths: tuple[str, ...]  # with real rows
    document: bool  # a file, no page


def routes(rows: Callable[[str], list[tuple]]) -> list[Route]:
    """All that answer a GET with a page or a document. Raises LookupError for a route that EXAMPLES knows no row for."""
    found = []
    for pattern, view in _walk(get_resolver().url_patterns):
        if (
            NO_PAGE.match(pattern)
            or pattern in APART
            or pattern.startswith(SECRET)
            or "GET" not in getattr(view, "methods", ("GET",))
        ):
            continue
        paths = tuple(f"/{path}" for path in _filled(pattern, rows))
        found.append(Route(pattern, getattr(view, "right", None), paths, bool(DOCUMENT.search(pattern))))
    return found


def _walk(patterns: list[Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for each in patterns:
        here = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from _walk(each.url_patterns, here)
        elif isinstance(each, URLPattern):
            yield here, each.callback


def _filled(pattern: str, rows: Callable[[str], list[tuple]]) -> list[str]:
    plain = re.sub(r"^\^|\$$", "", pattern).replace("\\.", ".")
    if not ARGUMENT.search(plain):
        return [plain]
    key = max((k for k in EXAMPLES if plain.startswith(k)), key=len, default=None)
    if key is None:
        raise LookupError(f"{pattern}: tests/browser/addresses.py has no example for it")
    names, query = EXAMPLES[key]
    values = rows(query)
    if not values:
        raise LookupError(f"{pattern}: the invented shop has no row for it; see {key} in tests/browser/addresses.py")
    if plain != key:
        values = values[:1]
    found = []
    for row in values:
        given = dict(zip(names.split(), row, strict=True))
        found.append(ARGUMENT.sub(lambda m, given=given: str(given[m[1] or m[2]]), plain))
    return list(dict.fromkeys(found))
