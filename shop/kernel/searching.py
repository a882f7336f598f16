"""Finding any part of a text in a large table, quickly on both databases.

The table has a column of folded text (`shop.kernel.folding.fold`). PostgreSQL gets a trigram index on it; SQLite a
full-text table of trigrams beside it, which triggers keep in step.
"""

# ruff: noqa: S608, S611 - the names in this SQL are those of our own tables, from migrations and models
from __future__ import annotations

from typing import Any, TypeVar

from django.db import connections
from django.db.models import Model, QuerySet
from django.db.models.expressions import RawSQL

from .folding import fold
from .triggers import Statements

M = TypeVar("M", bound=Model)

MOST_WORDS = 8
SHORTEST = 3  # letters; a shorter word has no trigram


def searchable(table: str, column: str = "find_text") -> Statements:
    """Migration operation: make `column` of `table` searchable with `containing`.

    On SQLite a later migration that rebuilds the table drops the triggers: repeat this operation after it.
    """

    def forwards(apps: Any, schema_editor: Any) -> None:
        for statement in _sql(schema_editor.connection.vendor, table, column):
            schema_editor.execute(statement, params=None)

    def backwards(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "sqlite":
            for kind in ("insert", "update", "delete"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_find_{kind}")
            schema_editor.execute(f"DROP TABLE IF EXISTS {table}_find")
        else:
            schema_editor.execute(f"DROP INDEX IF EXISTS {table}_find")

    return Statements(forwards, backwards)


def containing(rows: QuerySet[M], text: str, column: str = "find_text") -> QuerySet[M]:
    """The rows whose text contains every word of `text`, without case and accents. Nothing to look for: no row."""
    words = fold(text).split()[:MOST_WORDS]
    if not words:
        return rows.none()
    if connections[rows.db].vendor == "sqlite":
        long = [word for word in words if len(word) >= SHORTEST]
        words = [word for word in words if len(word) < SHORTEST]
        if long:
            table = f"{rows.model._meta.db_table}_find"
            match = " AND ".join('"' + word.replace('"', '""') + '"' for word in long)
            rows = rows.filter(pk__in=RawSQL(f"SELECT rowid FROM {table} WHERE {table} MATCH %s", [match]))
    for word in words:
        rows = rows.filter(**{f"{column}__contains": word})
    return rows


def _sql(vendor: str, table: str, column: str) -> list[str]:
    if vendor != "sqlite":
        return [
            "CREATE EXTENSION IF NOT EXISTS pg_trgm",
            f"CREATE INDEX IF NOT EXISTS {table}_find ON {table} USING gin ({column} gin_trgm_ops)",
        ]
    into = f"INSERT OR REPLACE INTO {table}_find (rowid, text)"
    return [
        f"CREATE VIRTUAL TABLE IF NOT EXISTS {table}_find USING fts5(text, tokenize='trigram')",
        *(f"DROP TRIGGER IF EXISTS {table}_find_{kind}" for kind in ("insert", "update", "delete")),
        f"CREATE TRIGGER {table}_find_insert AFTER INSERT ON {table} BEGIN {into} VALUES (NEW.id, NEW.{column}); END",
        f"CREATE TRIGGER {table}_find_update AFTER UPDATE OF {column} ON {table} "
        f"WHEN NEW.{column} IS NOT OLD.{column} BEGIN {into} VALUES (NEW.id, NEW.{column}); END",
        f"CREATE TRIGGER {table}_find_delete AFTER DELETE ON {table} BEGIN "
        f"DELETE FROM {table}_find WHERE rowid = OLD.id; END",
        f"{into} SELECT id, {column} FROM {table}",
    ]
