"""Two people record the same old part at once: one wins, on both databases; each with a control that fails when the lock is out."""

from __future__ import annotations

import time
from decimal import Decimal as D

import pytest

from jobs.cards.models import JobCard
from jobs.invoices import actions
from jobs.invoices.actions import cores as writing
from jobs.invoices.actions import crediting
from jobs.invoices.models import CoreReturn, Invoice
from tests.factories import charges as made
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


def slow(monkeypatch, name: str) -> None:
    """Between looking and writing there is time for the other."""
    look = getattr(writing.cores, name)

    def slowly(*args, **kwargs):
        found = look(*args, **kwargs)
        time.sleep(0.2)
        return found

    monkeypatch.setattr(writing.cores, name, slowly)


def take_at_once(owner, monkeypatch) -> list:
    card, *_ = made.done(owner, "1")
    invoice = actions.issue_invoice(actions.draft_invoice(by=owner, card_id=card.pk).pk, None, by=owner)
    line = invoice.lines.get(kind="core").pk
    slow(monkeypatch, "charged_line")
    return race([lambda: actions.take_core(line, by=owner, quantity=D(1), condition="Whole")] * 4)


def test_taken_back_at_once_it_is_credited_once(owner, monkeypatch):
    results = take_at_once(owner, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 3}, results
    assert (CoreReturn.objects.count(), Invoice.objects.filter(kind="credit").count()) == (1, 1)


@pytest.mark.postgres
def test_control_without_the_lock_it_is_credited_twice(owner, monkeypatch):
    monkeypatch.setattr(writing, "lock_issued", lambda pk: Invoice.objects.get(pk=pk))
    monkeypatch.setattr(crediting, "lock_issued", lambda pk: Invoice.objects.get(pk=pk))
    look = crediting.queries.creditable

    def slowly(*args):
        found = look(*args)
        time.sleep(0.3)
        return found

    monkeypatch.setattr(crediting.queries, "creditable", slowly)
    assert outcomes(take_at_once(owner, monkeypatch))["done"] > 1
    assert CoreReturn.objects.count() > 1


def hand_in_at_once(owner, monkeypatch) -> list:
    card, _fit, part = made.done(owner, "1")
    slow(monkeypatch, "handed_in")
    return race(
        [lambda: actions.hand_in_core(card.pk, by=owner, part_id=part.pk, quantity=D(1), condition="Whole")] * 4
    )


def test_handed_in_at_once_it_is_recorded_once(owner, monkeypatch):
    results = hand_in_at_once(owner, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 3}, results
    assert CoreReturn.objects.count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_it_is_recorded_twice(owner, monkeypatch):
    monkeypatch.setattr(writing, "lock_card", lambda pk: JobCard.objects.get(pk=pk))
    assert outcomes(hand_in_at_once(owner, monkeypatch))["done"] > 1
