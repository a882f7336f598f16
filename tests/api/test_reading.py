"""The reference and the problem pages; the first walk is walked."""

import json
import re
import uuid

import pytest
from django.core.management import call_command

from shop.api import problems
from shop.api.reading import pages
from shop.api.reading.walk import STEPS
from shop.kernel.rights import RIGHTS
from tests.factories import business as made

pytestmark = pytest.mark.django_db


def test_the_committed_description_is_what_the_code_offers():
    call_command("openapi", "--check")


def test_the_first_walk_works_as_written(api, owner):
    made.site()
    client, known = api(owner), {}
    for step in STEPS:
        path, body = step.filled(known)
        if step.method == "GET":
            answer = client.client.get(f"/api/v1/{path}", headers=client.headers)
        else:
            answer = client.post(path, body, key=str(uuid.uuid4()))
        assert answer.status_code == step.status, (step.title, answer.content)
        if step.keep:
            known[step.keep] = answer.json()["id"]
    assert answer.json()["items"][0]["state"] == "running"


def test_the_reference_lists_every_operation_with_its_right(client):
    described = json.loads((pages.HERE / "openapi.json").read_text())
    index = client.get("/api/").content.decode()
    for name, operations in pages._tags().items():
        assert f"/api/reference/{name}/" in index
        shown = client.get(f"/api/reference/{name}/")
        assert shown.status_code == 200
        for operation in operations:
            assert f"{operation.method} {operation.path}" in shown.content.decode()
            assert operation.right in RIGHTS
            assert operation.roles
            assert operation.summary
    assert sum(map(len, pages._tags().values())) == sum(len(methods) for methods in described["paths"].values())
    assert client.get("/api/reference/nowhere/").status_code == 404


def test_a_page_stays_small_enough(client):
    sizes = {name: len(client.get(f"/api/reference/{name}/").content) for name in pages._tags()}
    assert max(sizes.values()) < 150_000, max(sizes, key=sizes.get)


def test_every_problem_has_its_page(client):
    listed = client.get("/api/problems/").content.decode()
    for code in [*problems.KINDS, *pages._refusals()]:
        assert f'href="/api/problems/{code}"' in listed, code
        page = client.get(f"/api/problems/{code}")
        assert page.status_code == 200, code
        assert "What to do" in page.content.decode()
    assert set(problems.WHAT_TO_DO) == set(problems.KINDS)
    assert client.get("/api/problems/never-said").status_code == 404


def test_the_type_of_a_problem_leads_to_its_page(client, api, owner):
    for answer in (api(owner).get("nowhere/"), api(owner).patch(f"people/{owner.pk}/", {"is_active": False})):
        assert client.get(answer.json()["type"]).status_code == 200


def test_nothing_inline_and_nothing_from_elsewhere(client):
    for path in ("/api/", "/api/reference/parts/", "/api/problems/", "/api/problems/stale"):
        html = client.get(path).content.decode()
        assert not re.search(r"\sstyle=|\son[a-z]+=|<script(?![^>]*\bsrc=)", html)
        assert not re.search(r'(?:src|href)="(?:https?:)?//', html)
