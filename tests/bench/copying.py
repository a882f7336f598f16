"""Rows of one real job copied by the database, so many times."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Model, QuerySet

if TYPE_CHECKING:
    from tests.bench.grown import Filling

BASE = 1_000_000  # first key of made rows


class Copying:
    """Copies rows so many times: copy n of the k-th of K rows gets the key BASE + n x K + k, and so do the foreign keys of
    others that are copied along."""

    def __init__(self, fill: Filling, times: int) -> None:
        self.fill, self.times = fill, times
        self.keys: dict[type[Model], list[int]] = {}

    def know(self, rows: QuerySet[Any]) -> None:
        self.keys[rows.model] = sorted(rows.values_list("pk", flat=True))
        if not self.keys[rows.model] and rows.model.__name__ not in ("CardNote", "Gate"):
            raise ValueError(f"the job has no {rows.model.__name__}")

    def all(self, rows: QuerySet[Any], values: dict[str, str]) -> None:
        model = rows.model
        if not self.keys[model]:
            return
        mapped = {"id": self._key(model, "id")} | {
            f.column: self._key(f.related_model, f.column)  # type: ignore[arg-type]
            for f in model._meta.concrete_fields
            if f.is_relation and f.related_model in self.keys
        }
        if model.__name__ == "TrailRow":  # above those of the draws, of which there are two for a movement
            mapped["id"] += f" + {2 * self.fill.numbers}"
        table, chosen = model._meta.db_table, ", ".join(map(str, self.keys[model]))
        source = f"bench_n, {table} z WHERE n < {self.times} AND z.id IN ({chosen}) ORDER BY n, z.id"
        self.fill.insert(model, source, mapped | values)

    def _key(self, model: type[Model], column: str) -> str:
        keys = self.keys[model]
        cases = " ".join(f"WHEN {key} THEN {BASE} + n * {len(keys)} + {k}" for k, key in enumerate(keys))
        return f"CASE z.{column} {cases} ELSE z.{column} END"
