"""What the kit promises of every route: problems for whatever goes wrong, headers, strict queries and bodies, bulk."""

import json
import uuid

import pytest
from django.test import Client, override_settings

from shop.people.models import Person
from shop.trail.models import KeptAnswer, TrailRow

from .routes import RAISES

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.api.routes")]


def is_problem(answer, status, kind=None):
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == status
    assert problem["request_id"] == answer["X-Request-Id"]
    assert {"type", "title", "detail"} <= set(problem)
    if kind:
        assert problem["type"] == f"/api/problems/{kind}"
    return problem


def raw(client, body, *, content_type="application/json", path="/api/v1/odd/", **headers):
    return client.client.generic(
        "POST",
        path,
        body,
        content_type=content_type,
        headers=client.headers | {"Idempotency-Key": str(uuid.uuid4())} | headers,
    )


class TestProblems:
    @pytest.mark.parametrize(
        ("number", "kind", "status"),
        [
            (0, "broken", 500),
            (1, "too-many", 429),
            (2, "unavailable", 503),
            (3, "storage-full", 507),
            (4, "bad-input", 400),
        ],
    )
    def test_what_breaks_inside_shows_nothing_of_the_inside(self, api, owner, number, kind, status):
        assert list(RAISES)[number] == kind
        answer = api(owner).get(f"odd/{number}/")
        is_problem(answer, status, kind)
        for word in ("secret", "SELECT", "Traceback", "connect to server", "disk is full", "out of range", ".py"):
            assert word not in answer.content.decode()
        if kind == "too-many":
            assert answer["Retry-After"] == "7"
        if kind == "unavailable":
            assert answer["Retry-After"]

    def test_addresses_methods_and_media(self, api, owner, client):
        mine = api(owner)
        is_problem(client.get("/api/v1/nowhere/"), 404, "not-found")
        is_problem(client.get("/api/nowhere"), 404, "not-found")
        is_problem(mine.get("odd/99999999999999999999/"), 404, "not-found")
        is_problem(client.get("/api/v1/odd/"), 401, "not-signed-in")
        put = mine.client.put("/api/v1/odd/1/", "{}", content_type="application/json", headers=mine.headers)
        is_problem(put, 405, "method-not-allowed")
        assert "GET" in put["Allow"]
        is_problem(raw(mine, "name=a", content_type="application/x-www-form-urlencoded"), 415, "wrong-media-type")
        is_problem(raw(mine, b"x", content_type="text/plain"), 415, "wrong-media-type")
        is_problem(mine.get("odd/", headers={"Accept": "text/html"}), 406, "not-acceptable")

    @pytest.mark.parametrize(
        "body",
        [b"", b"{", b"[1]", b'"a"', b"null", b'{"name": NaN}', b'{"name": 1e999}', b'{"name": "\\ud800"}', b"\xff\xfe", b'{"name": "\xc3"}',
         b"[" * 100_000, b'{"a":' * 40 + b"1" + b"}" * 40, b'{"name": ' + b"9" * 5000 + b"}", b'{"\\udc00": 1}'],
    )  # fmt: skip
    def test_a_body_that_is_no_object_of_json(self, api, owner, body):
        is_problem(raw(api(owner), body), 400)
        assert not TrailRow.objects.exists()

    def test_a_body_that_is_too_large(self, api, owner):
        with override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=1000):
            is_problem(raw(api(owner), json.dumps({"name": "x" * 1000})), 413, "too-large")

    def test_csrf_of_a_session(self, owner):
        browser = Client(enforce_csrf_checks=True)
        browser.force_login(owner)
        answer = browser.post(
            "/api/v1/odd/", "{}", content_type="application/json", headers={"Idempotency-Key": "k" * 8}
        )
        is_problem(answer, 403, "csrf")

    def test_errors_are_json_pointers(self, api, owner):
        problem = is_problem(api(owner).post("odd/", {"size": "x", "a/b~c": 1}), 400, "bad-input")
        assert [e["pointer"] for e in problem["errors"]] == ["/a~1b~0c"]
        problem = is_problem(api(owner).post("odd/", {"name": "", "size": 2**40}), 400)
        assert {e["pointer"] for e in problem["errors"]} == {"/name", "/size"}

    def test_a_page_that_breaks_says_so_with_its_number(self, owner):
        client = Client(raise_request_exception=False)
        answer = client.get("/breaks/", headers={"X-Request-Id": "given-by-caller-1"})
        assert answer.status_code == 500
        assert answer["X-Request-Id"] == "given-by-caller-1"
        assert "given-by-caller-1" in answer.content.decode()
        assert "SELECT" not in answer.content.decode()

    def test_a_given_request_id_must_be_well_formed(self, client):
        answer = client.get("/api/v1/odd/", headers={"X-Request-Id": "a b<script>"})
        assert answer["X-Request-Id"] != "a b<script>"


