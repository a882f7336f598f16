"""A part that has a core deposit and an environmental charge, and jobs with it."""

from __future__ import annotations

from decimal import Decimal

from inventory.parts import actions as parts
from inventory.parts.models import Part
from jobs.cards.models import JobCard, Stage
from shop.people.models import Person

from . import estimates as quote
from . import invoices as make


def nozzle(by: Person, *, core: str = "12.50", levy: str = "0.40", price: str = "88") -> Part:
    """An injector nozzle with its charges."""
    found = quote.part(by, "INJ-521", "Injector nozzle, B2", price)
    if core:
        parts.add_charge(found.pk, by=by, kind="core", text="Deposit on the old nozzle", amount=Decimal(core))
    if levy:
        parts.add_charge(found.pk, by=by, kind="environmental", text="Disposal", amount=Decimal(levy))
    return found


def job(by: Person, quantity: str = "2") -> tuple[JobCard, Stage, Part]:
    """A card with a stage of an hour that needs so many nozzles."""
    card = quote.card(by)
    fit = quote.stage(by, card, "Renew nozzles", standard_hours=Decimal(1))
    part = nozzle(by)
    quote.need(by, fit, part, quantity)
    return card, fit, part


def done(by: Person, quantity: str = "2") -> tuple[JobCard, Stage, Part]:
    """The same, agreed and done; its stage isn't finished."""
    card, fit, part = job(by, quantity)
    quote.agreed(by, card)
    make.work(by, fit, "1")
    make.use(by, fit, part, quantity)
    return JobCard.objects.get(pk=card.pk), fit, part
