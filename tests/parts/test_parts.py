from __future__ import annotations

from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction

from inventory.parts import actions, queries
from inventory.parts.models import Part
from shop.kernel.errors import BadInput, NotFound, Stale
from shop.trail.models import TrailRow
from tests.factories import parts as made

pytestmark = pytest.mark.django_db


def test_add_and_change(stores):
    part = made.part(stores, barcode="4006381333931", sale_price=D("38.50"))
    assert set(TrailRow.objects.values_list("verb", flat=True)) == {"part.added", "part.barcode-added"}
    changed = actions.edit_part(part.pk, 1, by=stores, sale_price=D("39"), hazards=["h225", "P210", "H225"])
    assert (changed.version, changed.sale_price, changed.hazards) == (2, D(39), ["H225", "P210"])
    with pytest.raises(Stale):
        actions.edit_part(part.pk, 1, by=stores, name="Other")
    with pytest.raises(NotFound):
        actions.edit_part(999, 1, by=stores, name="Other")
    actions.archive_part(part.pk, 2, by=stores)
    assert list(queries.parts()) == []
    assert list(queries.parts(archived=True)) == [part]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("number", " "), ("number", "x" * 41), ("name", ""), ("kind", "engine"), ("unit", "ST"), ("unit", ""),
        ("sale_price", D(-1)), ("sale_price", D("NaN")), ("sale_price", D("1e8")), ("sale_price", D("0.0000001")),
        ("shelf_life_days", 0), ("open_life_days", 99_999), ("reorder_point", D(-1)), ("reorder_point", D("0.5")),
        ("hazards", ["danger"]), ("storage_note", "x" * 201),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(stores, field, value):
    values = {"number": "GKT-041", "name": "Head gasket", "kind": "gasket", field: value}
    with pytest.raises(BadInput) as refusal:
        actions.add_part(by=stores, **values)
    assert list(refusal.value.fields) == [field]
    assert not Part.objects.exists()


def test_a_number_is_one_part_whatever_its_case(stores):
    made.part(stores, "GKT-041", barcode="4006381333931")
    with pytest.raises(BadInput, match="GKT-041 is taken"):
        made.part(stores, "gkt-041")
    with pytest.raises(BadInput, match="belongs to GKT-041"):
        made.part(stores, "GKT-042", barcode="4006381333931")
    other = made.part(stores, "GKT-042")
    with pytest.raises(BadInput):
        actions.edit_part(other.pk, None, by=stores, number="gkt-041")
    actions.edit_part(other.pk, None, by=stores, number="gkt-042")
    with pytest.raises(IntegrityError), transaction.atomic():
        Part.objects.create(number="GKT-042", name="x", kind="gasket")


def test_find_by_number_name_or_barcode(stores):
    gasket = made.part(stores, "GKT-041", "Head gasket, B2", barcode="4006381333931")
    made.part(stores, "GKT-111", "Head gasket, Ostwick 5")
    assert [p.number for p in queries.find("gkt")] == ["GKT-041", "GKT-111"]
    assert list(queries.find("b2 GASKET")) == [gasket]
    assert list(queries.find("4006381333931")) == [gasket]
    assert list(queries.find("%")) == list(queries.find(" ")) == list(queries.find('gasket "')) == []
    assert [p.number for p in queries.find("b2")] == ["GKT-041"]  # too short for a trigram
    actions.edit_part(gasket.pk, None, by=stores, name="Zylinderkopfdichtung Größe 2")
    assert list(queries.find("grosse")) == [gasket]
    assert gasket not in queries.find("head")
    assert queries.by_code("gkt-041") == gasket
    assert queries.by_code("4006381333931") == gasket
    assert queries.by_code("") is None
