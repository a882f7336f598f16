"""A request with a token is the token's alone: the session that came with it is neither asked nor touched."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.people import tokens
from shop.people.models import ApiToken
from tests.factories.people import PASSWORD

pytestmark = pytest.mark.django_db


def header(person):
    token, prefix, digest = tokens.new_token()
    ApiToken.objects.create(person=person, label="test", prefix=prefix, digest=digest)
    return {"Authorization": f"Bearer {token}"}


@pytest.fixture
def signed_in(owner):
    client = Client()
    client.post("/sign-in/", {"username": owner.username, "password": PASSWORD})
    assert client.get("/api/v1/me/").json()["username"] == owner.username
    return client


def test_the_token_says_who_it_is_even_beside_a_session(signed_in, mechanic):
    assert signed_in.get("/api/v1/me/", headers=header(mechanic)).json()["username"] == mechanic.username


@pytest.mark.parametrize("wrong", ["Bearer tb_nothing", "Basic bWFyZW46eA==", "Bearer", "x"])
def test_a_wrong_token_is_refused_and_the_session_does_not_help(signed_in, wrong):
    answer = signed_in.get("/api/v1/me/", headers={"Authorization": wrong})
    assert (answer.status_code, answer.json()["type"]) == (401, "/api/problems/not-signed-in")


def test_a_wrong_token_does_not_take_the_place_of_the_csrf_token(signed_in, owner):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = signed_in.cookies
    body = {"name": "Gullhaven Dredging", "kind": "firm"}
    headers = {"Idempotency-Key": "b7c1e1aa-41"}
    sent = {"data": body, "content_type": "application/json"}
    assert strict.post("/api/v1/customers/", **sent, headers=headers).status_code == 403
    assert strict.post("/api/v1/customers/", **sent, headers=headers | {"Authorization": "Bearer x"}).status_code == 401
    assert strict.post("/api/v1/customers/", **sent, headers=headers | header(owner)).status_code == 201


@pytest.mark.parametrize("path", ["/api/", "/api/problems/stale", "/machines/", "/api/v1/nowhere/", "/api/nowhere"])
def test_pages_answer_the_same_with_such_a_header(signed_in, path):
    plain, with_header = signed_in.get(path), signed_in.get(path, headers={"Authorization": "Bearer x"})
    assert plain.status_code == with_header.status_code
    assert plain.headers["Content-Type"] == with_header.headers["Content-Type"]


def test_a_read_by_token_asks_for_the_token_and_the_record_and_sets_no_cookie(signed_in, mechanic):
    headers = header(mechanic)
    with CaptureQueriesContext(connection) as asked:
        answer = signed_in.get("/api/v1/me/", headers=headers)
    assert answer.status_code == 200
    assert not any("django_session" in q["sql"] for q in asked)
    assert "Set-Cookie" not in answer.headers
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert "Content-Security-Policy" in answer.headers
