"""Two edits at once can't close a circle that each alone would not: of machines, and of a plan's stages."""

from __future__ import annotations

import time

import pytest

from jobs.machines import actions as machines
from jobs.machines import lineage
from jobs.machines.models import Customer, Machine
from jobs.plans import actions as plans
from jobs.plans import order
from jobs.plans.actions import holding
from jobs.plans.models import PlanStage, WorkPlan
from tests.factories.machines import customer, machine
from tests.factories.plans import plan, stage
from tests.race.racing import outcomes, race

pytestmark = pytest.mark.django_db(transaction=True)


def slowly(monkeypatch, module, name):
    """After its check each waits a little, so that without a lock both have checked before either writes."""
    check = getattr(module, name)

    def checked(*args, **kwargs):
        answer = check(*args, **kwargs)
        time.sleep(0.2)
        return answer

    monkeypatch.setattr(module, name, checked)


def close_a_circle_of_machines(office, monkeypatch):
    """The pump belongs to the engine; now the vessel shall belong to the pump and the engine to the vessel. (Of two
    machines the foreign keys' own locks would already stop one.)"""
    owner = customer()
    engine, vessel = machine(owner), machine(owner)
    pump = machine(owner, parent_id=engine.pk)
    slowly(monkeypatch, lineage, "check_parent")
    results = race(
        [
            lambda: machines.edit_machine(vessel.pk, None, by=office, parent_id=pump.pk),
            lambda: machines.edit_machine(engine.pk, None, by=office, parent_id=vessel.pk),
        ]
    )
    return results, Machine.objects.filter(parent__isnull=False).count()


def test_machines_close_no_circle(office, monkeypatch):
    results, with_parent = close_a_circle_of_machines(office, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 1}
    assert with_parent == 2


@pytest.mark.postgres
def test_control_without_the_lock_machines_close_a_circle(office, monkeypatch):
    monkeypatch.setattr(machines, "_hold", lambda pks: {c.pk: c for c in Customer.objects.filter(pk__in=pks)})
    results, with_parent = close_a_circle_of_machines(office, monkeypatch)
    assert outcomes(results) == {"done": 2}
    assert with_parent == 3


def close_a_circle_of_stages(office, monkeypatch):
    of = plan(stages=())
    first, second = stage(of), stage(of)
    slowly(monkeypatch, order, "in_order")
    results = race(
        [
            lambda: plans.set_after(first.pk, None, by=office, after_ids=[second.pk]),
            lambda: plans.set_after(second.pk, None, by=office, after_ids=[first.pk]),
        ]
    )
    return results, PlanStage.objects.filter(after__isnull=False).count()


def test_stages_close_no_circle(office, monkeypatch):
    results, waiting = close_a_circle_of_stages(office, monkeypatch)
    assert outcomes(results) == {"done": 1, "refused": 1}
    assert waiting == 1


@pytest.mark.postgres
def test_control_without_the_lock_stages_close_a_circle(office, monkeypatch):
    monkeypatch.setattr(holding, "claim", lambda model, pk, expect: WorkPlan.objects.get(pk=pk))
    results, waiting = close_a_circle_of_stages(office, monkeypatch)
    assert outcomes(results) == {"done": 2}
    assert waiting == 2


def test_many_stages_added_at_once_get_places_of_their_own(office):
    of = plan(stages=())

    def add(n):
        return lambda: plans.add_stage(of.pk, None, by=office, name=f"Stage {n}", kind="fit", position=1)

    results = race([add(n) for n in range(12)])
    assert outcomes(results) == {"done": 12}
    assert list(of.stages.values_list("position", flat=True)) == list(range(1, 13))
    of.refresh_from_db()
    assert of.version == 13
