"""What is charged beside a part: kept with it, by stores and owner, and never lost."""

from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.urls import reverse

from inventory.parts import actions
from inventory.parts.models import PartCharge
from shop.kernel.errors import BadInput, NotFound, Refused, Stale
from shop.trail.models import TrailRow
from tests.factories import business as rates
from tests.factories import parts as made

pytestmark = pytest.mark.django_db

CORE = {"kind": "core", "text": "Deposit on the old nozzle", "amount": D("12.50")}


@pytest.fixture
def nozzle(stores, owner):
    rates.tax_rates(owner)
    return made.part(stores, "INJ-521", "Injector nozzle, B2", kind="component")


def test_added_changed_and_put_away(nozzle, stores):
    row = actions.add_charge(nozzle.pk, by=stores, **CORE)
    actions.edit_charge(row.pk, 1, by=stores, amount=D("13.000001"), tax_code="S13")
    row.refresh_from_db()
    assert (row.amount, row.tax_code, row.kind, row.version) == (D("13.000001"), "S13", "core", 2)
    actions.archive_charge(row.pk, 2, by=stores)
    with pytest.raises(NotFound):
        actions.edit_charge(row.pk, None, by=stores, amount=D(1))
    again = actions.add_charge(nozzle.pk, by=stores, **CORE)  # the old one is out of the way
    assert again.pk != row.pk
    assert PartCharge.objects.count() == 2
    verbs = list(TrailRow.objects.filter(verb__startswith="part.charge").order_by("id").values_list("verb", flat=True))
    assert verbs == ["part.charge-added", "part.charge-changed", "part.charge-archived", "part.charge-added"]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"kind": "tip"}, "kind"),
        ({"text": " "}, "text"),
        ({"text": "x" * 121}, "text"),
        ({"amount": D(0)}, "amount"),
        ({"amount": D("-1")}, "amount"),
        ({"amount": D("1.0000001")}, "amount"),
        ({"amount": D(10) ** 9}, "amount"),
        ({"amount": D("NaN")}, "amount"),
        ({"tax_code": "NONE"}, "tax_code"),
    ],
)
def test_what_cannot_be_charged(nozzle, stores, wrong, field):
    with pytest.raises(BadInput) as refusal:
        actions.add_charge(nozzle.pk, by=stores, **CORE | wrong)
    assert field in refusal.value.fields
    assert not PartCharge.objects.exists()


def test_one_core_deposit_and_no_charge_twice(nozzle, stores):
    first = actions.add_charge(nozzle.pk, by=stores, **CORE)
    with pytest.raises(BadInput, match="has a core deposit"):
        actions.add_charge(nozzle.pk, by=stores, **CORE | {"text": "Another"})
    waste = {"kind": "environmental", "amount": D(1)}
    actions.add_charge(nozzle.pk, by=stores, text="Waste", **waste)
    with pytest.raises(BadInput, match="such a charge already"):
        actions.add_charge(nozzle.pk, by=stores, text="WASTE", **waste)
    with pytest.raises(Stale):
        actions.edit_charge(first.pk, 7, by=stores, amount=D(1))
    with pytest.raises(BadInput, match="kind of a charge stays"):
        actions.edit_charge(first.pk, None, by=stores, kind="environmental")
    for n in range(8):
        actions.add_charge(nozzle.pk, by=stores, text=f"Levy {n}", **waste)
    with pytest.raises(Refused, match="10 charges already"):
        actions.add_charge(nozzle.pk, by=stores, text="One more", **waste)


def test_by_api_with_right_and_version(nozzle, stores, office, mechanic, api):
    body = {"part_id": nozzle.pk, "kind": "core", "text": "Old nozzle", "amount": "12.5"}
    assert api(mechanic).post("part-charges/", body).status_code == 403
    assert api(office).post("part-charges/", body).status_code == 403
    made_ = api(stores).post("part-charges/", body)
    assert made_.status_code == 201, made_.json()
    pk = made_.json()["id"]
    assert made_.json()["amount"] == "12.50"
    changed = api(stores).patch(f"part-charges/{pk}/", {"amount": "14"})
    assert (changed.status_code, changed.json()["amount"]) == (200, "14.00")
    assert api(stores).patch(f"part-charges/{pk}/", {"amount": "15"}, etag='"1"').status_code == 412
    assert [x["id"] for x in api(mechanic).get("part-charges/", part_id=nozzle.pk).json()["items"]] == [pk]
    assert api(stores).delete(f"part-charges/{pk}/").status_code == 204
    assert api(stores).get("part-charges/", part_id=nozzle.pk).json()["items"] == []
    put_away = api(stores).get("part-charges/", part_id=nozzle.pk, archived="true").json()["items"]
    assert [x["id"] for x in put_away] == [pk]


def test_on_pages(client, nozzle, stores, mechanic):
    client.force_login(stores)
    here = reverse("parts:charges", args=[nozzle.pk])

    def send(url, **fields):
        return client.post(url, {"once": str(uuid.uuid4()), **fields})

    wrong = send(here, kind="core", text="<b>Old</b>", amount="0")
    assert (wrong.status_code, PartCharge.objects.count()) == (422, 0)
    assert "amount above zero" in wrong.content.decode()
    assert send(here, kind="core", text="<b>Old</b>", amount="12,50").status_code == 303
    row = PartCharge.objects.get()
    shown = client.get(reverse("parts:part", args=[nozzle.pk])).content.decode()
    assert "€12.50" in shown
    assert "&lt;b&gt;Old" in shown
    edit = reverse("parts:edit-charge", args=[row.pk])
    assert send(edit, text="Old nozzle", amount="13", version="1").status_code == 303
    stale = send(edit, text="Older", amount="14", version="1")
    assert stale.status_code == 422
    assert "newer version" in stale.content.decode()
    assert send(reverse("parts:archive-charge", args=[row.pk])).status_code == 303
    assert client.get(edit).status_code == 404
    client.force_login(mechanic)
    assert client.get(here).status_code == 403
