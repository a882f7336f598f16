"""Schemathesis sends what the description allows, and what it doesn't, to every operation: no 5xx, nothing undocumented.

Requests that follow the description are led to records that exist, with a fresh Idempotency-Key and the present ETag, so
that they reach the actions. SCHEMATHESIS_EXAMPLES (default 3) sets how many random requests each operation gets on top of
the systematic ones, SCHEMATHESIS_CHAINS (default 10) how many chains of linked requests are walked.
"""

from __future__ import annotations

import os
import uuid
import zlib
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from hypothesis import HealthCheck, Phase, settings
from schemathesis.config import SchemathesisConfig
from schemathesis.specs.openapi.checks import ignored_auth

from shop.config.wsgi import application
from shop.people.models import Person
from tests.factories.client import Api

from .seed import seed

EXAMPLES = int(os.environ.get("SCHEMATHESIS_EXAMPLES", "3"))
CHAINS = int(os.environ.get("SCHEMATHESIS_CHAINS", "10"))
config = SchemathesisConfig.from_dict(
    {
        "generation": {"max-examples": EXAMPLES, "deterministic": True, "no-shrink": True},
        "checks": {
            # what the description can't say (an IBAN's check digits, an id that isn't there) is a 400 that names the
            # field, or a refusal: see `explained`
            "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "400", "403", "404", "409", "412", "422"]},
            # an If-Match that is none of our ETags is one that does not match (RFC 9110, 13.1.1)
            "negative_data_rejection": {
                "expected-statuses": ["400", "401", "403", "404", "406", "412", "415", "422", "428"]
            },
            "missing_required_header": {"expected-statuses": ["400", "401", "403", "406", "415", "422", "428"]},
        },
    }
)
schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", application, config=config)
quick = settings(suppress_health_check=list(HealthCheck), deadline=None)
KNOWN: dict[str, list[int]] = {}


@pytest.fixture(scope="module", autouse=True)
def shop(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """One seeded shop for all operations, in a transaction that is undone at the end; each test works in a savepoint."""
    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch, transaction.atomic():
        # a request begins inside this transaction, which is not one that another request left open
        patch.setattr(connections[DEFAULT_DB_ALIAS], "close_if_unusable_or_obsolete", lambda: None)
        KNOWN.update(seed())
        yield
        transaction.set_rollback(True)


def owner() -> Api:
    """With a fresh token: an operation before may have ended the last one."""
    return Api(Person.objects.get(username="maren"))


def lead(case: Any, client: Api) -> None:
    """Two of three well-formed requests go to what exists; a third keeps the ids that were made up."""
    case.headers = case.headers or {}
    if case.headers.get("Idempotency-Key"):
        case.headers["Idempotency-Key"] = str(uuid.uuid4())
    draw = zlib.crc32(repr((case.path_parameters, case.body)).encode())
    if draw % 3 == 2:
        return
    room = case.operation.path.removeprefix("/api/v1/").split("/")[0]
    if "id" in (case.path_parameters or {}) and KNOWN.get(room):
        case.path_parameters["id"] = str(KNOWN[room][draw % len(KNOWN[room])])
    if isinstance(case.body, dict):
        for name in case.body:
            known = KNOWN.get(name)
            if known and isinstance(case.body[name], int):
                case.body[name] = known[draw % len(known)]
    for name in case.query or {}:
        if KNOWN.get(name):
            case.query[name] = KNOWN[name][draw % len(KNOWN[name])]
    if "If-Match" in case.headers:
        path = case.operation.path.format(**(case.path_parameters or {}))
        case.headers["If-Match"] = client.get(path).headers.get("ETag", '"1-0"')


def explained(response: Any) -> None:
    """A 400 says where, or is of a type of its own that says what."""
    if response.status_code == 400:
        problem = response.json()
        assert problem["type"] != "/api/problems/bad-input" or problem.get("errors") or len(problem["detail"]) > 20, (
            problem
        )


@pytest.mark.django_db
@schema.parametrize()
@quick
def test_every_operation(case: Any) -> None:
    client = owner()
    if case.meta is not None and case.meta.generation.mode.is_positive:
        lead(case, client)
    explained(case.call_and_validate(headers=client.headers))


class Chains(schema.as_state_machine()):  # type: ignore[misc]
    """Requests that use what the ones before answered."""

    def get_call_kwargs(self, case: Any) -> dict[str, Any]:
        if case.headers and case.headers.get("Idempotency-Key"):
            case.headers["Idempotency-Key"] = str(uuid.uuid4())
        return {"headers": owner().headers}  # a step before may have ended its token

    def validate_response(self, response: Any, case: Any, **kwargs: Any) -> None:
        # every operation is tried without and with a wrong token above; here the header is always put on
        case.validate_response(response, excluded_checks=[ignored_auth])


@pytest.mark.django_db
def test_chains_of_operations() -> None:
    Chains.run(
        settings=settings(
            quick, max_examples=CHAINS, stateful_step_count=12, derandomize=True, phases=[Phase.generate], database=None
        )
    )
