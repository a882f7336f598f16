"""The SQL of one posting: its movements and what follows from them.

A posting of ordinary size is held with all else that its write changes, and goes to PostgreSQL in one statement. A large
one goes in bulk, changed balances in one prepared call.
"""

# ruff: noqa: S608 - the names in this SQL are those of our own tables and columns
from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django.db import connection

from shop.kernel import statements, writing

from .models import QTY, Balance, Movement, Reservation, StockLevel

HELD = 20  # movements; beyond, the text of one statement costs more than the round trips it saves


def write(
    movements: Sequence[Movement],
    after: dict[int, Decimal],
    new: Sequence[Balance],
    levels: Sequence[StockLevel],
    used: Reservation | None = None,
) -> None:
    """Insert `movements`, set balances by id to what is `after`, insert `new` ones, and save levels and the reservation
    that was used. The movements have their ids afterwards; the first of them may have one before."""
    if len(movements) > HELD:
        Movement.objects.bulk_create(movements)
        _set(Balance, ("on_hand",), ((pk, q) for pk, q in after.items()))
        Balance.objects.bulk_create(new)
        _set(StockLevel, ("on_hand", "reserved"), ((v.pk, v.on_hand, v.reserved) for v in levels))
    else:
        known = [m.pk for m in movements if m.pk is not None]
        keys = statements.next_keys(Movement, len(movements) - len(known), after=max(known, default=0))
        for movement, pk in zip(movements, known + keys, strict=True):
            movement.pk = pk
        writing.insert(movements)
        for pk, quantity in after.items():
            writing.change(Balance, {"id": pk}, on_hand=quantity)
        writing.insert(new)
        for level in levels:
            writing.change(StockLevel, {"id": level.pk}, on_hand=level.on_hand, reserved=level.reserved)
    if used is not None:
        writing.change(Reservation, {"id": used.pk}, quantity=used.quantity, ended_at=used.ended_at)


def _set(model: type[Balance] | type[StockLevel], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Set quantities by id; each row is (id, value, ...)."""
    adapt = connection.ops.adapt_decimalfield_value
    given = [[*(adapt(q, QTY["max_digits"], QTY["decimal_places"]) for q in values), pk] for pk, *values in rows]
    if given:
        sets = ", ".join(f"{column} = %s" for column in columns)
        with connection.cursor() as cursor:
            cursor.executemany(f"UPDATE {model._meta.db_table} SET {sets} WHERE id = %s", given)
