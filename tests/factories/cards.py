from __future__ import annotations

from decimal import Decimal
from typing import Any

from jobs.cards import actions
from jobs.cards.models import JobCard, Stage
from jobs.machines.models import Customer, Machine
from jobs.plans.models import PlanGate, PlanStage, WorkPlan
from shop.people.models import Person

from .machines import customer, machine
from .people import person


def a_machine(serial_no: str = "B2-40417") -> Machine:
    """Mara Quill's Brindlecote B2 with this serial number."""
    found = Machine.objects.filter(serial_no=serial_no).first()
    if found:
        return found
    owner = Customer.objects.filter(name="Mara Quill").first() or customer("Mara Quill")
    return machine(owner, kind="engine", maker="Brindlecote", model="B2", serial_no=serial_no)


def a_plan(code: str = "TOP-B2") -> WorkPlan:
    """Strip (no go-ahead needed), measure after it, fit after that with a gate at either end."""
    plan = WorkPlan.objects.create(code=code, name=f"Top-end rebuild {code}")
    strip = PlanStage.objects.create(
        plan=plan, position=10, name="Strip", kind="strip", standard_hours="2.00", needs_go_ahead=False
    )
    measure = PlanStage.objects.create(
        plan=plan, position=20, name="Measure", kind="measure", standard_hours="1.50", needs_go_ahead=False
    )
    fit = PlanStage.objects.create(plan=plan, position=30, name="Fit rings", kind="fit", standard_hours="3.00")
    measure.after.add(strip)
    fit.after.add(measure)
    PlanGate.objects.create(stage=fit, text="Ports covered", when="start")
    PlanGate.objects.create(stage=fit, text="New circlips fitted", when="finish")
    return plan


def a_card(by: Person | None = None, **values: Any) -> JobCard:
    values.setdefault("machine_id", a_machine().pk)
    values.setdefault("complaint", "Smokes white when cold.")
    return actions.open_card(by=by or person("pim", "Pim Castell", "office"), **values)


def a_stage(card: JobCard, name: str = "Strip", **values: Any) -> Stage:
    """A stage that can start at once unless the values say otherwise."""
    values = {"kind": "strip", "standard_hours": Decimal("2.00"), "needs_go_ahead": False} | values
    return actions.add_stage(card.pk, by=card.opened_by, name=name, **values)
