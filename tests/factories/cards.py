from __future__ import annotations

from decimal import Decimal
from typing import Any

from jobs.cards import actions
from jobs.cards.models import JobCard, Stage
from jobs.machines.models import Customer, Machine
from jobs.plans.drafts import GateDraft, StageDraft
from jobs.plans.models import WorkPlan
from shop.people.models import Person

from .machines import customer, machine
from .people import person
from .plans import plan


def a_machine(serial_no: str = "B2-40417") -> Machine:
    """Mara Quill's Brindlecote B2 with this serial number."""
    found = Machine.objects.filter(serial_no=serial_no).first()
    if found:
        return found
    owner = Customer.objects.filter(name="Mara Quill").first() or customer("Mara Quill")
    return machine(owner, kind="engine", maker="Brindlecote", model="B2", serial_no=serial_no)


def a_plan(code: str = "TOP-B2") -> WorkPlan:
    """Strip (no go-ahead needed), measure after it, fit after that with a gate at either end."""
    return plan(
        code=code,
        name=f"Top-end rebuild {code}",
        stages=(
            StageDraft("Strip", "strip", Decimal("2"), needs_go_ahead=False),
            StageDraft("Measure", "measure", Decimal("1.5"), after=(1,), needs_go_ahead=False),
            StageDraft(
                "Fit rings", "fit", Decimal("3"), after=(2,),
                gates=(GateDraft("Ports covered", "start"), GateDraft("New circlips fitted")),
            ),
        ),
    )  # fmt: skip


def a_card(by: Person | None = None, **values: Any) -> JobCard:
    values.setdefault("machine_id", a_machine().pk)
    values.setdefault("complaint", "Smokes white when cold.")
    return actions.open_card(by=by or person("pim", "Pim Castell", "office"), **values)


def a_stage(card: JobCard, name: str = "Strip", **values: Any) -> Stage:
    """A stage that can start at once unless the values say otherwise."""
    values = {"kind": "strip", "standard_hours": Decimal("2.00"), "needs_go_ahead": False} | values
    return actions.add_stage(card.pk, by=card.opened_by, name=name, **values)
