"""Packages: exact both ways, or refused in words."""

from __future__ import annotations

import uuid
from decimal import Decimal as D

import pytest
from django.urls import reverse

from inventory.parts import actions, packing
from inventory.parts.models import Package
from inventory.parts.packing import Pack
from inventory.stock.models import Lot, Movement
from shop.kernel.errors import BadInput, NotFound, Refused
from tests.factories import parts as made
from tests.factories import stock

BOX, TUBE = Pack("box", D(50), "C62"), Pack("tube", D(70), "MLT")


@pytest.mark.parametrize(
    ("count", "pack", "whole"),
    [
        ("3", BOX, "150"),
        ("1.5", BOX, "75"),
        ("0.02", BOX, "1"),
        ("3", TUBE, "210"),
        ("0.5", TUBE, "35"),
        ("0.001", TUBE, "0.07"),
    ],
)
def test_packages_in_units_are_exact(count, pack, whole):
    assert packing.unpacked(D(count), pack) == D(whole)
    if D(count) == int(D(count)):
        assert packing.packed(D(whole), pack) == int(count)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: packing.unpacked(D("0.33"), BOX), "0.33 × box of 50 are 16.5 pc, finer than piece"),
        (lambda: packing.packed(D(75), BOX), "1 × box of 50 and 25 left over. Take 50 or 100"),
        (lambda: packing.packed(D(100), TUBE), "1 × tube of 70 ml and 30 ml left over"),
    ],
)
def test_what_does_not_divide_says_so(wrong, said):
    with pytest.raises(BadInput, match=said) as refusal:
        wrong()
    assert refusal.value.code == "does-not-divide"


@pytest.mark.parametrize("count", ["0", "-1", "NaN", "Infinity"])
def test_no_quantity(count):
    with pytest.raises(BadInput):
        packing.unpacked(D(count), BOX)


@pytest.mark.parametrize(
    ("text", "packs", "whole"),
    [
        ("75", [BOX], "75"), ("2 boxes", [BOX], "100"), ("2 Box", [BOX], "100"), ("2 × box of 50", [BOX], "100"),
        ("2x box", [BOX], "100"), ("1.5 box", [BOX], "75"), ("2 pc", [BOX], "2"),
        ("2 boxes of 50", [BOX, Pack("box", D(100), "C62")], None), ("2 box of 50", [BOX, Pack("box", D(100), "C62")], "100"),
        ("2 box", [BOX, Pack("box", D(100), "C62")], None), ("2 tubes", [BOX], None), ("a box", [BOX], None), ("", [BOX], None),
    ],
)  # fmt: skip
def test_as_somebody_types_it(text, packs, whole):
    if whole is None:
        with pytest.raises(BadInput):
            packing.typed(text, "C62", packs, decimal_comma=False)
    else:
        assert packing.typed(text, "C62", packs, decimal_comma=False) == D(whole)


def test_decimal_comma():
    assert packing.typed("1,5 tubes", "MLT", [TUBE], decimal_comma=True) == D(105)
    assert packing.typed("12,5 ml", "MLT", [TUBE], decimal_comma=True) == D("12.5")


@pytest.mark.django_db
def test_content_in_another_unit_is_exact_or_refused(stores):
    sealant = made.sealant(stores)
    assert actions.add_package(sealant.pk, by=stores, kind="XCI", content=D("2.5"), unit="LTR").content == D(2500)
    with pytest.raises(BadInput, match="no exact number of ml"):
        actions.add_package(sealant.pk, by=stores, kind="XBO", content=D(10), unit="OZA")
    with pytest.raises(BadInput, match="can't be turned into"):
        actions.add_package(sealant.pk, by=stores, kind="XBO", content=D(10), unit="KGM")
    for wrong in (D(0), D(-1), D("NaN")):
        with pytest.raises(BadInput):
            actions.add_package(sealant.pk, by=stores, kind="XBO", content=wrong)
    with pytest.raises(BadInput, match="already"):
        actions.add_package(sealant.pk, by=stores, kind="XCI", content=D(2500))
    with pytest.raises(BadInput):
        actions.add_package(sealant.pk, by=stores, kind="BOX", content=D(1))
    assert [str(p) for p in Package.objects.all()] == ["canister of 2500 ml"]
    with pytest.raises(Refused, match="its unit stays"):
        actions.edit_part(sealant.pk, None, by=stores, unit="LTR")
    actions.remove_package(Package.objects.get().pk, by=stores)
    with pytest.raises(NotFound):
        actions.remove_package(999, by=stores)


