"""Shops of their own for the tests that race, kill and restart real processes: on PostgreSQL when DATABASE_URL names
one, else on the embedded default. See tests/factories/processes.py."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.factories.processes import Shop, Template
from tests.factories.servers import Postgres, Redis, running


@pytest.fixture(scope="module")
def own_postgres() -> Iterator[Postgres]:
    """A cluster that may be killed: nobody else works on it."""
    with running(Postgres) as server:
        yield server


@pytest.fixture(scope="module")
def own_template(own_postgres: Postgres) -> Iterator[Template]:
    made = Template(own_postgres.url())
    yield made
    made.close()


@pytest.fixture
def broker() -> Iterator[Redis]:
    with running(Redis) as server:
        yield server


@pytest.fixture
def template(template_of_cast: Template) -> Template:
    return template_of_cast


@pytest.fixture
def shop(template: Template) -> Iterator[Shop]:
    """A served shop: 4 sync workers on PostgreSQL, one process with 8 threads on SQLite."""
    with Shop.copy_of(template) as made:
        made.serve(workers=4 if made.url else None)
        yield made


class Posting:
    """One kind of posting, told apart in the ledger by a number of the test's own."""

    def __init__(self, username: str, path: str, body: Callable[[Shop, int], dict[str, Any]], numbers: str) -> None:
        self.username, self.path, self.body, self._numbers = username, path, body, numbers

    def numbers(self, shop: Shop) -> list[int]:
        """The numbers that stand in the ledger, each as often as it stands there."""
        return sorted(int(row[0]) for row in shop.sql(self._numbers))


POSTINGS = {
    "supplier": Posting(
        "tamsin", "suppliers/", lambda shop, n: {"name": f"{n}", "city": "Gullhaven"},
        "SELECT name FROM inventory_buying_supplier",
    ),
    "draw": Posting(
        "tamsin", "draws/", lambda shop, n: {**shop.ids, "quantity": str(n)},
        "SELECT -quantity FROM inventory_stock_movement WHERE kind = 'draw'",
    ),
}  # fmt: skip


@pytest.fixture(params=list(POSTINGS))
def posting(request) -> Posting:
    return POSTINGS[request.param]