class TestHeaders:
    def test_answers_vary_by_who_asks(self, api, owner):
        for answer in (api(owner).get("odd/"), api(owner).post("odd/", {"name": "a"})):
            assert {"Authorization", "Cookie"} <= {v.strip() for v in answer["Vary"].split(",")}
            assert "private" in answer["Cache-Control"]

    def test_head_and_options(self, api, owner):
        mine = api(owner)
        head = mine.client.head("/api/v1/odd/", headers=mine.headers)
        assert (head.status_code, head.content) == (200, b"")
        options = mine.client.options("/api/v1/odd/", headers=mine.headers)
        assert options.status_code == 204
        assert {"GET", "POST", "HEAD", "OPTIONS"} == {m.strip() for m in options["Allow"].split(",")}
        assert mine.client.options("/api/v1/odd/").status_code == 401


class TestQueries:
    @pytest.mark.parametrize(
        ("query", "pointer"),
        [
            ("colour=blue", "/colour"), ("limit=0", "/limit"), ("limit=201", "/limit"), ("limit=x", "/limit"),
            ("order=price", "/order"), ("limit=5&limit=6", "/limit"), ("cursor=%00", "/cursor"), ("cursor=abc", "/cursor"),
            ("cursor=WzAsIm5hbWUsaWQiLHt9LDFd", "/cursor"), ("cursor=WzAsIm5hbWUsaWQiXQ", "/cursor"),
        ],
    )  # fmt: skip
    def test_an_unknown_or_wrong_one_is_refused(self, api, owner, query, pointer):
        mine = api(owner)
        problem = is_problem(mine.client.get(f"/api/v1/odd/?{query}", headers=mine.headers), 400, "bad-input")
        assert [e["pointer"] for e in problem["errors"]] == [pointer]

    def test_a_post_takes_no_query(self, api, owner):
        is_problem(api(owner).post("odd/?dry=1", {"name": "a"}), 400)


class TestBulk:
    def test_each_item_is_taken_or_refused_alone(self, api, owner):
        sent = [
            {"name": "a"},
            {"name": "refused"},
            {"name": "b"},
            {"name": ""},
            {"name": "c", "size": -1},
            7,
            {"name": "d", "x": 1},
        ]
        answer = api(owner).post("odd/many/", {"items": sent})
        assert answer.status_code == 200, answer.content
        body = answer.json()
        assert (body["done"], body["refused"]) == (2, 5)
        assert [i["status"] for i in body["items"]] == [201, 409, 201, 400, 400, 400, 400]
        assert body["items"][1]["problem"]["type"] == "/api/problems/odd"
        assert body["items"][3]["problem"]["errors"][0]["pointer"] == "/name"
        assert body["items"][4]["problem"]["errors"][0]["pointer"] == "/size"
        assert [r.detail["name"] for r in TrailRow.objects.order_by("id")] == ["a", "b"], (
            "a refused item leaves no trail"
        )
        assert Person.objects.get(pk=owner.pk).email == "b@saltmarsh.example"

    def test_all_or_nothing(self, api, owner):
        problem = is_problem(
            api(owner).post("odd/many/", {"items": [{"name": "a"}, {"name": "refused"}], "all_or_nothing": True}),
            409,
            "odd",
        )
        assert problem["errors"][0]["pointer"] == "/items/1"
        problem = is_problem(
            api(owner).post("odd/many/", {"items": [{"name": "a"}, {"name": ""}], "all_or_nothing": True}), 400
        )
        assert problem["errors"][0]["pointer"] == "/items/1/name"
        assert not TrailRow.objects.exists()
        assert not KeptAnswer.objects.exists()

    def test_one_key_for_all(self, api, owner):
        mine = api(owner)
        answers = [
            mine.post("odd/many/", {"items": [{"name": "a"}, {"name": "b"}]}, key="bulk-key-1") for _ in range(2)
        ]
        assert answers[0].content == answers[1].content
        assert answers[1]["Idempotent-Replay"] == "true"
        assert TrailRow.objects.count() == 2

    @pytest.mark.parametrize(
        "body", [{}, {"items": []}, {"items": {}}, {"items": [{"name": "a"}] * 501}, {"items": [{"name": "a"}], "x": 1},
                 {"items": [{"name": "a"}], "all_or_nothing": "yes"}],
    )  # fmt: skip
    def test_what_is_no_list_of_items(self, api, owner, body):
        is_problem(api(owner).post("odd/many/", body), 400)
        assert not TrailRow.objects.exists()

    def test_five_hundred_fit(self, api, owner):
        answer = api(owner).post("odd/many/", {"items": [{"name": f"n{n}"} for n in range(500)]})
        assert answer.json()["done"] == 500
        assert TrailRow.objects.count() == 500
