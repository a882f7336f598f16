"""What stands for what: replacements, alternatives, barcodes."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from inventory.parts import actions, queries
from inventory.parts.models import Alternative, Barcode, Replacement
from inventory.stock import queries as shelf
from shop.kernel.errors import BadInput, NotFound, Refused
from shop.trail.models import TrailRow
from tests.factories import parts as made
from tests.factories import stock

pytestmark = pytest.mark.django_db
GTIN = "4006381333931"


def test_the_old_number_leads_to_the_new_one(stores):
    a, b, c = (made.part(stores, f"GKT-{n}") for n in "ABC")
    actions.replace_part(a.pk, by=stores, new_part_id=b.pk, note="Thicker")
    actions.replace_part(b.pk, by=stores, new_part_id=c.pk, either_way=True)
    assert queries.current("gkt-a") == queries.newest(a) == c
    assert queries.by_code("gkt-a") == a  # itself, for whoever counts or receives it
    found = queries.instead(a)
    assert ([r.new for r in found.replaced], found.now) == ([b, c], c)
    assert [p for p, _ in queries.instead(c).others] == [b]  # either way; the first does not do for it
    actions.archive_part(a.pk, None, by=stores)
    assert queries.by_code("GKT-A") == c
    assert TrailRow.objects.filter(verb="part.replaced", subject="replacement").count() == 2
    actions.undo_replacement(Replacement.objects.get(old=a).pk, by=stores)
    assert queries.by_code("GKT-A") is None
    with pytest.raises(NotFound):
        actions.undo_replacement(999, by=stores)


def test_what_is_left_of_the_old_one_is_drawn_first(stores):
    old, new = made.part(stores, "GKT-A"), made.part(stores, "GKT-B")
    actions.replace_part(old.pk, by=stores, new_part_id=new.pk)
    assert shelf.by_code("GKT-A")[0] == new
    stock.lot(stores, old.pk, "1")
    assert shelf.by_code("GKT-A")[0] == old


def test_a_circle_is_refused_and_named(stores):
    a, b, c = (made.part(stores, f"GKT-{n}") for n in "ABC")
    actions.replace_part(a.pk, by=stores, new_part_id=b.pk)
    actions.replace_part(b.pk, by=stores, new_part_id=c.pk)
    with pytest.raises(BadInput, match="GKT-C → GKT-A → GKT-B → GKT-C") as refusal:
        actions.replace_part(c.pk, by=stores, new_part_id=a.pk)
    assert (refusal.value.code, list(refusal.value.fields)) == ("circle", ["new_part_id"])
    with pytest.raises(BadInput, match="itself"):
        actions.replace_part(c.pk, by=stores, new_part_id=c.pk)
    with pytest.raises(Refused, match="replaced by GKT-B already"):
        actions.replace_part(a.pk, by=stores, new_part_id=c.pk)
    with pytest.raises(BadInput, match="no such part"):
        actions.replace_part(c.pk, by=stores, new_part_id=999)
    with pytest.raises(NotFound):
        actions.replace_part(999, by=stores, new_part_id=a.pk)
    assert Replacement.objects.count() == 2
    with pytest.raises(IntegrityError), transaction.atomic():
        Replacement.objects.create(old=c, new=c, since="2026-01-01")


def test_alternatives_stand_for_each_other(stores):
    a, b = made.part(stores, "GKT-A"), made.part(stores, "GKT-B")
    row = actions.add_alternative(b.pk, by=stores, other_part_id=a.pk, note="Thicker")
    assert [p for p, _ in queries.instead(a).alternatives] == [b]
    assert [p for p, _ in queries.instead(b).alternatives] == [a]
    for part, other in ((a, b), (b, a)):
        with pytest.raises(BadInput, match="already"):
            actions.add_alternative(part.pk, by=stores, other_part_id=other.pk)
    with pytest.raises(BadInput, match="itself"):
        actions.add_alternative(a.pk, by=stores, other_part_id=a.pk)
    with pytest.raises(BadInput):
        actions.add_alternative(a.pk, by=stores, other_part_id=999)
    with pytest.raises(IntegrityError), transaction.atomic():
        Alternative.objects.create(part=b, other=a, added_at=row.added_at)
    actions.remove_alternative(row.pk, by=stores)
    assert queries.instead(a).alternatives == []


def test_several_barcodes_lead_to_one_part(stores):
    part = made.part(stores, "GKT-041")
    actions.add_barcode(part.pk, by=stores, code=GTIN)
    row = actions.add_barcode(part.pk, by=stores, code="GH 12/7", used_by="Gullhaven Seals")
    for code in (GTIN, f"0{GTIN}", f" {GTIN} ", "GH 12/7"):
        assert queries.by_code(code) == part, code
    assert shelf.by_code(f"]C101{GTIN.zfill(14)}10B77")[0] == part
    assert list(queries.find("gh 12/7")) == list(queries.find(GTIN)) == [part]
    actions.edit_part(part.pk, None, by=stores, name="Other")
    assert list(queries.find("gh 12/7")) == [part]
    actions.remove_barcode(row.pk, by=stores)
    assert queries.by_code("GH 12/7") is None
    assert list(queries.find("gh 12/7")) == []
    with pytest.raises(NotFound):
        actions.remove_barcode(row.pk, by=stores)


def test_a_barcode_of_another_part_is_refused_and_that_part_named(stores):
    made.part(stores, "GKT-041", "Head gasket", barcode=GTIN)
    other = made.part(stores, "GKT-042")
    for code in (GTIN, f"0{GTIN}", "gkt-041"):
        with pytest.raises(BadInput, match="GKT-041 Head gasket") as refusal:
            actions.add_barcode(other.pk, by=stores, code=code)
        assert refusal.value.code == "barcode-taken"
    actions.add_barcode(other.pk, by=stores, code="RNG-900")
    with pytest.raises(BadInput, match="barcode of GKT-042"):
        made.part(stores, "RNG-900")
    with pytest.raises(BadInput, match="already"):
        actions.add_barcode(other.pk, by=stores, code="RNG-900")
    assert Barcode.objects.count() == 2


def test_a_wrong_check_digit_is_told_unless_it_is_no_gtin(stores):
    part = made.part(stores)
    with pytest.raises(BadInput, match="would be 1") as refusal:
        actions.add_barcode(part.pk, by=stores, code="4006381333932")
    assert refusal.value.code == "bad-gtin"
    assert not Barcode.objects.exists()
    assert not actions.add_barcode(part.pk, by=stores, code="4006381333932", plain=True).is_gtin
    assert not actions.add_barcode(part.pk, by=stores, code="12345678").is_gtin  # eight digits may be anybody's
    assert actions.add_barcode(part.pk, by=stores, code="96385074").is_gtin


def test_over_the_api(api, stores, mechanic):
    a, b, c = (made.part(stores, f"GKT-{n}") for n in "ABC")
    client = api(stores)
    made_ = client.post("barcodes/", {"part_id": a.pk, "code": GTIN, "used_by": "Gullhaven Seals"})
    assert (made_.status_code, made_.json()["is_gtin"]) == (201, True)
    assert api(mechanic).get("barcodes/", code=f"0{GTIN}").json()["items"][0]["part_id"] == a.pk
    taken = client.post("barcodes/", {"part_id": b.pk, "code": GTIN})
    assert (taken.status_code, taken.json()["errors"][0]["pointer"]) == (400, "/code")
    link = client.post("replacements/", {"old_part_id": a.pk, "new_part_id": b.pk}).json()
    assert (link["old_number"], link["new_number"], link["either_way"]) == ("GKT-A", "GKT-B", False)
    circle = client.post("replacements/", {"old_part_id": b.pk, "new_part_id": a.pk})
    assert (circle.status_code, circle.json()["type"]) == (400, "/api/problems/circle")
    assert [r["id"] for r in client.get("replacements/", part_id=b.pk).json()["items"]] == [link["id"]]
    other = client.post("alternatives/", {"part_id": a.pk, "other_part_id": c.pk, "note": "x"}).json()
    assert client.get("alternatives/", part_id=c.pk).json()["items"] == [other]
    for room, row in (("barcodes", made_.json()), ("replacements", link), ("alternatives", other)):
        assert api(mechanic).delete(f"{room}/{row['id']}/").status_code == 403
        assert client.delete(f"{room}/{row['id']}/").status_code == 204
        assert client.get(f"{room}/{row['id']}/").status_code == 404