@pytest.mark.django_db
def test_received_in_packages(client, stores):
    sealant = made.sealant(stores)
    actions.add_package(sealant.pk, by=stores, kind="XTU", content=D(70))
    shelf = stock.bin_(stores)
    client.force_login(stores)
    where = reverse("stock:receive")
    given = {"part": "SEA-070", "bin": shelf.code, "unit_cost": "0.24"}
    answer = client.post(where, given | {"quantity": "3 tubes", "once": str(uuid.uuid4())})
    assert answer.status_code == 303, answer.content.decode()
    assert Movement.objects.get().quantity == D(210)
    answer = client.post(where, given | {"quantity": "3 boxes", "once": str(uuid.uuid4())})
    assert answer.status_code == 422
    assert "tube of 70 ml" in answer.content.decode()
    assert Lot.objects.count() == 1


@pytest.mark.django_db
def test_over_the_api(api, stores, mechanic):
    part = made.part(stores)
    client = api(stores)
    box = client.post("packages/", {"part_id": part.pk, "kind": "XBX", "content": "50"}).json()
    assert (box["name"], box["content"], box["unit"]) == ("box", "50", "C62")
    asked = f"packages/{box['id']}/convert/"
    assert api(mechanic).get(asked, packages="1.5").json() == {"packages": "1.5", "quantity": "75", "unit": "C62"}
    assert client.get(asked, quantity="150").json()["packages"] == "3"
    wrong = client.get(asked, quantity="75")
    assert (wrong.status_code, wrong.json()["type"]) == (400, "/api/problems/does-not-divide")
    assert client.get(asked).json()["quantity"] == "50"
    assert client.get(asked, packages="1", quantity="50").status_code == 400
    assert client.get(asked, packages="x").status_code == 400
    assert client.delete(f"packages/{box['id']}/").status_code == 204


PIECE, BOX_OF_50 = "4006381333931", "14006381333938"


@pytest.mark.django_db
def test_a_package_with_a_code_of_its_own(api, client, stores):
    part = made.part(stores, barcode=PIECE)
    box = {"part_id": part.pk, "kind": "XBX", "content": "50"}
    asked = api(stores)

    def refused(code):
        answer = asked.post("packages/", box | {"gtin": code})
        assert answer.status_code == 400, answer.content
        return answer.json()["errors"][0]["pointer"], answer.json()["detail"]

    assert refused("14006381333939") == ("/gtin", "14006381333939 is no GTIN: its last digit would be 8. Scan it again; if it is a number of somebody's own and no GTIN, say so.")  # fmt: skip
    assert refused("BOX-50")[1].startswith("This is no GTIN")
    assert refused(PIECE)[1].startswith("This number means one GKT-041 Head gasket, B2.")
    made_box = asked.post("packages/", box | {"gtin": BOX_OF_50})
    assert (made_box.status_code, made_box.json()["gtin"]) == (201, BOX_OF_50)
    again = asked.post("packages/", box | {"content": "20", "gtin": BOX_OF_50})
    assert again.json()["detail"] == "This number is that of the box of 50 of GKT-041 Head gasket, B2."
    other = made.part(stores, "GKT-077", "Rocker cover gasket")
    taken = asked.post("barcodes/", {"part_id": other.pk, "code": BOX_OF_50})
    assert "stands for a whole box of 50 of GKT-041" in taken.json()["detail"]
    client.force_login(stores)
    page = client.get(reverse("parts:packages", args=[part.pk])).content.decode()
    assert BOX_OF_50 in page
    assert client.get("/scan/", {"code": BOX_OF_50})["Location"] == f"/parts/{part.pk}/", "any page knows it"
