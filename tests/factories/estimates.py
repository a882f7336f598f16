"""A priced job at Saltmarsh: a card with stages and needs, rates and a profile, an estimate in any state."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from inventory.parts.models import Part
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.draws import actions as draws
from jobs.estimates import actions
from jobs.estimates.models import Estimate
from jobs.machines.models import Customer
from shop.business import actions as business_actions
from shop.business import queries as business
from shop.kernel import clock
from shop.people.models import Person

from . import business as rates
from . import machines, parts

PROFILE: dict[str, Any] = {
    "name": "Saltmarsh Engine Works",
    "street": "Old Slipway 3",
    "postcode": "4X71",
    "city": "Saltmarsh Quay",
    "country": "IE",
    "phone": "+353 00 555 0142",
    "email": "office@saltmarsh.example",
    "vat_no": "IE1234567FA",
    "iban": "IE64IRCE92050112345678",
    "bic": "IRCEIE2DXXX",
    "payment_days": 30,
    "sundries_percent": Decimal("2.5"),
    "is_sample": True,
}


def shop(by: Person) -> None:
    """Profile, site, tax and labour rates, made once."""
    rates.tax_rates(by)
    rates.labour_rates(by)
    rates.site()
    if business.profile().version == 0:
        business_actions.edit_profile(None, by=by, **PROFILE)


def customer(**more: Any) -> Customer:
    values = {"street": "Mill Lane 7", "postcode": "4X80", "city": "Lower Saltmarsh", "country": "IE"} | more
    return machines.customer(values.pop("name", "Ebbing Oyster Fishery"), despite_duplicates=True, **values)


def card(by: Person, owner: Customer | None = None) -> JobCard:
    """A Brindlecote B2 that smokes, with no stage yet."""
    shop(by)
    machine = machines.machine(
        owner or customer(),
        kind="marine diesel",
        maker="Brindlecote",
        model="B2",
        serial_no="B2-40417",
        despite_duplicates=True,
    )
    return cards.open_card(by=by, machine_id=machine.pk, complaint="Smokes blue when warm and uses oil.")


def stage(by: Person, on: JobCard, name: str = "Fit rings and pistons", **more: Any) -> Stage:
    values = {"kind": "assemble", "standard_hours": Decimal("3.5")} | more
    return cards.add_stage(by=by, card_id=on.pk, name=name, **values)


def part(by: Person, number: str = "RNG-078", name: str = "Ring set, B2", price: str = "86.40", **more: Any) -> Part:
    return parts.part(by, number, name, kind=more.pop("kind", "component"), sale_price=Decimal(price), **more)


def need(by: Person, on: Stage, of: Part, quantity: str = "2") -> None:
    draws.add_need(by=by, stage_id=on.pk, part_id=of.pk, quantity=Decimal(quantity))


def job(by: Person, owner: Customer | None = None) -> tuple[JobCard, Stage, Stage, Part]:
    """A card with a stage that needs two ring sets and a stage that needs nothing."""
    found = card(by, owner)
    fit = stage(by, found)
    test = stage(by, found, "Run on the brake", kind="test", standard_hours=Decimal("1.25"))
    rings = part(by)
    need(by, fit, rings)
    return found, fit, test, rings


def draft(by: Person, on: JobCard | None = None, **more: Any) -> Estimate:
    return actions.draft_estimate(by=by, card_id=(on or job(by)[0]).pk, **more)


def issued(by: Person, on: JobCard | None = None, **more: Any) -> Estimate:
    found = draft(by, on, **more)
    return actions.issue_estimate(found.pk, None, by=by)


def agreed(
    by: Person, on: JobCard | None = None, but: tuple[int, ...] = (), said_at: datetime | None = None
) -> Estimate:
    """An issued estimate to which the customer said yes on the phone, but for the lines at these positions."""
    found = issued(by, on)
    answers = {line.pk: line.position not in but for line in found.lines.all()}
    say(by, found, answers, said_at=said_at)
    return found


def say(by: Person, to: Estimate, answers: dict[int, bool], **more: Any) -> None:
    more = {"how": "phone", "said_by": "Niamh Tolan"} | more
    more["said_at"] = more.get("said_at") or clock.now()
    actions.record_go_ahead(to.pk, by=by, answers=answers, **more)


def card_with_work(by: Person, n: int) -> JobCard:
    """A card with one stage, of the n-th customer."""
    found = card(by, customer(name=f"Customer {n}"))
    stage(by, found)
    return found
