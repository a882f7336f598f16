"""Proof of the ledger: everything that is cached or copied, recomputed from the movements by the database itself.

The database sorts the movements once for all that is asked of their sums, so a million rows take seconds. It runs on one
snapshot and takes no lock; on PostgreSQL the shop goes on drawing meanwhile.
"""

# ruff: noqa: S608 - all SQL here is put together from constants of this file

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection, transaction

from . import proof_of_costs

# Six decimals are kept, so a real difference is at least 0.000001; below that lies only SQLite's binary arithmetic.
_OFF = "abs({}) > 0.0000009"
SHOWN = 20

_PLACES = """
    WITH places AS MATERIALIZED (
        SELECT lot_id, bin_id, part_id, site_id, SUM(quantity) AS q, MIN(after) AS lowest,
            SUM(CASE WHEN kind = 'receipt' THEN 1 ELSE 0 END) AS receipts
        FROM (
            SELECT lot_id, bin_id, part_id, site_id, kind, quantity,
                SUM(quantity) OVER (PARTITION BY lot_id, bin_id ORDER BY id) AS after
            FROM inventory_stock_movement
        ) r
        GROUP BY lot_id, bin_id, part_id, site_id
    )"""
_LOTS = "SELECT lot_id, bin_id, SUM(q) AS q, MIN(lowest) AS lowest FROM places GROUP BY lot_id, bin_id"
_SITES = "SELECT part_id, site_id, SUM(q) AS q FROM places GROUP BY part_id, site_id"
_KEPT = (
    "SELECT part_id, site_id, SUM(quantity) AS q FROM inventory_stock_reservation WHERE ended_at IS NULL"
    " GROUP BY part_id, site_id"
)
_NONE = "CAST(NULL AS NUMERIC)"

# What is asked of the movements summed up by place: they are read and sorted once for all of it.
_BY_PLACE: dict[str, str] = {
    "balance is the sum of its movements": f"""
        SELECT 'lot ' || l.number || ' in ' || b.code, x.on_hand, m.q
        FROM inventory_stock_balance x
        LEFT JOIN ({_LOTS}) m ON m.lot_id = x.lot_id AND m.bin_id = x.bin_id
        JOIN inventory_stock_lot l ON l.id = x.lot_id JOIN inventory_stock_bin b ON b.id = x.bin_id
        WHERE {_OFF.format("x.on_hand - COALESCE(m.q, 0)")}""",
    "movements have a balance": f"""
        SELECT 'lot ' || l.number || ' in ' || b.code, {_NONE}, m.q
        FROM ({_LOTS}) m
        LEFT JOIN inventory_stock_balance x ON x.lot_id = m.lot_id AND x.bin_id = m.bin_id
        JOIN inventory_stock_lot l ON l.id = m.lot_id JOIN inventory_stock_bin b ON b.id = m.bin_id
        WHERE x.id IS NULL""",
    "level is the sum of its movements": f"""
        SELECT p.number || ' at site ' || s.code, v.on_hand, m.q
        FROM inventory_stock_stocklevel v
        LEFT JOIN ({_SITES}) m ON m.part_id = v.part_id AND m.site_id = v.site_id
        JOIN inventory_parts_part p ON p.id = v.part_id JOIN shop_business_site s ON s.id = v.site_id
        WHERE {_OFF.format("v.on_hand - COALESCE(m.q, 0)")}""",
    "movements have a level": f"""
        SELECT p.number || ' at site ' || s.code, {_NONE}, m.q
        FROM ({_SITES}) m
        LEFT JOIN inventory_stock_stocklevel v ON v.part_id = m.part_id AND v.site_id = m.site_id
        JOIN inventory_parts_part p ON p.id = m.part_id JOIN shop_business_site s ON s.id = m.site_id
        WHERE v.id IS NULL""",
    "a lot came in once, or was opened from another": """
        SELECT 'lot ' || l.number, COALESCE(m.n, 0), CASE WHEN l.opened_from_id IS NULL THEN 1 ELSE 0 END
        FROM inventory_stock_lot l
        LEFT JOIN (SELECT lot_id, SUM(receipts) AS n FROM places GROUP BY lot_id) m ON m.lot_id = l.id
        WHERE COALESCE(m.n, 0) <> CASE WHEN l.opened_from_id IS NULL THEN 1 ELSE 0 END""",
    "nothing was ever below zero": f"""
        SELECT 'lot ' || l.number || ' in ' || b.code, m.lowest, 0
        FROM ({_LOTS}) m
        JOIN inventory_stock_lot l ON l.id = m.lot_id JOIN inventory_stock_bin b ON b.id = m.bin_id
        WHERE m.lowest < -0.0000009""",
    "part and site of a movement are those of its lot and bin": """
        SELECT 'movements of lot ' || l.number || ' in ' || b.code, m.part_id, l.part_id
        FROM places m
        JOIN inventory_stock_lot l ON l.id = m.lot_id JOIN inventory_stock_bin b ON b.id = m.bin_id
        WHERE m.part_id <> l.part_id OR m.site_id <> b.site_id""",
}
_BY_ROW: dict[str, str] = {
    "promised is the sum of open reservations": f"""
        SELECT p.number || ' at site ' || s.code, v.reserved, r.q
        FROM inventory_stock_stocklevel v
        LEFT JOIN ({_KEPT}) r ON r.part_id = v.part_id AND r.site_id = v.site_id
        JOIN inventory_parts_part p ON p.id = v.part_id JOIN shop_business_site s ON s.id = v.site_id
        WHERE {_OFF.format("v.reserved - COALESCE(r.q, 0)")}""",
    "reservations have a level": f"""
        SELECT p.number || ' at site ' || s.code, NULL, r.q
        FROM ({_KEPT}) r
        LEFT JOIN inventory_stock_stocklevel v ON v.part_id = r.part_id AND v.site_id = r.site_id
        JOIN inventory_parts_part p ON p.id = r.part_id JOIN shop_business_site s ON s.id = r.site_id
        WHERE v.id IS NULL""",
    "an ended reservation promises nothing, an open one something": """
        SELECT 'reservation ' || id || ' for ' || label, quantity, NULL FROM inventory_stock_reservation
        WHERE (ended_at IS NULL AND quantity = 0) OR (ended_at IS NOT NULL AND quantity <> 0)""",
    "value is quantity times the cost of the lot": f"""
        SELECT 'movement ' || m.id || ' of lot ' || l.number, m.value, m.quantity * l.unit_cost
        FROM inventory_stock_movement m JOIN inventory_stock_lot l ON l.id = m.lot_id
        WHERE m.kind <> 'revalue' AND l.cost_now IS NULL AND {_OFF.format("m.value - m.quantity * l.unit_cost")}""",
    "part of a balance is that of its lot": """
        SELECT 'balance ' || x.id, x.part_id, l.part_id
        FROM inventory_stock_balance x JOIN inventory_stock_lot l ON l.id = x.lot_id WHERE x.part_id <> l.part_id""",
    "a transfer puts down what it took up": f"""
        SELECT 'posting ' || posting, SUM(quantity), SUM(value)
        FROM inventory_stock_movement WHERE kind = 'transfer'
        GROUP BY posting HAVING {_OFF.format("SUM(quantity)")} OR {_OFF.format("SUM(value)")}""",
    "a kit that was broken open is worth what its parts are": f"""
        SELECT 'posting ' || posting, SUM(value), 0
        FROM inventory_stock_movement WHERE kind = 'kit' GROUP BY posting HAVING {_OFF.format("SUM(value)")}""",
    "no more came back than was drawn": """
        SELECT 'movement ' || d.id, SUM(r.quantity), -d.quantity
        FROM inventory_stock_movement r JOIN inventory_stock_movement d ON d.id = r.reverses_id
        WHERE r.kind = 'return'
        GROUP BY d.id, d.quantity, d.kind, d.lot_id
        HAVING d.kind <> 'draw' OR SUM(r.quantity) > 0.0000009 - d.quantity
            OR MIN(r.lot_id) <> d.lot_id OR MAX(r.lot_id) <> d.lot_id""",
    "a return names its draw": """
        SELECT 'movement ' || id, quantity, NULL FROM inventory_stock_movement
        WHERE kind = 'return' AND reverses_id IS NULL""",
    **proof_of_costs.CHECKS,
}
CHECKS = (*_BY_PLACE, *_BY_ROW)


