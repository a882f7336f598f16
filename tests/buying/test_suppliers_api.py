import pytest

from inventory.buying.models import Supplier
from shop.trail.models import TrailRow

pytestmark = pytest.mark.django_db


def add(client, name="Gullhaven Seals", **more):
    return client.post("suppliers/", {"name": name, **more})


def test_add_read_edit_archive(api, stores):
    client = api(stores)
    made = add(client, city="Gullhaven", lead_days=4)
    assert made.status_code == 201, made.content
    pk = made.json()["id"]
    assert made["Location"] == f"/api/v1/suppliers/{pk}/"
    read = client.get(f"suppliers/{pk}/")
    assert read.json()["city"] == "Gullhaven"
    assert read["ETag"] == made["ETag"]
    assert client.get(f"suppliers/{pk}/", headers={"If-None-Match": read["ETag"]}).status_code == 304
    changed = client.patch(f"suppliers/{pk}/", {"lead_days": 6}, etag=read["ETag"])
    assert changed.status_code == 200
    assert (changed.json()["lead_days"], changed.json()["version"]) == (6, 2)
    assert TrailRow.objects.filter(verb="supplier.changed").get().detail == {"changed": {"lead_days": [4, 6]}}
    assert client.patch(f"suppliers/{pk}/", {"lead_days": 7}, etag=None).status_code == 428
    stale = client.patch(f"suppliers/{pk}/", {"lead_days": 7}, etag=read["ETag"])
    assert (stale.status_code, stale.json()["facts"]) == (412, {"current": 2})
    assert client.delete(f"suppliers/{pk}/").status_code == 204
    assert client.get("suppliers/").json()["items"] == []


def test_a_repeat_happens_once(api, stores):
    client = api(stores)
    answers = [client.post("suppliers/", {"name": "Gullhaven Seals"}, key="b7c1e1aa-1") for _ in range(3)]
    assert [a.status_code for a in answers] == [201] * 3
    assert len({a.content for a in answers}) == 1
    assert Supplier.objects.count() == 1
    assert client.post("suppliers/", {"name": "Other"}, key="b7c1e1aa-1").status_code == 422
    assert client.post("suppliers/", {"name": "Other"}, key=None).status_code == 400


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/name"),
        ({"name": "  "}, "/name"),
        ({"name": 7}, "/name"),
        ({"name": "x" * 161}, "/name"),
        ({"name": "A", "lead_days": "4"}, "/lead_days"),
        ({"name": "A", "lead_days": -1}, "/lead_days"),
        ({"name": "A", "colour": "blue"}, "/colour"),
        ({"name": "A", "version": 9}, "/version"),
    ],
)
def test_bad_input_is_named_and_writes_nothing(api, stores, body, pointer):
    answer = api(stores).post("suppliers/", body)
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert pointer in [e["pointer"] for e in answer.json()["errors"]]
    assert not Supplier.objects.exists()


def test_the_same_name_is_refused(api, stores):
    client = api(stores)
    add(client)
    again = add(client, "GULLHAVEN seals")
    assert again.status_code == 400
    assert again.json()["errors"][0]["pointer"] == "/name"


def test_rights_and_tokens(api, mechanic):
    assert api(mechanic).get("suppliers/").status_code == 403
    assert add(api(mechanic)).status_code == 403
    nobody = api(None).get("suppliers/")
    assert nobody.status_code == 401
    assert nobody["WWW-Authenticate"].startswith("Bearer")


def test_pages_by_key_forwards_and_back(api, stores):
    client = api(stores)
    for n in range(7):
        add(client, f"Supplier {n}")
    first = client.get("suppliers/", limit=3).json()
    second = client.get(first["next"]).json()
    third = client.get(second["next"]).json()
    names = [i["name"][-1] for p in (first, second, third) for i in p["items"]]
    assert names == list("0123456")
    assert third["next"] is None
    assert first["previous"] is None
    assert client.get(second["previous"]).json()["items"] == first["items"]
    assert client.get("suppliers/", cursor="rubbish").status_code == 400
    assert client.get("suppliers/", colour="blue").status_code == 400
    assert client.get("suppliers/", order="-price").status_code == 400


def test_nothing_at_an_unknown_address(api, stores):
    client = api(stores)
    assert client.get("suppliers/999/").status_code == 404
    unknown = client.get("nothing/")
    assert unknown.status_code == 404
    assert unknown["Content-Type"] == "application/problem+json"
    assert client.client.put("/api/v1/suppliers/", headers=client.headers).status_code == 405


def test_the_description_is_valid(client):
    from openapi_spec_validator import validate

    answer = client.get("/api/v1/openapi.json")
    assert answer.status_code == 200
    description = answer.json()
    validate(description)
    assert description["openapi"].startswith("3.1")
    assert description["components"]["schemas"]["BuyingSupplierIn"]["additionalProperties"] is False


def test_an_archived_one_is_taken_back(api, stores):
    client = api(stores)
    pk = add(client).json()["id"]
    client.delete(f"suppliers/{pk}/")
    back = client.post(f"suppliers/{pk}/restore/")
    assert (back.status_code, back.json()["archived_at"]) == (200, None)
    assert [s["id"] for s in client.get("suppliers/", text="gull seals").json()["items"]] == [pk]
    assert client.post("suppliers/999/restore/").status_code == 404


def test_the_currency_is_one_of_iso_4217(api, stores):
    client = api(stores)
    assert add(client, currency="gbp").json()["currency"] == "GBP"
    wrong = add(client, "Other", currency="EUX")
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/currency")
