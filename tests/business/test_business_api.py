"""The business over the API."""

import pytest

from tests.factories import business as made

pytestmark = pytest.mark.django_db


def test_the_profile(api, owner, mechanic):
    client = api(owner)
    assert client.get("business/").json()["version"] == 0
    answer = client.patch("business/", {"name": "Saltmarsh Engine Works", "iban": "IE29AIBK93115212345678"})
    assert answer.status_code == 200, answer.content
    assert answer.json()["version"] == 1
    stale = client.patch("business/", {"name": "Other"}, etag='"0-x"')
    assert (stale.status_code, stale.json()["facts"]) == (412, {"current": 1})
    wrong = client.patch("business/", {"iban": "IE29AIBK93115212345679"})
    assert wrong.status_code == 400
    assert wrong.json()["errors"][0]["pointer"] == "/iban"
    assert api(mechanic).get("business/").json()["name"] == "Saltmarsh Engine Works"
    assert api(mechanic).patch("business/", {"name": "Mine"}).status_code == 403
    assert client.post("business/", {}).status_code == 405


def test_tax_rates(api, owner):
    client = api(owner)
    body = {"code": "S23", "name": "Standard", "percent": "23", "valid_from": "2024-01-01", "is_default": True}
    rate = client.post("tax-rates/", body)
    assert rate.status_code == 201, rate.content
    assert rate.json()["is_default"] is True
    path = rate["Location"]
    changed = client.post(path + "change/", {"percent": "21", "valid_from": "2027-01-01"})
    assert changed.status_code == 201
    assert changed.json()["percent"] == "21"
    assert client.get(path).json()["valid_to"] == "2026-12-31"
    on = client.get("tax-rates/", on="2026-12-31").json()["items"]
    assert [r["percent"] for r in on] == ["23"]
    exempt = body | {"code": "E", "category": "E", "percent": "0", "is_default": False}
    refused = client.post("tax-rates/", exempt)
    assert refused.json()["errors"][0]["pointer"] == "/reason"
    assert client.post("tax-rates/", exempt | {"reason": "Article 135 (1)"}).status_code == 201
    assert client.post(f"tax-rates/{changed.json()['id']}/end/", {"valid_to": "2028-01-01"}).status_code == 409


def test_why_no_vat_is_said_by_language(api, owner):
    client = api(owner)
    body = {"code": "AE", "name": "Reverse charge", "percent": "0", "category": "AE", "valid_from": "2024-01-01"}
    german = "Steuerschuldnerschaft des Leistungsempfängers"
    alone = client.post("tax-rates/", body | {"reasons": {"de": german}})
    assert alone.json()["errors"][0]["pointer"] == "/reason"
    unknown = client.post("tax-rates/", body | {"reason": "Reverse charge", "reasons": {"xx": german}})
    assert "no language “xx”; they have de, en" in unknown.json()["errors"][0]["detail"]
    rate = client.post("tax-rates/", body | {"reason": "Reverse charge", "reasons": {"de": german, "en": " "}})
    assert (rate.status_code, rate.json()["reasons"]) == (201, {"de": german})
    kept = client.patch(rate["Location"], {"name": "Turned round"})
    assert kept.json()["reasons"] == {"de": german}
    changed = client.patch(rate["Location"], {"reasons": {"de": "Art. 196"}})
    assert (changed.json()["reason"], changed.json()["reasons"]) == ("Reverse charge", {"de": "Art. 196"})


def test_labour_rates_hours_and_days(api, owner, mechanic):
    client = api(owner)
    rate = client.post("labour-rates/", {"per_hour": "68", "valid_from": "2024-01-01"})
    assert (rate.status_code, rate.json()["per_hour"], rate.json()["stage_kind"]) == (201, "68.00", "")
    assert client.patch(rate["Location"], {"per_hour": "70.5"}).json()["per_hour"] == "70.50"
    assert client.delete(rate["Location"]).status_code == 409
    hours = {"weekday": 1, "starts": "07:30", "ends": "16:00", "break_starts": "12:00", "break_ends": "12:30"}
    monday = client.post("working-hours/", hours)
    assert monday.status_code == 201, monday.content
    assert monday.json()["starts"] == "07:30"
    assert client.post("working-hours/", hours | {"weekday": 2, "ends": "07:00"}).status_code == 400
    assert client.post("working-hours/", hours | {"starts": "24:00"}).status_code == 400
    week = client.get("working-hours/").json()["items"]
    assert [(d["weekday"], d["starts"]) for d in week] == [(1, "07:30")] + [(n, "08:00") for n in (2, 3, 4, 5)]
    statuses = [client.delete(f"working-hours/{d['id']}/").status_code for d in week]
    assert statuses == [204, 204, 204, 204, 409], "the last weekday stays"
    day = client.post("closed-days/", {"day": "2026-12-25", "reason": "Christmas"})
    assert day.status_code == 201
    assert client.delete(day["Location"]).status_code == 204
    assert client.get(day["Location"]).status_code == 404
    assert api(mechanic).get("labour-rates/").status_code == 200
    assert api(mechanic).post("labour-rates/", {"per_hour": "1", "valid_from": "2024-01-01"}).status_code == 403


def test_sites(api, owner):
    client = api(owner)
    first = made.site()
    second = client.post("sites/", {"code": "QUAY", "name": "Quay"})
    assert second.status_code == 201
    assert client.post("sites/", {"code": "quay", "name": "Other"}).status_code == 400
    assert client.delete(f"sites/{first.pk}/").status_code == 204
    assert [s["code"] for s in client.get("sites/").json()["items"]] == ["QUAY"]
    assert client.delete(second["Location"]).status_code == 409
