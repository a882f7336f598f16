"""The rules of the house that are seen in the code itself (DEVELOPERS.md)."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator

import pytest
from django.apps import apps
from django.conf import settings
from django.db import models

from .code import AREAS, ROOT, Source, sources

LONGEST = 400

# Where a request is known: routes and pages of a room, the kits they are made with, and the five files named.
DOORS = re.compile(
    r"shop/(api|ui|config)/.*|.*/(api|pages)(\.py|/.*)|.*/(panels|middleware)\.py"
    r"|shop/people/(authentication|backends|device)\.py|shop/business/context\.py|shop/documents/serving\.py"
)
NOT_BELOW = ("django.http", "django.shortcuts", "rest_framework")
ENCODES = {"shop/trail/once.py"}  # the encoder of JSON alone, no request

CLOCKS = re.compile(r"(timezone|datetime|datetime\.datetime)\.(now|utcnow)|(date|datetime\.date|datetime)\.today")

# Binary fractions: seconds to wait, never an amount.
SECONDS = {
    "shop/config/celery.py", "shop/kernel/writing.py", "shop/trail/outbox.py", "shop/trail/wake.py",
    "shop/config/demo/jobs.py",  # the pace of an invented afternoon
    "shop/config/management/commands/backup.py",  # megabytes to print
}  # fmt: skip
ESTIMATES = {  # statistics inside; Decimals go in and come out
    "jobs/learning/hours.py", "jobs/learning/sums.py", "jobs/estimates/outlook.py", "inventory/reorder/demand.py", "inventory/reorder/distribution.py",
    "inventory/reorder/replay.py",
    "inventory/reorder/planning.py",
}  # fmt: skip
FROM_OUTSIDE = {
    "shop/api/parsing.py",  # tells a float that came as JSON from a number, to refuse it
    "jobs/exchange/sheets.py",  # a cell of a workbook may hold one
}


def rooms() -> set[str]:
    return {app.name for app in apps.get_app_configs() if app.name.split(".")[0] in AREAS}


def layers(contracts: list[dict]) -> list[str]:
    (house,) = [c["layers"] for c in contracts if c["type"] == "layers"]
    return [room.strip() for layer in house for room in layer.split(":")]


def test_every_room_has_its_place_in_the_order():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    placed = layers(contracts)
    assert sorted(placed) == sorted(set(placed)), "named twice"
    assert rooms() - set(placed) == set(), "add it to the layers in pyproject.toml, with the reason beside it"
    without_tables = {"shop.kernel"}
    assert set(placed) - rooms() == without_tables, "no longer installed"
    assert len([room for room in settings.INSTALLED_APPS if room in rooms()]) == len(rooms())


def too_long(found: tuple[Source, ...]) -> list[str]:
    return [f"{s.path}: {n}" for s in found if (n := len(s.text.splitlines())) > LONGEST]


def test_no_file_is_too_long():
    assert too_long(sources(*AREAS, "tests")) == [], "split it by subject"
    assert too_long((Source("a.py", "x = 1\n" * 401),)) == ["a.py: 401"]


def http_below(found: tuple[Source, ...]) -> list[str]:
    return [
        f"{s.path}: {module}"
        for s in found
        if not DOORS.fullmatch(s.path) and s.path not in ENCODES
        for module, name, _ in s.imports()
        if f"{module}.{name}".startswith(NOT_BELOW)
    ]


def test_no_request_below_the_doors():
    assert http_below(sources()) == []


@pytest.mark.parametrize(
    "line",
    [
        "from django.http import HttpRequest",
        "import rest_framework",
        "from django import http",
        "from django import shortcuts",
    ],
)
def test_a_request_below_the_doors_is_found(line):
    assert http_below((Source("jobs/cards/actions/work.py", line),))
    assert not http_below((Source("jobs/cards/pages/stages.py", line),))


def clocks(found: tuple[Source, ...]) -> list[str]:
    return [
        f"{s.path}:{node.lineno}"
        for s in found
        if s.path != "shop/kernel/clock.py"
        for node in ast.walk(s.tree)
        if isinstance(node, ast.Attribute) and CLOCKS.fullmatch(ast.unparse(node))
    ]


def test_one_clock():
    assert clocks(sources()) == [], "ask shop.kernel.clock, so that tests can stop time"
    for line in ("timezone.now()", "datetime.now(tz)", "f(default=timezone.now)", "date.today()", "datetime.utcnow()"):
        assert clocks((Source("a.py", line),)) == ["a.py:1"], line
    assert clocks((Source("a.py", "clock.now()"),)) == []


def floats(found: tuple[Source, ...]) -> Iterator[str]:
    for source in found:
        for node in ast.walk(source.tree):
            literal = isinstance(node, ast.Constant) and isinstance(node.value, float | complex)
            called = isinstance(node, ast.Call) and ast.unparse(node.func) == "float"
            if literal or called:
                yield source.path


def test_no_binary_fractions():
    seen = set(floats(sources()))
    assert seen - SECONDS - FROM_OUTSIDE - ESTIMATES == set(), "amounts and quantities are Decimals"
    assert (SECONDS | FROM_OUTSIDE | ESTIMATES) - seen == set(), "take it off the list"
    assert list(floats((Source("a.py", "x = 0.19"), Source("b.py", "float(x)")))) == ["a.py", "b.py"]


def test_no_column_holds_a_binary_fraction():
    held = [f for m in apps.get_models() for f in m._meta.get_fields() if isinstance(f, models.FloatField)]
    assert held == []
