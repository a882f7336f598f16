"""The same bill taken back twice, or recorded twice, at once: one wins, on both databases; each with a control."""

from __future__ import annotations

import time

import pytest

from inventory.buying.models import Supplier
from jobs.cards.models import JobCard
from jobs.sublet import actions as writing
from jobs.sublet.models import SubletBill
from shop.kernel.errors import DomainError
from tests.factories import sublet as out
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


def slow(monkeypatch, module, name: str) -> None:
    """Between looking and writing there is time for the other."""
    look = getattr(module, name)

    def slowly(*args, **kwargs):
        found = look(*args, **kwargs)
        time.sleep(0.3)
        return found

    monkeypatch.setattr(module, name, slowly)


def take_back_at_once(owner, monkeypatch) -> list:
    row = out.bill(owner, out.stage(owner))
    now = writing.clock.now

    def slowly():
        time.sleep(0.3)  # what is looked for was looked for
        return now()

    monkeypatch.setattr(writing.clock, "now", slowly)
    return race([lambda: writing.take_back(row.pk, by=owner, reason="Wrong card")] * 4)


def test_taken_back_at_once_one_wins_and_the_others_are_told(owner, monkeypatch):
    results = take_back_at_once(owner, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 3}, results
    assert told(results) == {"undone"}
    assert SubletBill.objects.filter(reverses__isnull=False).count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_the_others_hear_it_from_the_database(owner, monkeypatch):
    """The database still keeps it to one, but can't say who took it back."""
    monkeypatch.setattr(writing, "lock_card", lambda pk: JobCard.objects.get(pk=pk))
    assert "saved-meanwhile" in told(take_back_at_once(owner, monkeypatch))


def told(results: list) -> set[str]:
    return {r.code for r in results if isinstance(r, DomainError)}


def record_at_once(owner, monkeypatch) -> list:
    """For stages of two cards, so that the card's lock alone wouldn't do."""
    stages = [out.stage(owner) for _ in range(4)]
    firm = out.firm(owner).pk
    slow(monkeypatch, writing, "new_number")
    return race([lambda s=s: out.bill(owner, s, supplier_id=firm) for s in stages])


def test_the_same_number_at_once_is_recorded_once(owner, monkeypatch):
    results = record_at_once(owner, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 3}, results
    assert SubletBill.objects.count() == 1


@pytest.mark.postgres
def test_control_without_the_suppliers_lock_it_is_recorded_twice(owner, monkeypatch):
    monkeypatch.setattr(writing, "lock_supplier", lambda pk: Supplier.objects.get(pk=pk))
    assert outcomes(record_at_once(owner, monkeypatch))["done"] > 1
    assert SubletBill.objects.count() > 1
