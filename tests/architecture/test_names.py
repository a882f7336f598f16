"""Names in the API: an integer is the id of a record and called so, or one of the plain numbers below."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from shop.config.management.commands import openapi

PLAIN = {
    # days, minutes, years
    "days", "estimate_days", "payment_days", "lead_days", "late_days", "overdue_days", "review_days", "open_life_days",
    "early_days", "remind_days_1", "remind_days_2", "remind_days_3", "remind_pay_days",
    "interest_from", "storage_free_days",
    "shelf_life_days", "break_minutes",
    "weekday", "year", "level",
    # versions and places in a list; `after` of a plan that is given whole counts the stages of the same list
    "version", "revision", "position", "after",
    # counts and sizes
    "most", "jobs", "options", "attempts", "height", "width", "size", "bad", "rows", "next_row", "written", "rank", "months",
    "entries", "looked_at", "opened", "waiting", "proposed", "left_out", "stage_count", "limit",
    "days_running", "days_without", "nothing_agreed", "within_likely", "within_careful",
    # of label paper
    "cols", "first",
    # of a problem
    "status",
}  # fmt: skip


def integers(shape: Any, name: str = "") -> Iterator[str]:
    """Names of the properties below `shape` that hold an integer or a list of them."""
    if not isinstance(shape, dict):
        return
    types = shape.get("type")
    if "integer" in (types if isinstance(types, list) else [types]):
        yield name
    yield from integers(shape.get("items"), name)
    for word in ("oneOf", "anyOf", "allOf"):
        for one in shape.get(word, ()):
            yield from integers(one, name)
    for inner, its in shape.get("properties", {}).items():
        yield from integers(its, inner)


def said(description: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """(where, name) of every integer in bodies, answers and parameters."""
    for shape, its in description["components"]["schemas"].items():
        for name in integers(its):
            yield shape, name
    for path, operations in description["paths"].items():
        for method, operation in operations.items():
            for parameter in operation.get("parameters", ()):
                for name in integers(parameter["schema"], parameter["name"]):
                    yield f"{method} {path}", name


def wrong(description: dict[str, Any]) -> list[str]:
    named = lambda name: name == "id" or name.endswith(("_id", "_ids")) or name in PLAIN  # noqa: E731
    return sorted(f"{where}: {name}" for where, name in said(description) if not named(name))


def test_ids_are_called_ids():
    description = json.loads(Path(openapi.PATH).read_text())
    seen = {name for _, name in said(description)}
    assert wrong(description) == []
    assert PLAIN - seen == set(), "no longer in the API: take it off the list"


@pytest.mark.parametrize(
    "shape",
    [
        {"type": "integer"},
        {"type": ["integer", "null"]},
        {"type": "array", "items": {"type": "integer"}},
        {"oneOf": [{"type": "integer"}, {"type": "null"}]},
        {"type": "array", "items": {"type": "object", "properties": {"card": {"type": "integer"}}}},
    ],
)
def test_a_bare_id_is_found(shape):
    schemas = {"Out": {"type": "object", "properties": {"card": shape}}}
    assert wrong({"components": {"schemas": schemas}, "paths": {}}) == ["Out: card"]
