from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.factories import parts as made

pytestmark = pytest.mark.django_db

GASKET = {"number": "GKT-041", "name": "Head gasket, B2", "kind": "gasket", "sale_price": "38.50"}


def test_add_read_edit_archive_restore(api, stores, mechanic):
    client = api(stores)
    made_ = client.post("parts/", GASKET | {"barcodes": ["4006381333931"], "hazards": ["H225"]})
    assert made_.status_code == 201, made_.content
    pk = made_.json()["id"]
    read = api(mechanic).get(f"parts/{pk}/").json()
    assert (read["unit"], read["sale_price"]) == ("C62", "38.50")
    assert [(b["code"], b["is_gtin"]) for b in read["barcodes"]] == [("4006381333931", True)]
    assert client.patch(f"parts/{pk}/", {"sale_price": "39.00"}).json()["version"] == 2
    assert client.patch(f"parts/{pk}/", {"name": "x"}, etag=None).status_code == 428
    assert client.patch(f"parts/{pk}/", {"name": "x"}, etag=made_["ETag"]).status_code == 412
    assert api(mechanic).patch(f"parts/{pk}/", {"name": "x"}).status_code == 403
    assert api(mechanic).post("parts/", GASKET | {"number": "Z"}).status_code == 403
    assert client.delete(f"parts/{pk}/").status_code == 204
    assert client.get("parts/").json()["items"] == []
    assert client.post(f"parts/{pk}/restore/").json()["archived_at"] is None


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("number", ""), ("name", None), ("kind", "engine"), ("unit", "ST"), ("sale_price", "-1"), ("sale_price", 38.5),
        ("sale_price", "NaN"), ("shelf_life_days", 0), ("hazards", ["fire"]), ("unit_fixed", True), ("version", 9),
    ],
)  # fmt: skip
def test_bad_input_is_named(api, stores, field, value):
    answer = api(stores).post("parts/", GASKET | {field: value})
    assert answer.status_code == 400, answer.content
    assert answer.json()["errors"][0]["pointer"].startswith(f"/{field}")


def test_search_and_scan(api, stores):
    made.part(stores, "GKT-041", "Head gasket, B2", barcode="4006381333931")
    made.part(stores, "GKT-111", "Head gasket, Ostwick 5")
    client = api(stores)

    def numbers(**query):
        return [p["number"] for p in client.get("parts/", **query).json()["items"]]

    assert numbers(text="ostwick head") == ["GKT-111"]
    assert numbers(code="4006381333931") == numbers(code="gkt-041") == ["GKT-041"]
    assert numbers(code="GKT-04") == []
    assert numbers(kind="fastener") == []
    assert client.get("parts/", kind="engine").status_code == 400


def test_the_list_asks_the_database_as_often_for_many_as_for_few(api, stores):
    client = api(stores)

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            client.get("parts/")
        return len(asked)

    for n in range(3):
        made.part(stores, f"GKT-{n}")
    few = queries()
    for n in range(3, 12):
        made.part(stores, f"GKT-{n}")
    assert queries() == few <= 4
