"""Schemathesis sends what the description allows, and what it doesn't, to every operation: no 5xx, nothing undocumented.

SCHEMATHESIS_EXAMPLES (default 3) sets how many requests each operation gets on top of the systematic ones.
"""

from __future__ import annotations

import os
import re
import uuid

import pytest
import schemathesis
from django.db import transaction
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from shop.config.wsgi import application
from shop.people import tokens
from shop.people.models import ApiToken, Person
from tests.api.seed import seed

EXAMPLES = int(os.environ.get("SCHEMATHESIS_EXAMPLES", "3"))
KEY = re.compile(r"[!-~]{8,80}")
CONFIG = {
    "generation": {"max-examples": EXAMPLES, "deterministic": True, "no-shrink": True},
    "checks": {
        # what the description can't say (an IBAN's check digits, an id that isn't there) is a 400 that names the field,
        # or a 409: see `named`
        "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "400", "403", "404", "409", "412", "422"]},
    },
}


config = SchemathesisConfig.from_dict(CONFIG)
schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", application, config=config)


@pytest.fixture(scope="module", autouse=True)
def shop(django_db_setup, django_db_blocker):
    """One seeded shop for all operations, in a transaction that is undone at the end; each test works in a savepoint."""
    with django_db_blocker.unblock(), transaction.atomic():
        seed()
        yield
        transaction.set_rollback(True)


def bearer() -> dict[str, str]:
    """A fresh token of the owner: an operation before may have ended the last one."""
    token, prefix, digest = tokens.new_token()
    owner = Person.objects.get(username="maren")
    ApiToken.objects.create(person=owner, label="schemathesis", prefix=prefix, digest=digest)
    return {"Authorization": f"Bearer {token}"}


def named(response) -> None:
    """A 400 says where, or has a type of its own that says what."""
    if response.status_code == 400:
        problem = response.json()
        if problem["type"] == "/api/problems/bad-input":
            assert problem.get("errors") or problem["detail"], problem


@pytest.mark.django_db
@schema.parametrize()
@settings(suppress_health_check=list(HealthCheck), deadline=None)
def test_every_operation(case):
    headers = case.headers or {}
    if KEY.fullmatch(str(headers.get("Idempotency-Key", ""))):
        headers["Idempotency-Key"] = str(uuid.uuid4())
    response = case.call_and_validate(headers=bearer())
    named(response)
