"""SQL of our own, for what is done so often that building it anew would cost more than the database needs for it.

On PostgreSQL it goes as a prepared statement, which the server plans once for a connection. The placeholders are "%s".
"""

# ruff: noqa: S608 - the names in this SQL are those of our own tables and columns
from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections, models


def fetch(sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
    """All rows that one statement answers. Raises what Django's cursors raise."""
    with _sent(sql, values) as cursor:
        return cursor.fetchall()


def execute(sql: str, values: Sequence[Any] = ()) -> None:
    """Run one statement that answers nothing. Raises what Django's cursors raise."""
    with _sent(sql, values):
        pass


def _sent(sql: str, values: Sequence[Any]) -> Any:
    database = connections[DEFAULT_DB_ALIAS]
    if database.vendor != "postgresql" or database.queries_logged:  # who listens wants the values in the text
        cursor = database.cursor()
        cursor.execute(sql, values)
        return cursor
    from psycopg import RawCursor  # Django's own puts the values into the text, which no server can plan once

    database.ensure_connection()
    raw: Any = RawCursor(database.connection)
    prepared = database.make_cursor(raw)
    prepared.execute(_numbered(sql), [_as_bigint(v) for v in values])
    return prepared


@functools.lru_cache(maxsize=512)
def _numbered(sql: str) -> str:
    first, *rest = sql.split("%s")
    return first + "".join(f"${n}{part}" for n, part in enumerate(rest, 1))


def _as_bigint(value: Any) -> Any:
    """One type for all whole numbers, or the statement would be prepared for each size of them."""
    return _bigint()(value) if type(value) is int else value


@functools.cache
def _bigint() -> Any:
    from psycopg.types.numeric import Int8

    return Int8


def next_key(model: type[models.Model]) -> str:
    """SQL of a value for a SELECT: the primary key of a row of `model` that this write is going to insert.

    On SQLite the row must be inserted before the next key is asked for, or named `after`; only one write is under way.
    """
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        return f"(SELECT nextval('{table}_id_seq'))"
    return f"(SELECT COALESCE(MAX(seq), 0) + 1 FROM sqlite_sequence WHERE name = '{table}')"


def next_keys(model: type[models.Model], how_many: int, *, after: int = 0) -> list[int]:
    """So many primary keys at once, ascending. As `next_key`; `after` is the last one whose row isn't inserted yet."""
    if how_many < 1:
        return []
    if connection.vendor == "postgresql":
        sequence = f"{model._meta.db_table}_id_seq"
        return [k for (k,) in fetch(f"SELECT nextval('{sequence}') FROM generate_series(1, %s)", [how_many])]
    ((first,),) = fetch(f"SELECT {next_key(model)}")
    first = max(first, after + 1)
    return list(range(first, first + how_many))


class Joined:
    """One SELECT over several tables, answered as rows of their models.

        TAKEN = Joined("SELECT {s}, {c} FROM jobs_cards_stage s JOIN jobs_cards_jobcard c ON c.id = s.card_id"
                       " WHERE s.id = %s {lock}", lock="FOR SHARE OF c, s", key=Draw,
                       s=Stage, c=(JobCard, "id", "number"))

    Each model stands under the alias of its table, all of it or some columns (the rest is read when somebody asks for
    it). Where an outer join found nothing the answer has None. `{lock}` is left out on SQLite, where a write locks
    everything. `{key}` is the next primary key of that model.
    """

    def __init__(self, sql: str, *, lock: str = "", key: type[models.Model] | None = None, **tables: Any) -> None:
        self.sql, self.lock, self.key = sql, lock, key
        self.tables = {a: t if isinstance(t, tuple) else (t,) for a, t in tables.items()}
        self._made: tuple[str, list[Any]] | None = None

    def rows(self, values: Sequence[Any]) -> Iterator[list[Any]]:
        """Each row: an instance or None for every table in their order, then what else the SELECT names."""
        if self._made is None:
            self._made = self._make()
        sql, readers = self._made
        database = connections[DEFAULT_DB_ALIAS]
        for row in fetch(sql, values):
            answer: list[Any] = []
            at = 0
            for model, names, converters, key in readers:
                part: Any = row[at : at + len(names)]
                at += len(names)
                if part[key] is None:
                    answer.append(None)
                    continue
                if converters:
                    part = list(part)
                    for n, convert, expression in converters:
                        part[n] = convert(part[n], expression, database)
                answer.append(model.from_db(DEFAULT_DB_ALIAS, names, part))
            answer += row[at:]
            yield answer

    def one(self, values: Sequence[Any]) -> list[Any] | None:
        return next(self.rows(values), None)

    def _make(self) -> tuple[str, list[Any]]:
        words: dict[str, str] = {"lock": self.lock if connection.vendor == "postgresql" else ""}
        if self.key:
            words["key"] = next_key(self.key)
        readers = []
        for alias, (model, *only) in self.tables.items():
            fields = [f for f in model._meta.concrete_fields if not only or f.attname in only]
            words[alias] = ", ".join(f'{alias}."{f.column}"' for f in fields)
            converters = [(n, c, f.cached_col) for n, f in enumerate(fields) for c in _converters(f)]
            key = next(n for n, f in enumerate(fields) if f.primary_key)
            readers.append((model, [f.attname for f in fields], converters, key))
        return self.sql.format(**words), readers


def _converters(field: Any) -> list[Any]:
    """From what the database answers to what the field holds."""
    column = field.cached_col
    return [*connection.ops.get_db_converters(column), *field.get_db_converters(connection)]


@functools.lru_cache(maxsize=256)
def insert_sql(model: type[models.Model], keyed: bool, how_many: int) -> str:
    fields = columns(model, keyed)
    row = f"({', '.join(['%s'] * len(fields))})"
    names = ", ".join(f'"{f.column}"' for f, _ in fields)
    return f'INSERT INTO "{model._meta.db_table}" ({names}) VALUES {", ".join([row] * how_many)}'


@functools.lru_cache(maxsize=256)
def columns(model: type[models.Model], keyed: bool) -> list[tuple[Any, Any]]:
    """The fields that an INSERT names, each with what makes its value fit for the database (None: it is)."""
    return [(f, _writer(f, connection.vendor)) for f in model._meta.concrete_fields if keyed or not f.primary_key]


@functools.cache
def field_of(model: type[models.Model], name: str) -> tuple[Any, Any]:
    found: Any = model._meta.pk if name == "pk" else model._meta.get_field(name)
    return found, _writer(found, connection.vendor)


def _writer(field: Any, vendor: str) -> Any:
    if vendor == "postgresql" and not isinstance(field, models.JSONField):
        plain = not field.choices
        return None if plain else lambda value: value if value is None else str(value)
    if vendor == "postgresql":
        import json

        return lambda value: None if value is None else json.dumps(value, cls=field.encoder)
    return lambda value: field.get_db_prep_save(value, connection)