def _shown(check: str, sql: str) -> str:
    return f"SELECT '{check}', x.* FROM ({sql} LIMIT {SHOWN}) x"


# Each answers rows of check, where, what is written, what is right.
STATEMENTS = (
    f"{_PLACES} {' UNION ALL '.join(_shown(*check) for check in _BY_PLACE.items())}",
    *(_shown(*check) for check in _BY_ROW.items()),
)

TRIGGERS = (
    "inventory_stock_movement_no_update", "inventory_stock_movement_no_delete",
    "inventory_stock_lot_no_update", "inventory_stock_lot_no_delete",
    "inventory_stock_revaluation_no_update", "inventory_stock_revaluation_no_delete",
    "inventory_stock_closing_no_update", "inventory_stock_closing_no_delete",
    "inventory_stock_closingline_no_update", "inventory_stock_closingline_no_delete",
    "inventory_stock_counttally_no_update", "inventory_stock_counttally_no_delete",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that is not as it must be. `found` is what is written, `right` what the movements say."""

    check: str
    where: str
    found: str
    right: str

    def __str__(self) -> str:
        return f"{self.check}: {self.where} has {self.found}, the ledger says {self.right}"


def wrong() -> Iterator[Wrong]:
    """Everything that is wrong, at most 20 of each check."""
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql" and not connection.savepoint_ids:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        for sql in STATEMENTS:
            cursor.execute(sql)
            for check, where, found, right in cursor.fetchall():
                yield Wrong(check, str(where), _said(found), _said(right))
        for check, where, found, right in proof_of_costs.wrong_closings(cursor):
            yield Wrong(check, where, _said(found), _said(right))
        for name in sorted(set(TRIGGERS) - _triggers(cursor)):
            yield Wrong("the database refuses changes", name, "no trigger", "one")


def _said(value: object) -> str:
    return "nothing" if value is None else str(value)


def _triggers(cursor: object) -> set[str]:
    table = (
        "sqlite_master WHERE type = 'trigger'" if connection.vendor == "sqlite" else "pg_trigger WHERE tgenabled <> 'D'"
    )
    column = "name" if connection.vendor == "sqlite" else "tgname"
    cursor.execute(f"SELECT {column} FROM {table}")  # type: ignore[attr-defined]
    return {row[0] for row in cursor.fetchall()}  # type: ignore[attr-defined]
