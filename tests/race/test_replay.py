"""QUALITY: one Idempotency-Key 20 times at once, then 5 in a row: one effect and the same answer."""

from __future__ import annotations

import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections

from inventory.buying import actions
from inventory.buying.models import Supplier
from shop.trail import once
from tests.factories.people import person


def test_one_key_20_times_at_once_then_5_in_a_row_is_one_effect_and_one_answer(shop, posting):
    key = str(uuid.uuid4())

    def send(_=None, number=7):
        client = shop.client(posting.username)
        answer = client.post(posting.path, posting.body(shop, number), key=key)
        return answer.status_code, answer.text, answer.headers.get("ETag"), answer.headers.get("Idempotent-Replay")

    with ThreadPoolExecutor(20) as pool:
        together = list(pool.map(send, range(20)))
    after = [send() for _ in range(5)]
    assert {status for status, *_ in together + after} == {201}, together
    assert len({(text, etag) for _, text, etag, _ in together + after}) == 1
    assert [replay for *_, replay in together].count(None) == 1, "exactly one did the work"
    assert [replay for *_, replay in after] == ["true"] * 5
    assert posting.numbers(shop) == [7]
    assert send(number=8)[0] == 422
    client = shop.client(posting.username)
    assert client.post(posting.path, posting.body(shop, 9), key=None).status_code == 400
    assert posting.numbers(shop) == [7]


def test_a_refusal_frees_its_key_and_keys_belong_to_one_token(shop):
    key = str(uuid.uuid4())
    client = shop.client("tamsin")
    assert client.post("suppliers/", {"name": ""}, key=key).status_code == 400
    assert client.post("suppliers/", {"name": "1"}, key=key).status_code == 201
    assert shop.client("maren").post("suppliers/", {"name": "2"}, key=key).status_code == 201, "her own key"


def _add_together(scope: str) -> list[object]:
    by = person("tamsin", "Tamsin Roe", "stores")

    def send(n: int) -> object:
        try:
            made = []

            def work() -> once.Kept:
                made.append(actions.add_supplier(by=by, name=f"Gullhaven Seals {n}"))
                return once.Kept(201, {}, "made")

            return once.once(scope, "b7c1e1aa-4", "print", work).body
        finally:
            connections.close_all()

    with ThreadPoolExecutor(10) as pool:
        return list(pool.map(send, range(10)))


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_ten_threads_with_one_key_do_the_work_once():
    assert _add_together("token:1") == ["made"] * 10
    assert Supplier.objects.count() == 1


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_control_without_the_claim_the_work_is_done_ten_times(monkeypatch):
    monkeypatch.setattr(once, "_once", lambda scope, key, print_, work: work())
    _add_together("token:1")
    assert Supplier.objects.count() == 10
