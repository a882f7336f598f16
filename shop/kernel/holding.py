"""Changes that nobody reads back before the commit, held to go together in one round trip.

Used by `shop.kernel.writing`, which sends them before the write's next statement and before its commit. On SQLite, where
a statement costs no round trip, nothing is held.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections, models

from . import statements

MOST = 60  # rows or changes in one statement; a longer text costs more than the round trip it saves


class Held:
    """Changes in the order in which they were made. One statement carries them all, and inside one statement no change
    sees another; so those that touch the same row are sent apart."""

    def __init__(self) -> None:
        self.changes: list[tuple[str, list[Any]]] = []
        self.touched: set[Any] = set()

    def insert(self, rows: Sequence[models.Model]) -> None:
        """Insert rows of one model; with their primary keys, when they have some."""
        if not rows:
            return
        model, keyed = type(rows[0]), rows[0].pk is not None
        if len(rows) > MOST:
            self.send()
            model._default_manager.bulk_create(rows)
            return
        fields = statements.columns(model, keyed)
        values = [
            write(getattr(row, f.attname)) if write else getattr(row, f.attname) for row in rows for f, write in fields
        ]
        self._add(statements.insert_sql(model, keyed, len(rows)), values, model._meta.db_table, None)
        for row in rows:
            row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS

    def change(
        self, model: type[models.Model], where: Mapping[str, Any], add: Mapping[str, Any], values: Mapping[str, Any]
    ) -> None:
        """Set the `values` of the row that `where` names, and `add` to what it holds."""
        sql = _change_sql(model, tuple(where), tuple(add), tuple(values))
        given = []
        for name, value in (*add.items(), *values.items(), *where.items()):
            write = statements.field_of(model, name)[1]
            given.append(write(value) if write else value)
        self._add(sql, given, model._meta.db_table, (tuple(where), tuple(where.values())))

    def _add(self, sql: str, values: list[Any], table: str, row: Any) -> None:
        if connections[DEFAULT_DB_ALIAS].vendor != "postgresql":
            statements.execute(sql, values)
            return
        if self._meets(table, row) or len(self.changes) >= MOST:
            self.send()
        self.changes.append((sql, values))
        self.touched.add((table, row))

    def _meets(self, table: str, row: Any) -> bool:
        """Whether the change could touch a row that one of those held touches, or number rows before them."""
        met = (r for t, r in self.touched if t == table)
        return any(row is None or r is None or r == row or r[0] != row[0] for r in met)

    def send(self) -> None:
        if self.changes:
            changes = self.changes
            self.drop()
            statements.execute(
                _together(tuple(sql for sql, _ in changes)), [v for _, values in changes for v in values]
            )

    def drop(self) -> None:
        self.changes, self.touched = [], set()


@functools.lru_cache(maxsize=256)
def _together(parts: tuple[str, ...]) -> str:
    *first, last = parts
    named = ", ".join(f"w{n} AS ({sql})" for n, sql in enumerate(first))
    return f"WITH {named} {last}" if first else last


@functools.lru_cache(maxsize=256)
def _change_sql(
    model: type[models.Model], where: tuple[str, ...], add: tuple[str, ...], values: tuple[str, ...]
) -> str:
    def column(name: str) -> str:
        return f'"{statements.field_of(model, name)[0].column}"'

    sets = [f"{column(n)} = {column(n)} + %s" for n in add] + [f"{column(n)} = %s" for n in values]
    keys = " AND ".join(f"{column(n)} = %s" for n in where)
    return f'UPDATE "{model._meta.db_table}" SET {", ".join(sets)} WHERE {keys}'  # noqa: S608 - names of our own
