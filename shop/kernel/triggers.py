"""Migration operations that make the database itself refuse changes, on SQLite and PostgreSQL alike."""

from __future__ import annotations

from django.db import migrations


def append_only(table: str, *, mutable: tuple[str, ...] = (), when: str = "") -> migrations.RunPython:
    """Refuse DELETE, and UPDATE of any column but `mutable`, on `table`.

    `when` is an SQL condition on OLD ("OLD.issued_at IS NOT NULL"): the row is only protected while it holds.
    """

    def forwards(apps, schema_editor) -> None:
        for statement in _sql(schema_editor.connection, table, mutable, when):
            schema_editor.execute(statement, params=None)

    def backwards(apps, schema_editor) -> None:
        if schema_editor.connection.vendor == "sqlite":
            for kind in ("update", "delete"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_no_{kind}")
        else:
            for kind in ("update", "delete"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_no_{kind} ON {table}")

    return migrations.RunPython(forwards, backwards)


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
