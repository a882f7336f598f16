from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from inventory.parts.models import Part
from tests.factories import parts as made

pytestmark = pytest.mark.django_db

FIELDS = {"number": "GKT-041", "name": "Head gasket, B2", "kind": "gasket", "unit": "C62", "sale_price": "38,50"}


@pytest.fixture
def desk(client, stores):
    client.force_login(stores)
    return client


def post(client, url, **fields):
    return client.post(url, {"once": str(uuid.uuid4()), **fields})


def test_add_edit_archive(desk):
    answer = post(desk, reverse("parts:add"), **FIELDS, hazards="h225, P210")
    part = Part.objects.get()
    assert answer["Location"] == reverse("parts:part", args=[part.pk])
    shown = desk.get(answer["Location"]).content.decode()
    for words in (
        "GKT-041",
        "€38.50",
        "Highly flammable liquid and vapour.",
        "P210",
        "Danger",
        "GHS02.svg",
        "safety data sheet rules",
    ):
        assert words in shown
    edit = reverse("parts:edit", args=[part.pk])
    assert post(desk, edit, **FIELDS | {"name": "Gasket"}, version="1").status_code == 303
    stale = post(desk, edit, **FIELDS | {"name": "Other"}, version="1")
    assert stale.status_code == 422
    assert "newer version" in stale.content.decode()
    post(desk, reverse("parts:archive", args=[part.pk]))
    assert "GKT-041" not in desk.get(reverse("parts:list")).content.decode()
    assert "GKT-041" in desk.get(reverse("parts:list"), {"archived": "on"}).content.decode()
    post(desk, reverse("parts:restore", args=[part.pk]))
    assert "GKT-041" in desk.get(reverse("parts:list")).content.decode()


@pytest.mark.parametrize(
    ("field", "value"),
    [("number", ""), ("sale_price", "-1"), ("sale_price", "cheap"), ("unit", "ST"), ("hazards", "fire"), ("kind", "x")],
)
def test_what_is_wrong_is_said(desk, field, value):
    answer = post(desk, reverse("parts:add"), **FIELDS | {field: value})
    assert answer.status_code == 422
    assert f"id_{field}_error" in answer.content.decode()
    assert not Part.objects.exists()


def test_search_and_a_scanned_barcode_leads_to_the_part(desk, stores):
    part = made.part(stores, barcode="4006381333931")
    made.part(stores, "RNG-078", "Ring set, B2")
    found = desk.get(reverse("parts:list"), {"text": "ring set"}).content.decode()
    assert "RNG-078" in found
    assert "GKT-041" not in found
    scanned = desk.get(reverse("parts:list"), {"text": "4006381333931"})
    assert scanned["Location"] == reverse("parts:part", args=[part.pk])


def test_a_mechanic_reads_and_changes_nothing(client, mechanic, stores):
    part = made.part(stores)
    client.force_login(mechanic)
    assert client.get(reverse("parts:part", args=[part.pk])).status_code == 200
    assert client.get(reverse("parts:edit", args=[part.pk])).status_code == 403
    assert post(client, reverse("parts:archive", args=[part.pk])).status_code == 403
