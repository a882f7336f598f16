"""What the invented shop has before its first job: shelves, parts, suppliers, plans, customers and their machines."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from inventory.buying import actions as buying
from inventory.parts import actions as parts
from inventory.parts.models import Part
from inventory.stock import actions as stock
from inventory.stock.actions.receiving import Arrival
from inventory.stock.models import Bin
from jobs.machines import actions as machines
from jobs.machines.models import Machine
from jobs.plans import actions as plans
from jobs.plans.drafts import GateDraft, PartDraft, StageDraft
from jobs.plans.models import WorkPlan
from shop.kernel import clock
from shop.people.models import Person

from . import more
from .buying import offer_all
from .catalogue import BINS, CHARGES, PARTS, SUPPLIERS, P
from .folk import CUSTOMERS
from .plans import PLANS


def lay(*, site_id: int, owner: Person, office: Person, stores: Person) -> None:
    """Everything but the stock, at the clock's present moment."""
    for code, name in BINS:
        stock.add_bin(by=stores, site_id=site_id, code=code, name=name, rack=code[0])
    stock.add_bin(by=stores, site_id=site_id, code="Q1", name="Quarantine", kind="quarantine")
    for n, (name, city, email, days) in enumerate(SUPPLIERS, 1):
        buying.add_supplier(
            by=stores, name=name, city=city, email=email, lead_days=days, street=f"{n} Example Road", country="IE",
            phone=f"+353 00 000 01{n:02}", account_no=f"SEW-{400 + n}",
        )  # fmt: skip
    for p in PARTS:
        parts.add_part(
            by=stores, number=p.number, name=p.name, kind=p.kind, unit=p.unit, single_use=p.single_use,
            sale_price=None if p.number in more.BY_RULE else Decimal(p.price), shelf_life_days=p.shelf_life, open_life_days=p.open_life,
            hazards=list(p.hazards), storage_note=p.keep,
        )  # fmt: skip
    more.lay(owner=owner, by=stores)
    offer_all(by=stores)
    _draw_up_plans(owner)
    _meet_customers(office)


def _draw_up_plans(owner: Person) -> None:
    known = dict(Part.objects.values_list("number", "pk"))
    for plan in PLANS:
        plans.add_plan(
            by=owner, code=plan.code, name=plan.name, machine_kind=plan.machine_kind, maker=plan.maker,
            model=plan.model, description="Invented for Saltmarsh Engine Works.",
            stages=[
                StageDraft(
                    name=s.name, kind=s.kind, standard_hours=Decimal(s.hours), after=s.after, cautions=s.cautions,
                    gates=tuple(GateDraft(text=text, when=when) for when, text in s.gates),
                    parts=tuple(PartDraft(part_id=known[number], quantity=Decimal(q)) for number, q in s.parts),
                )
                for s in plan.stages
            ],
        )  # fmt: skip


def _meet_customers(office: Person) -> None:
    for c in CUSTOMERS:
        customer = machines.add_customer(
            by=office, kind=c.kind, name=c.name, contact=c.contact, city=c.city, phone=c.phone, email=c.email,
            country="DE" if c.language == "de" else "IE", language=c.language, street="1 Example Quay",
            mail_consent=bool(c.email), despite_duplicates=True,
        )  # fmt: skip
        for kind, maker, model, serial, year, hours in c.machines:
            machine = machines.add_machine(
                by=office, customer_id=customer.pk, kind=kind, maker=maker, model=model, serial_no=serial, year=year,
                despite_duplicates=True,
            )  # fmt: skip
            machines.read_usage(machine.pk, by=office, value=Decimal(hours) * Decimal("0.7"), read_at=clock.now())


def charge_beside(stores: Person) -> None:
    """A deposit on an old part, and a charge for disposal."""
    for number, kind, text, amount in CHARGES:
        part = Part.objects.get(number=number)
        parts.add_charge(part.pk, by=stores, kind=kind, text=text, amount=Decimal(amount))


def fill(numbers: tuple[str, ...] | None, times: Decimal, *, by: Person, note: str) -> None:
    """Receive `times` the usual stock of the parts named (None: all) at the clock's present moment."""
    bins = dict(Bin.objects.values_list("code", "pk"))
    known = dict(Part.objects.values_list("number", "pk"))
    wanted = [p for p in PARTS if numbers is None or p.number in numbers]
    arrivals = [_arrival(p, known[p.number], bins[p.bin], times, note) for p in wanted]
    stock.receive_many(by=by, arrivals=arrivals)


def _arrival(p: P, part_id: int, bin_id: int, times: Decimal, note: str) -> Arrival:
    quantity = Decimal(p.stock) * times
    if p.unit == "C62":
        quantity = max(quantity.to_integral_value(), Decimal(1))
    day = clock.today()
    return Arrival(
        part_id=part_id, bin_id=bin_id, quantity=quantity, unit_cost=Decimal(p.cost), source=f"{p.supplier}, {note}",
        batch=f"{p.number[-3:]}-{day:%y%m}" if p.shelf_life else "",
        expires_on=day + timedelta(days=p.shelf_life) if p.shelf_life else None,
    )  # fmt: skip


def plan_for(machine: Machine, rebuilds: int) -> WorkPlan:
    """A plan that fits the machine; every fifth engine is rebuilt in full."""
    if machine.kind in ("pump",):
        code = "PUMP-OH"
    elif machine.maker == "Ostwick":
        code = "O5-TOP"
    elif machine.maker == "Brindlecote" and machine.kind == "engine":
        code = ("B2-TOP", "INJ-SVC", "B2-TOP", "INJ-SVC", "B2-FULL")[rebuilds % 5]
    else:
        code = "INJ-SVC"
    return WorkPlan.objects.get(code=code)


def opening(moment: datetime) -> datetime:
    """Eight in the morning of the next working day at or after `moment`."""
    day = moment.replace(hour=8, minute=0, second=0, microsecond=0)
    while day.isoweekday() > 5:
        day += timedelta(days=1)
    return day


def workday(moment: datetime, back: int = 0) -> datetime:
    """Eight in the morning, `back` working days before the last one that had begun by `moment`: so the story is the same on
    each day of the week."""
    day = moment.replace(hour=8, minute=0, second=0, microsecond=0)
    if moment < day:
        day -= timedelta(days=1)
    while True:
        if day.isoweekday() <= 5:
            if not back:
                return day
            back -= 1
        day -= timedelta(days=1)
