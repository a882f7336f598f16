from __future__ import annotations

import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.buying import actions
from inventory.buying.models import Supplier
from tests.factories import buying as made

pytestmark = pytest.mark.django_db

FIELDS = {"name": "Gullhaven Seals", "email": "orders@gullhaven.example", "city": "Gullhaven", "currency": "EUR"}


@pytest.fixture
def desk(client, stores):
    client.force_login(stores)
    return client


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def test_add_edit_archive_and_take_back(desk):
    answer = post(desk, reverse("buying:add"), **FIELDS, lead_days="4", note="Closes at noon on Fridays")
    row = Supplier.objects.get()
    assert answer["Location"] == reverse("buying:supplier", args=[row.pk])
    shown = desk.get(answer["Location"]).content.decode()
    for words in ("Supplier added.", "orders@gullhaven.example", "4 days", "Closes at noon"):
        assert words in shown
    edit = reverse("buying:edit", args=[row.pk])
    assert post(desk, edit, **FIELDS | {"city": "Dunmarsh"}, version="1").status_code == 303
    row.refresh_from_db()
    assert (row.city, row.lead_days, row.version) == ("Dunmarsh", None, 2)
    post(desk, reverse("buying:archive", args=[row.pk]))
    assert "kept in history" in desk.get(answer["Location"]).content.decode()
    assert "Gullhaven Seals" not in desk.get(reverse("buying:list")).content.decode()
    assert "Gullhaven Seals" in desk.get(reverse("buying:list"), {"archived": "on"}).content.decode()
    post(desk, reverse("buying:restore", args=[row.pk]))
    assert "Gullhaven Seals" in desk.get(reverse("buying:list")).content.decode()


def test_a_stale_form_shows_the_newer_version_and_keeps_what_was_typed(desk, owner):
    row = made.supplier(owner, "Gullhaven Seals", city="Gullhaven")
    edit = reverse("buying:edit", args=[row.pk])
    assert 'name="version" value="1"' in desk.get(edit).content.decode()
    actions.edit_supplier(row.pk, 1, by=owner, city="Port Averil", phone="021 555 0142")
    mine = FIELDS | {"city": "Saltmarsh Quay", "version": "1"}
    answer = post(desk, edit, **mine)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Port Averil" in page
    assert 'value="Saltmarsh Quay"' in page
    assert re.search(r'name="version" value="2"', page)
    row.refresh_from_db()
    assert row.city == "Port Averil"
    assert post(desk, edit, **mine | {"version": "2"}).status_code == 303
    row.refresh_from_db()
    assert (row.city, row.phone) == ("Saltmarsh Quay", "")


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", "", "required"),
        ("name", "gullhaven SEALS", "already a supplier"),
        ("email", "nobody", "valid email"),
        ("currency", "EUX", "three letters of a currency"),
        ("lead_days", "-1", "greater than or equal to 0"),
        ("vat_no", "DE136695978", "not whether the number is registered"),
        ("country", "XX", "not one of the available choices"),
    ],
)
def test_bad_input_is_said_at_its_field_and_writes_nothing(desk, owner, field, value, said):
    made.supplier(owner, "Gullhaven Seals")
    answer = post(
        desk, reverse("buying:add"), **FIELDS | {"name": "Tern & Daughters", "city": "Dunmarsh", field: value}
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f"id_{field}_error" in page
    assert said in page
    assert 'value="Dunmarsh"' in page
    assert Supplier.objects.count() == 1


def test_a_double_click_adds_once(desk):
    sent = {"once": str(uuid.uuid4())} | FIELDS
    assert {desk.post(reverse("buying:add"), sent).status_code for _ in range(2)} == {303}
    assert Supplier.objects.count() == 1


def test_found_by_words_of_name_and_town(desk, owner):
    made.supplier(owner, "Gullhaven Seals", city="Dunmarsh", account_no="SM-77")
    made.supplier(owner, "Ostwick Factors", city="Gullhaven")
    for text, found in (("seals dunmarsh", True), ("sm-77", True), ("factors", False)):
        shown = desk.get(reverse("buying:list"), {"text": text}).content.decode()
        assert ("Gullhaven Seals" in shown) is found
    assert "Nobody fits" in desk.get(reverse("buying:list"), {"text": "nowhere"}).content.decode()


def test_the_list_asks_as_often_for_many_as_for_few(desk, owner):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            assert desk.get(reverse("buying:list")).status_code == 200
        return len(asked)

    for n in range(4):
        made.supplier(owner, f"Supplier {n}")
    few = queries()
    for n in range(4, 12):
        made.supplier(owner, f"Supplier {n}")
    assert queries() == few


def test_the_office_reads_and_the_mechanic_sees_nothing_of_it(client, office, mechanic, owner):
    row = made.supplier(owner)
    client.force_login(office)
    shown = client.get(reverse("buying:supplier", args=[row.pk])).content.decode()
    assert reverse("buying:list") in shown
    assert reverse("buying:edit", args=[row.pk]) not in shown
    assert client.get(reverse("buying:edit", args=[row.pk])).status_code == 403
    assert post(client, reverse("buying:archive", args=[row.pk])).status_code == 403
    client.force_login(mechanic)
    assert client.get(reverse("buying:list")).status_code == 403
    assert f'href="{reverse("buying:list")}"' not in client.get("/").content.decode()


def test_nobody_at_an_unknown_address(desk):
    for name in ("supplier", "edit"):
        assert desk.get(reverse(f"buying:{name}", args=[999])).status_code == 404
    for name in ("archive", "restore"):
        assert post(desk, reverse(f"buying:{name}", args=[999])).status_code == 404
