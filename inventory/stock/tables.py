"""The SQL of one posting: its movements and what follows from them, in as few statements as the database allows.

PostgreSQL takes a small posting as one statement. Otherwise rows go in bulk, and changed balances in one prepared call.
"""

# ruff: noqa: S608 - the names in this SQL are those of our own tables and columns
from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django.db import connection

from .models import QTY, Balance, Movement, Reservation, StockLevel

ONE_STATEMENT = 40  # entries; beyond, the text of the statement costs more than the round trips it saves

_MOVEMENT = [f.attname for f in Movement._meta.concrete_fields if not f.primary_key]
_VALUES = "(" + ", ".join(["%s"] * len(_MOVEMENT)) + ")"
_INSERT = f"INSERT INTO {Movement._meta.db_table} ({', '.join(_MOVEMENT)}) VALUES "


def write(
    movements: Sequence[Movement],
    after: dict[int, Decimal],
    new: Sequence[Balance],
    levels: Sequence[StockLevel],
    used: Reservation | None = None,
) -> None:
    """Insert `movements` (their ids are set), set balances by id to what is `after`, insert `new` ones, and save levels
    and the reservation that was used."""
    if connection.vendor == "postgresql" and len(movements) <= ONE_STATEMENT and not new:
        _together(movements, after, levels, used)
        return
    Movement.objects.bulk_create(movements)
    _set(Balance, ("on_hand",), ((pk, q) for pk, q in after.items()))
    Balance.objects.bulk_create(new)
    _set(StockLevel, ("on_hand", "reserved"), ((v.pk, v.on_hand, v.reserved) for v in levels))
    if used is not None:
        used.save(update_fields=["quantity", "ended_at"])


def _together(
    movements: Sequence[Movement],
    after: dict[int, Decimal],
    levels: Sequence[StockLevel],
    used: Reservation | None,
) -> None:
    parameters: list[Any] = [getattr(m, column) for m in movements for column in _MOVEMENT]
    parts = [f"moved AS ({_INSERT}{', '.join([_VALUES] * len(movements))} RETURNING id)"]
    if after:
        rows = ", ".join(["(%s::bigint, %s::numeric)"] * len(after))
        parts.append(
            f"placed AS (UPDATE {Balance._meta.db_table} t SET on_hand = v.q FROM (VALUES {rows}) v (id, q)"
            " WHERE t.id = v.id)"
        )
        parameters += [x for row in after.items() for x in row]
    rows = ", ".join(["(%s::bigint, %s::numeric, %s::numeric)"] * len(levels))
    parts.append(
        f"levelled AS (UPDATE {StockLevel._meta.db_table} t SET on_hand = v.q, reserved = v.r"
        f" FROM (VALUES {rows}) v (id, q, r) WHERE t.id = v.id)"
    )
    parameters += [x for level in levels for x in (level.pk, level.on_hand, level.reserved)]
    if used is not None:
        parts.append(f"used AS (UPDATE {Reservation._meta.db_table} SET quantity = %s, ended_at = %s WHERE id = %s)")
        parameters += [used.quantity, used.ended_at, used.pk]
    with connection.cursor() as cursor:
        cursor.execute(f"WITH {', '.join(parts)} SELECT id FROM moved ORDER BY id", parameters)
        ids = [pk for (pk,) in cursor.fetchall()]
    for movement, pk in zip(movements, ids, strict=True):
        movement.pk = pk
        movement._state.adding = False
        movement._state.db = connection.alias


def _set(model: type[Balance] | type[StockLevel], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Set quantities by id; each row is (id, value, ...)."""
    adapt = connection.ops.adapt_decimalfield_value
    given = [[*(adapt(q, QTY["max_digits"], QTY["decimal_places"]) for q in values), pk] for pk, *values in rows]
    if given:
        sets = ", ".join(f"{column} = %s" for column in columns)
        with connection.cursor() as cursor:
            cursor.executemany(f"UPDATE {model._meta.db_table} SET {sets} WHERE id = %s", given)
