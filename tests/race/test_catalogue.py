"""Two links of the catalogue at once: neither closes a circle, and a barcode gets one part only."""

from __future__ import annotations

import pytest

from inventory.parts import actions, holding
from inventory.parts.actions import links
from inventory.parts.models import Barcode, Part, Replacement
from tests.factories.parts import part
from tests.race.racing import outcomes, race
from tests.race.test_circles import slowly

pytestmark = pytest.mark.django_db(transaction=True)


def close_a_circle(stores, monkeypatch):
    """A is replaced by B and C by D; now B shall be replaced by C, and D by A."""
    a, b, c, d = (part(stores, f"GKT-{n}") for n in "ABCD")
    actions.replace_part(a.pk, by=stores, new_part_id=b.pk)
    actions.replace_part(c.pk, by=stores, new_part_id=d.pk)
    slowly(monkeypatch, links, "way")
    return race(
        [
            lambda: actions.replace_part(b.pk, by=stores, new_part_id=c.pk),
            lambda: actions.replace_part(d.pk, by=stores, new_part_id=a.pk),
        ]
    )


def test_replacements_close_no_circle(stores, monkeypatch):
    assert outcomes(close_a_circle(stores, monkeypatch)) == {"done": 1, "refused": 1}
    assert Replacement.objects.count() == 3


@pytest.mark.postgres
def test_control_without_the_lock_they_close_one(stores, monkeypatch):
    def unheld(start, onward):
        return {p.pk: p for p in Part.objects.all()}, holding.reached(start, onward)[1]

    monkeypatch.setattr(links, "hold", unheld)
    assert outcomes(close_a_circle(stores, monkeypatch)) == {"done": 2}


def test_a_barcode_given_to_many_at_once_is_one_parts(stores):
    found = [part(stores, f"GKT-{n}") for n in range(6)]
    results = race([lambda p=p: actions.add_barcode(p.pk, by=stores, code="4006381333931") for p in found])
    assert outcomes(results) == {"done": 1, "refused": 5}
    assert Barcode.objects.count() == 1
