# ruff: noqa: S608 - table and column names are those of our own migrations, texts are parameters
"""Finding text anywhere in a column without reading every row: a trigram index on both databases.

A room that wants it keeps a folded text column (kernel/folding.py) on its table and has in a migration

    operations = [index_text("jobs_machines_customer", "find_text")]

and in its queries `containing(rows, "find_text", text)`. A later migration that rebuilds the table on SQLite drops the
triggers that keep the index; a test in tests/architecture hears it.
"""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import connections
from django.db.models import Model, QuerySet
from django.db.models.expressions import RawSQL

from .folding import fold
from .triggers import Statements

M = TypeVar("M", bound=Model)
MOST_WORDS = 8
SHORTEST = 3  # a trigram index knows nothing of shorter words


def index_text(table: str, column: str) -> Statements:
    """Index `column` of `table` for `containing`: pg_trgm on PostgreSQL, an FTS5 table beside it on SQLite."""

    def forwards(apps: Any, schema_editor: Any) -> None:
        for statement in _sql(schema_editor.connection.vendor, table, column):
            schema_editor.execute(statement, params=None)

    def backwards(apps: Any, schema_editor: Any) -> None:
        name = f"{table}_{column}"
        if schema_editor.connection.vendor == "sqlite":
            for kind in ("insert", "update", "delete"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{kind}")
            schema_editor.execute(f"DROP TABLE IF EXISTS {name}_fts")
        else:
            schema_editor.execute(f"DROP INDEX IF EXISTS {name}_trgm")

    return Statements(forwards, backwards)


def containing(rows: QuerySet[M], column: str, text: str) -> QuerySet[M]:
    """Rows whose folded `column`, indexed by `index_text`, holds every word of `text` somewhere."""
    words = fold(text).split()[:MOST_WORDS]
    if connections[rows.db].vendor == "sqlite":
        if long := [w for w in words if len(w) >= SHORTEST]:
            table = f"{rows.model._meta.db_table}_{column}_fts"
            match = " ".join('"' + w.replace('"', '""') + '"' for w in long)
            sql = f'SELECT rowid FROM "{table}" WHERE "{table}" MATCH %s'
            rows = rows.filter(pk__in=RawSQL(sql, [match]))  # noqa: S611 - as above
        words = [w for w in words if len(w) < SHORTEST]
    for word in words:
        rows = rows.filter(**{f"{column}__contains": word})
    return rows


def starting(rows: QuerySet[M], column: str, text: str) -> QuerySet[M]:
    """Rows whose `column` (indexed, folded) begins with `text`, by the index on both databases."""
    if connections[rows.db].vendor == "sqlite":  # its LIKE ignores case and so no index serves it
        return rows.filter(**{f"{column}__gte": text, f"{column}__lt": text + "\U0010ffff"})
    return rows.filter(**{f"{column}__startswith": text})


def _sql(vendor: str, table: str, column: str) -> list[str]:
    name = f"{table}_{column}"
    if vendor != "sqlite":
        return [
            "CREATE EXTENSION IF NOT EXISTS pg_trgm",
            f"CREATE INDEX {name}_trgm ON {table} USING gin ({column} gin_trgm_ops)",
        ]
    fts = f"{name}_fts"
    out = f"INSERT INTO {fts} ({fts}, rowid, {column}) VALUES ('delete', OLD.id, OLD.{column});"
    into = f"INSERT INTO {fts} (rowid, {column}) VALUES (NEW.id, NEW.{column});"
    return [
        f"CREATE VIRTUAL TABLE {fts} USING fts5({column}, content='{table}', content_rowid='id', tokenize='trigram')",
        f"INSERT INTO {fts} ({fts}) VALUES ('rebuild')",
        f"CREATE TRIGGER {name}_insert AFTER INSERT ON {table} BEGIN {into} END",
        f"CREATE TRIGGER {name}_delete AFTER DELETE ON {table} BEGIN {out} END",
        f"CREATE TRIGGER {name}_update AFTER UPDATE OF {column} ON {table} BEGIN {out} {into} END",
    ]
