"""Where parts come from and what is on its way, as far as buying knows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from inventory.buying import actions
from inventory.buying import queries as buying
from inventory.buying.leadtime import LeadTime
from inventory.buying.models import Offer
from shop.business import queries as business
from shop.people.models import Person

from .models import Proposal
from .quantity import Break


@dataclass(frozen=True, slots=True)
class Coming:
    """Some of a part that is on its way to a site; None: nobody said when."""

    part_id: int
    site_id: int
    quantity: Decimal
    due_on: date | None
    label: str


@dataclass(frozen=True, slots=True)
class Source:
    """Who sells a part and how; quantities in the part's unit, prices for one of it. `days`: what deliveries took, or as
    promised when there were none."""

    supplier_id: int
    breaks: Sequence[Break]
    pack: Decimal
    least: Decimal
    days: Sequence[tuple[int, int]]  # lead time and its weight
    observed: bool


def coming() -> list[Coming]:
    """All that suppliers were asked for and hasn't come."""
    return [Coming(x.part_id, x.site_id, x.quantity, x.due_on, f"order {x.order}") for x in buying.coming()]


def sources() -> dict[int, Source]:
    """Of each part, the offer it is ordered by when nobody says otherwise: the preferred one, else the oldest."""
    took, home = buying.lead_times(), business.profile().currency
    return {
        part: _source(offer, took.get((offer.supplier_id, part)), home) for part, offer in buying.usual_offers().items()
    }


def _source(offer: Offer, took: LeadTime | None, home: str) -> Source:
    """Prices in another currency say nothing here: then the last cost stands."""
    promised = offer.lead_days if offer.lead_days is not None else offer.supplier.lead_days
    days = [] if promised is None else [(promised, 1)]
    if took:
        days = [(took.usual, took.deliveries), (took.longest, 1)]
    breaks = [
        Break(each.from_packages * offer.per_package if n else Decimal(0), each.price / offer.per_package)
        for n, each in enumerate(offer.prices.all())
        if offer.currency == home
    ]
    return Source(
        offer.supplier_id, breaks, offer.per_package, offer.min_packages * offer.per_package, days, observed=bool(took)
    )


def place(proposal: Proposal, quantity: Decimal, supplier_id: int | None, by: Person) -> str:
    """Put it onto the supplier's open draft order; without a supplier somebody orders it by hand. Answers in words what came
    of it; joins the caller's write. Raises what `add_to_order` raises."""
    if supplier_id is None:
        return "by hand"
    line = actions.add_to_order(
        by=by, supplier_id=supplier_id, part_id=proposal.part_id, quantity=quantity, site_id=proposal.site_id
    )
    return f"draft order to {line.order.supplier.name}"
