"""Proof of what stock is worth: lots that turned out to cost something else, and months that were added up."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from django.db import connection

from . import worth
from .models import Closing, ClosingLine

AVERAGE_DUST = Decimal("0.000002")

# Each answers rows of where, what is written, what is right; only lots that were revalued are looked at.
CHECKS: dict[str, str] = {
    "value is quantity times what the lot cost then": """
        SELECT 'movement ' || x.id || ' of lot ' || x.number, x.value, x.quantity * x.cost
        FROM (
            SELECT m.id, l.number, m.value, m.quantity, COALESCE((
                SELECT r.now FROM inventory_stock_revaluation r WHERE r.lot_id = m.lot_id AND r.since_id < m.id
                ORDER BY r.id DESC LIMIT 1
            ), l.unit_cost) AS cost
            FROM inventory_stock_movement m JOIN inventory_stock_lot l ON l.id = m.lot_id
            WHERE m.kind <> 'revalue' AND l.cost_now IS NOT NULL
        ) x WHERE abs(x.value - x.quantity * x.cost) > 0.0000009""",
    "a lot costs what its last revaluation says": """
        SELECT 'lot ' || x.number, x.cost_now, x.told
        FROM (
            SELECT l.number, l.cost_now, (
                SELECT r.now FROM inventory_stock_revaluation r WHERE r.lot_id = l.id ORDER BY r.id DESC LIMIT 1
            ) AS told FROM inventory_stock_lot l
        ) x WHERE COALESCE(x.cost_now, -1) <> COALESCE(x.told, -1)""",
    "a revaluation begins where the last one ended": """
        SELECT 'revaluation ' || x.id || ' of lot ' || l.number, x.was, COALESCE(x.before, l.unit_cost)
        FROM (
            SELECT id, lot_id, was, LAG(now) OVER (PARTITION BY lot_id ORDER BY id) AS before
            FROM inventory_stock_revaluation
        ) x JOIN inventory_stock_lot l ON l.id = x.lot_id WHERE x.was <> COALESCE(x.before, l.unit_cost)""",
    "a revaluation is posted in full": """
        SELECT 'revaluation ' || x.id || ' of lot ' || l.number, x.posted, x.on_hand_value
        FROM (
            SELECT r.id, r.lot_id, r.on_hand_value, r.used_value, COALESCE(SUM(m.value), 0) AS posted,
                COALESCE(SUM(CASE WHEN m.reverses_id IS NOT NULL THEN m.value END), 0) AS told
            FROM inventory_stock_revaluation r LEFT JOIN inventory_stock_movement m
                ON m.lot_id = r.lot_id AND m.posting = r.posting AND m.kind = 'revalue'
            GROUP BY r.id, r.lot_id, r.on_hand_value, r.used_value
        ) x JOIN inventory_stock_lot l ON l.id = x.lot_id
        WHERE abs(x.posted - x.on_hand_value) > 0.0000009 OR abs(x.told + x.used_value) > 0.0000009""",
    "a cost difference belongs to a revaluation": """
        SELECT 'movement ' || m.id, m.value, NULL
        FROM inventory_stock_movement m LEFT JOIN inventory_stock_revaluation r
            ON r.lot_id = m.lot_id AND r.posting = m.posting
        WHERE m.kind = 'revalue' AND r.id IS NULL""",
    "a cost difference names a use of its lot": """
        SELECT 'movement ' || m.id, m.reverses_id, NULL
        FROM inventory_stock_movement m JOIN inventory_stock_movement u ON u.id = m.reverses_id
        WHERE m.kind = 'revalue' AND (u.lot_id <> m.lot_id OR u.kind NOT IN ('draw', 'scrap', 'sent-back', 'count', 'kit'))""",
    "a revalued lot is worth what lies of it at its cost": """
        SELECT 'lot ' || l.number, SUM(m.value), SUM(m.quantity) * l.cost_now
        FROM inventory_stock_lot l JOIN inventory_stock_movement m ON m.lot_id = l.id WHERE l.cost_now IS NOT NULL
        GROUP BY l.id, l.number, l.cost_now
        HAVING abs(SUM(m.value) - SUM(m.quantity) * l.cost_now) > 0.000001 * (COUNT(*) + 1)""",
}
CLOSED = "a closed month is the one before and its movements"
AVERAGED = "the moving average of the last closed month"
_MONTH = """
    SELECT p.number, SUM(x.there), SUM(x.come)
    FROM (
        SELECT part_id, CASE WHEN closing_id = %s THEN {column} ELSE 0 END AS there,
            CASE WHEN closing_id = %s THEN 0 ELSE {column} END AS come
        FROM inventory_stock_closingline WHERE closing_id IN (%s, %s)
        UNION ALL
        SELECT part_id, 0, SUM({column}) FROM inventory_stock_movement WHERE at < %s AND at >= %s GROUP BY part_id
    ) x JOIN inventory_parts_part p ON p.id = x.part_id
    GROUP BY x.part_id, p.number HAVING abs(SUM(x.there) - SUM(x.come)) > 0.0000009 LIMIT 20"""


def wrong_closings(cursor: Any) -> Iterator[tuple[str, str, object, object]]:
    """Rows of check, where, what is written, what is right: each closed month against the one before and the movements
    between, and the averages of the last one posting by posting."""
    last: tuple[int, datetime] = (0, datetime(1900, 1, 1, tzinfo=UTC))
    for closing in Closing.objects.order_by("until").values_list("pk", "until"):
        moments = [connection.ops.adapt_datetimefield_value(m) for m in (closing[1], last[1])]
        for column in ("quantity", "value"):
            cursor.execute(_MONTH.format(column=column), [closing[0], closing[0], closing[0], last[0], *moments])
            for number, there, come in cursor.fetchall():
                where = f"{number} before {closing[1]:%Y-%m-%d}"
                yield CLOSED, f"{where} ({column})", there, come
        last = closing
    if last[0]:
        lines = ClosingLine.objects.filter(closing=last[0]).select_related("part")
        found, right = {line.part_id: line for line in lines}, worth.at(last[1], known_before=last[1])
        for part, line in found.items():
            should = right[part].average_value if part in right else Decimal(0)
            if abs(line.average_value - should) > AVERAGE_DUST:
                yield AVERAGED, line.part.number, line.average_value, should
