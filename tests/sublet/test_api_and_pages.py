"""Work sent out through the API and on the pages: rights, files, forms, and lists that don't ask per row."""

from __future__ import annotations

import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.sublet import actions
from jobs.sublet.models import SubletBill
from shop.kernel import clock
from tests.documents import hostile
from tests.factories import sublet as out
from tests.invoices.test_invoices_pages import words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "files"


def body(stage, owner, **more):
    given = {
        "stage_id": stage.pk, "supplier_id": out.firm(owner).pk, "number": "26-118", "dated_on": clock.today().isoformat(),
        "net": "240.00", "tax": "55.20",
    }  # fmt: skip
    return given | more


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def send(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def test_by_api(owner, office, stores, mechanic, api):
    stage = out.stage(owner)
    given = body(stage, owner)
    for person in (stores, mechanic):
        assert api(person).post("sublet-bills/", given).status_code == 403
    key = str(uuid.uuid4())
    mine = api(office)
    first, again = (mine.post("sublet-bills/", given, key=key) for _ in range(2))
    assert (first.status_code, again.json()["id"]) == (201, first.json()["id"])
    row = first.json()
    assert (row["net"], row["tax"], row["card_id"], row["supplier_name"], row["by_id"]) == (
        "240.00", "55.20", stage.card_id, out.FIRM, office.pk,
    )  # fmt: skip
    twice = api(owner).post("sublet-bills/", given)
    assert (twice.status_code, [e["pointer"] for e in twice.json()["errors"]]) == (400, ["/number"])
    assert api(mechanic).get("sublet-bills/").status_code == 403
    assert api(mechanic).get(f"sublet-bills/{row['id']}/").status_code == 403
    assert api(stores).get(f"sublet-bills/{row['id']}/").json()["net"] == "240.00"
    assert api(stores).post(f"sublet-bills/{row['id']}/take-back/", {"reason": "No"}).status_code == 403
    back = api(owner).post(f"sublet-bills/{row['id']}/take-back/", {"reason": "Wrong card"})
    assert (back.status_code, back.json()["net"], back.json()["reverses_id"]) == (201, "-240.00", row["id"])
    assert api(owner).get(f"sublet-bills/{row['id']}/").json()["reversed_by_id"] == back.json()["id"]
    assert api(owner).post(f"sublet-bills/{row['id']}/take-back/", {"reason": "Again"}).status_code == 409
    for wrong in ({"net": 240.5}, {"net": "a"}, {"colour": "red"}, {"dated_on": "yesterday"}, {"stage_id": 0}):
        assert api(owner).post("sublet-bills/", given | {"number": "9"} | wrong).status_code == 400, wrong


def test_narrowed_lists(owner, api):
    one, two = out.stage(owner), out.stage(owner)
    other = out.firm(owner, "Heron Crack Test").pk
    a, b = out.bill(owner, one), out.bill(owner, two, supplier_id=other, number="7")
    for query, wanted in (
        ({}, [b.pk, a.pk]), ({"card_id": one.card_id}, [a.pk]), ({"stage_id": two.pk}, [b.pk]), ({"supplier_id": other}, [b.pk]),
        ({"number": "26-118"}, [a.pk]), ({"card_id": 10**9}, []),
    ):  # fmt: skip
        assert [x["id"] for x in api(owner).get("sublet-bills/", **query).json()["items"]] == wanted, query


def asked(get, *args, **query):
    get(*args, **query)
    with CaptureQueriesContext(connection) as found:
        answer = get(*args, **query)
    assert answer.status_code == 200
    return len(found)


def test_no_more_statements_for_more_bills(owner, api):
    stage = out.agreed(owner)
    mine, client = api(owner), signed_in(owner)
    card, firm = reverse("cards:card", args=[stage.card_id]), reverse("buying:supplier", args=[out.firm(owner).pk])

    def counts():
        return [asked(mine.get, "sublet-bills/"), asked(client.get, card), asked(client.get, firm)]

    actions.take_back(out.bill(owner, stage, number="1").pk, by=owner, reason="Wrong")
    before = counts()
    for n in range(2, 6):
        row = out.bill(owner, stage, number=str(n))
        if n % 2:
            actions.take_back(row.pk, by=owner, reason="Wrong")
    assert counts() == before


def test_on_pages(owner, office, mechanic):
    stage = out.agreed(owner)
    card = reverse("cards:card", args=[stage.card_id])
    record = reverse("sublet:record", args=[stage.card_id, stage.pk])
    client = signed_in(office)
    page = client.get(card).content.decode()
    assert record in page
    assert "nothing yet" in page
    good = {
        "supplier": out.firm(owner).pk,
        "number": "<b>26</b>",
        "dated_on": clock.today().isoformat(),
        "net": "240,00",
    }
    for wrong in (
        {"net": "0"},
        {"net": "much"},
        {"net": "1.005"},
        {"supplier": ""},
        {"dated_on": "2999-01-01"},
        {"number": ""},
    ):
        answer = send(client, record, **good | wrong)
        assert (answer.status_code, SubletBill.objects.count()) == (422, 0), wrong
    assert "&lt;b&gt;26" in send(client, record, **good | {"net": "0"}).content.decode()  # what was typed stays
    assert send(client, record, **good | {"net": "240"}).status_code == 303
    row = SubletBill.objects.get()
    assert (row.net, row.tax) == (240, 0)
    page = words(client.get(card))
    assert "240.00" in page
    assert "Expected cost" not in page  # the owner's to see
    mine = words(signed_in(owner).get(card))
    assert "Expected cost, as agreed" in mine
    assert "More than expected" in mine
    assert "&lt;b&gt;26" in client.get(reverse("buying:supplier", args=[out.firm(owner).pk])).content.decode()
    assert "Work sent out" in words(client.get(reverse("cards:stage", args=[stage.card_id, stage.pk])))
    shown = reverse("sublet:bill", args=[row.pk])
    assert client.get(shown).status_code == 200
    taken = reverse("sublet:take-back", args=[row.pk])
    assert send(client, taken, reason="").status_code == 422
    assert send(client, taken, reason="Wrong card").status_code == 303
    assert send(client, taken, reason="Wrong card").status_code == 422
    assert "Wrong card" in words(client.get(shown))
    assert client.get(reverse("sublet:bill", args=[10**9])).status_code == 404
    bench = signed_in(mechanic)
    assert "Work sent out" not in words(bench.get(card))
    assert "Work sent out" not in words(bench.get(reverse("cards:stage", args=[stage.card_id, stage.pk])))
    assert {bench.get(x).status_code for x in (shown, record, taken)} == {403}


def test_the_form_under_another_card_is_not_there(owner):
    stage, other = out.stage(owner), out.stage(owner)
    client = signed_in(owner)
    assert client.get(reverse("sublet:record", args=[other.card_id, stage.pk])).status_code == 404
    assert "supplier" in client.get(reverse("sublet:record", args=[stage.card_id, stage.pk])).content.decode()


def test_their_invoice_as_a_file_is_for_those_who_see_cost(owner, office, mechanic, api):
    row = out.bill(owner, out.stage(owner))
    client = signed_in(office)
    page = reverse("sublet:bill", args=[row.pk])
    add = reverse("documents:add", args=["subletbill", row.pk])
    file = SimpleUploadedFile("invoice.jpg", hostile.picture(), "image/jpeg")
    assert add in client.get(page).content.decode()
    assert client.post(add, {"once": str(uuid.uuid4()), "file": file, "next": page})["Location"] == page
    assert "invoice.jpg" in client.get(page).content.decode()
    found = api(owner).get("files/", subject="subletbill", subject_id=row.pk).json()["items"]
    assert len(found) == 1
    assert api(mechanic).get("files/", subject="subletbill", subject_id=row.pk).json().get("items", []) == []
    assert api(mechanic).get(f"files/{found[0]['id']}/").status_code in (403, 404)
    again = SimpleUploadedFile("b.jpg", hostile.picture(), "image/jpeg")
    refused = signed_in(mechanic).post(add, {"once": str(uuid.uuid4()), "file": again, "next": page})
    assert refused.status_code in (403, 404)
