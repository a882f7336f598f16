"""The fixed cast, the API client, and what the append-only triggers need of a test database."""

from __future__ import annotations

import hypothesis
import pytest
from django.db import connection
from django.db.backends.sqlite3.base import DatabaseOperations

from shop.people.models import Person

from .factories.client import Api
from .factories.people import person

# how fast a machine thinks up examples says nothing about the shop
hypothesis.settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
)
hypothesis.settings.load_profile("unhurried")

_plain_flush = DatabaseOperations.execute_sql_flush


def _flush_past_triggers(self, sql_list):
    """Emptying tables between transactional tests deletes rows, which the triggers rightly refuse: set them aside."""
    with self.connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f'DROP TRIGGER "{name}"')
    try:
        _plain_flush(self, sql_list)
    finally:
        with self.connection.cursor() as cursor:
            for _, sql in triggers:
                cursor.execute(sql)
            cursor.execute("SELECT name FROM sqlite_master WHERE sql LIKE 'CREATE VIRTUAL TABLE%'")
            for (name,) in cursor.fetchall():  # text indexes that those triggers keep
                cursor.execute(f'INSERT INTO "{name}" ("{name}") VALUES (\'rebuild\')')


DatabaseOperations.execute_sql_flush = _flush_past_triggers


def pytest_collection_modifyitems(config, items):
    """Tests that need a server say so when it is absent; in CI a skip is a failure (see .ci/run)."""
    from django.conf import settings

    for item in items:
        if item.get_closest_marker("postgres") and "postgresql" not in settings.DATABASES["default"]["ENGINE"]:
            item.add_marker(pytest.mark.skip(reason="needs PostgreSQL: set DATABASE_URL=postgres://..."))
        if item.get_closest_marker("redis") and not settings.REDIS_URL:
            item.add_marker(pytest.mark.skip(reason="needs Redis: set REDIS_URL=redis://..."))


@pytest.fixture
def owner(db) -> Person:
    return person("maren", "Maren Holt", "owner")


@pytest.fixture
def office(db) -> Person:
    return person("pim", "Pim Castell", "office")


@pytest.fixture
def mechanic(db) -> Person:
    return person("jory", "Jory Vane", "mechanic")


@pytest.fixture
def mechanic2(db) -> Person:
    return person("brann", "Brann Oakes", "mechanic")


@pytest.fixture
def stores(db) -> Person:
    return person("tamsin", "Tamsin Roe", "stores")


@pytest.fixture
def api():
    """api(person) -> a client of the REST API signed in by token."""
    return Api


@pytest.fixture
def on_postgres() -> bool:
    return connection.vendor == "postgresql"


@pytest.fixture(scope="session")
def template_of_cast():
    """A prepared shop that real processes are started on copies of: on PostgreSQL when DATABASE_URL names one, else on
    SQLite. See tests/factories/processes.py."""
    import os

    from .factories.processes import Template

    url = os.environ.get("DATABASE_URL", "")
    made = Template(url if url.startswith("postgres") else "")
    yield made
    made.close()
