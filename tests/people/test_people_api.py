"""Accounts, tokens and tablets over the API."""

import pytest

from shop.people.models import ApiToken, Person
from shop.trail.models import KeptAnswer

pytestmark = pytest.mark.django_db
ADA = {
    "username": "ada",
    "name": "Ada Fenn",
    "roles": ["stores"],
    "password": "quiet-harbour-9",
    "cost_per_hour": "23.50",
}


def test_me_tells_roles_and_rights(api, mechanic):
    me = api(mechanic).get("me/").json()
    assert (me["username"], me["roles"], me["two_step"]) == ("jory", ["mechanic"], False)
    assert "stages.work" in me["rights"]
    assert "costs.read" not in me["rights"]
    assert api(None).get("me/").status_code == 401


def test_the_owner_adds_changes_and_ends_an_account(api, owner):
    client = api(owner)
    made = client.post("people/", ADA)
    assert made.status_code == 201, made.content
    path = made["Location"]
    assert "password" not in made.json()
    assert (made.json()["cost_per_hour"], made.json()["version"]) == ("23.50", 1)
    changed = client.patch(path, {"roles": ["mechanic", "stores"]})
    assert changed.json()["roles"] == ["mechanic", "stores"]
    ada = Person.objects.get(username="ada")
    hers = api(ada)
    assert hers.get("me/").status_code == 200
    assert client.patch(path, {"is_active": False}).status_code == 200
    assert hers.get("me/").status_code == 401
    assert client.get("people/", active="false").json()["items"][0]["username"] == "ada"
    assert client.post(path + "give-password/", {"password": "another-quiet-one"}).status_code == 200
    assert client.post(path + "sign-out/", {}).status_code == 200


def test_only_documented_fields_change(api, owner):
    client = api(owner)
    for field, value in {
        "is_superuser": True,
        "pin_hash": "x",
        "totp_secret": "x",
        "session_epoch": 9,
        "version": 9,
        "id": 1,
    }.items():
        answer = client.post("people/", ADA | {field: value})
        assert answer.status_code == 400
        assert f"/{field}" in [e["pointer"] for e in answer.json()["errors"]]
    assert Person.objects.count() == 1


def test_the_last_owner_stays(api, owner):
    answer = api(owner).patch(f"people/{owner.pk}/", {"is_active": False})
    assert (answer.status_code, answer.json()["type"]) == (409, "/api/problems/last-owner")


def test_costs_are_for_those_who_may_see_them(api, owner, office, mechanic):
    path = f"people/{mechanic.pk}/"
    assert api(owner).get(path).json()["cost_per_hour"] == "24.00"
    assert api(office).get(path).json()["cost_per_hour"] == "24.00"
    assert api(mechanic).get(path).status_code == 403
    assert api(office).patch(path, {"name": "J"}, etag='"1-x"').status_code == 403


def test_a_token_is_told_once_even_when_the_posting_is_repeated(api, mechanic):
    client = api(mechanic)
    first = client.post("tokens/", {"label": "Bench scale"}, key="token-key-1")
    again = client.post("tokens/", {"label": "Bench scale"}, key="token-key-1")
    token = first.json()["token"]
    assert token.startswith("tb_")
    assert (again.status_code, again.json()["token"], again["Idempotent-Replay"]) == (201, None, "true")
    assert again.json() == first.json() | {"token": None}
    assert not any(token in kept.body for kept in KeptAnswer.objects.all())
    pk = first.json()["id"]
    assert "token" not in client.get(f"tokens/{pk}/").json()
    assert client.post(f"tokens/{pk}/revoke/", {}).json()["revoked_at"]
    assert client.client.get("/api/v1/me/", headers={"Authorization": f"Bearer {token}"}).status_code == 401


def test_anothers_token_is_not_there(api, owner, mechanic):
    api(mechanic)
    theirs = ApiToken.objects.get(person=mechanic)
    client = api(owner)
    assert client.get(f"tokens/{theirs.pk}/").status_code == 404
    assert client.post(f"tokens/{theirs.pk}/revoke/", {}).status_code == 404
    assert [t["id"] for t in client.get("tokens/").json()["items"]] == list(
        ApiToken.objects.filter(person=owner).values_list("pk", flat=True)
    )


@pytest.mark.parametrize("header", ["Bearer", "Bearer ", "Basic abc", "Bearer tb_nobody", "tb_x", "Bearer tb_\u00e9"])
def test_a_bad_header_is_a_401_problem(client, db, header):
    answer = client.get("/api/v1/me/", headers={"Authorization": header})
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["WWW-Authenticate"].startswith("Bearer")


def test_tablets_are_listed_and_revoked(api, office, mechanic):
    from shop.people.actions import tablets

    row = tablets.enrol(label="Bench 2", digest="0" * 64, by=office)
    client = api(office)
    assert client.get("tablets/").json()["items"][0]["label"] == "Bench 2"
    assert client.post(f"tablets/{row.pk}/revoke/", {}).json()["revoked_at"]
    assert api(mechanic).get("tablets/").status_code == 403
