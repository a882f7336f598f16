"""Migration operations that make the database itself refuse changes, on SQLite and PostgreSQL alike."""

from __future__ import annotations

from typing import Any

from django.db import migrations


class Statements(migrations.RunPython):
    """Statements run by a function of (None, schema_editor). Unlike RunPython it doesn't ask for the models as they were
    at this migration, which Django builds anew each time."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        self.code(None, schema_editor)  # type: ignore[arg-type]

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if self.reverse_code is None:
            raise NotImplementedError("this step can't be taken back")
        self.reverse_code(None, schema_editor)  # type: ignore[arg-type]


def append_only(table: str, *, mutable: tuple[str, ...] = (), when: str = "") -> Statements:
    """Refuse DELETE, and UPDATE of any column but `mutable`, on `table`.

    `when` is an SQL condition on OLD ("OLD.issued_at IS NOT NULL"): the row is only protected while it holds.
    """

    def forwards(apps, schema_editor) -> None:
        for statement in _sql(schema_editor.connection, table, mutable, when):
            schema_editor.execute(statement, params=None)

    def backwards(apps, schema_editor) -> None:
        _drop(schema_editor, table)

    return Statements(forwards, backwards)


def frozen_with(table: str, parent: str, key: str, *, column: str = "issued_at") -> Statements:
    """Refuse INSERT, UPDATE and DELETE on `table` while the row of `parent` that its `key` names has `column` set: the
    lines of an issued document stand as still as the document."""

    def forwards(apps, schema_editor) -> None:
        for statement in _frozen_sql(schema_editor.connection.vendor, table, parent, key, column):
            schema_editor.execute(statement, params=None)

    def backwards(apps, schema_editor) -> None:
        _drop(schema_editor, table)

    return Statements(forwards, backwards)


def unguarded(*tables: str) -> Statements:
    """Take the triggers of `tables` off, to change their columns; put them on again in the same migration.

    SQLite rebuilds a table to change a column. That loses the table's own triggers without a word, and fails when
    another table's trigger names it; so take off both.
    """

    def forwards(apps, schema_editor) -> None:
        for table in tables:
            _drop(schema_editor, table)

    return Statements(forwards, migrations.RunPython.noop)


def _drop(schema_editor, table: str) -> None:
    on = "" if schema_editor.connection.vendor == "sqlite" else f" ON {table}"
    for name in ("no_update", "no_delete", "frozen_insert", "frozen_update", "frozen_delete"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_{name}{on}")


def _frozen_sql(vendor: str, table: str, parent: str, key: str, column: str) -> list[str]:
    message = f"{table} belongs to an issued document: correct it with a new document"
    sides = {"insert": ("NEW",), "update": ("OLD", "NEW"), "delete": ("OLD",)}

    def held(side: str) -> str:
        return f"EXISTS (SELECT 1 FROM {parent} p WHERE p.id = {side}.{key} AND p.{column} IS NOT NULL)"  # noqa: S608 - names from a migration

    if vendor == "sqlite":
        return [
            f"CREATE TRIGGER {table}_frozen_{kind} BEFORE {kind.upper()} ON {table} "
            f"WHEN {' OR '.join(map(held, rows))} BEGIN SELECT RAISE(ABORT, '{message}'); END"
            for kind, rows in sides.items()
        ]
    statements = []
    for kind, rows in sides.items():
        name = f"{table}_frozen_{kind}"
        statements += [
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN IF {' OR '.join(map(held, rows))} THEN "
            f"RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
            f"RETURN {rows[-1]}; END $$",
            f"CREATE TRIGGER {name} BEFORE {kind.upper()} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        ]
    return statements


def _sql(connection, table: str, mutable: tuple[str, ...], when: str) -> list[str]:
    with connection.cursor() as cursor:
        columns = [c.name for c in connection.introspection.get_table_description(cursor, table)]
    frozen = [c for c in columns if c not in mutable]
    unknown = set(mutable) - set(columns)
    if unknown:
        raise ValueError(f"{table} has no column {sorted(unknown)}")
    message = f"{table} is append-only: correct it with a new row"
    if connection.vendor == "sqlite":
        changed = " OR ".join(f'OLD."{c}" IS NOT NEW."{c}"' for c in frozen)
        guard_update = f"({when}) AND ({changed})" if when else changed
        guard_delete = f"WHEN {when} " if when else ""
        return [
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} WHEN {guard_update} "
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END",
            f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {guard_delete}"
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END",
        ]
    changed = " OR ".join(f'OLD."{c}" IS DISTINCT FROM NEW."{c}"' for c in frozen)
    guard_update = f"({when}) AND ({changed})" if when else changed
    guard_delete = f"WHEN ({when})" if when else ""
    return [
        f"CREATE OR REPLACE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} FOR EACH ROW "
        f"WHEN ({guard_update}) EXECUTE FUNCTION {table}_refuse()",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} FOR EACH ROW "
        f"{guard_delete} EXECUTE FUNCTION {table}_refuse()",
    ]
