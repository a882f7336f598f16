"""Work that Saltmarsh sends out: a stage at an outside firm, agreed at 285.00 with 228.00 expected as its cost."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from inventory.buying.models import Supplier
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.estimates import actions as estimates
from jobs.sublet import actions
from jobs.sublet.models import SubletBill
from shop.kernel import clock
from shop.people.models import Person

from . import buying
from . import estimates as quote

FIRM = "Samphire Bore & Balance"


def firm(by: Person, name: str = FIRM) -> Supplier:
    return Supplier.objects.filter(name=name).first() or buying.supplier(by, name)


def stage(by: Person, on: JobCard | None = None, name: str = "Rebore both cylinders") -> Stage:
    return quote.stage(by, on or quote.card(by), name, kind="sublet", standard_hours=Decimal(0))


def agreed(by: Person, on: JobCard | None = None, *, stages: int = 1) -> Stage:
    """The (first) stage, agreed to by the customer; a second one asks for twice as much."""
    card = on or quote.card(by)
    made = [stage(by, card, f"Rebore {n}") for n in range(1, stages + 1)]
    draft = quote.draft(by, card)
    for n, one in enumerate(made, start=1):
        line = draft.lines.get(kind="sublet", stage=one)
        estimates.edit_line(line.pk, None, by=by, unit_price=Decimal(285 * n), cost=Decimal(228 * n))
    issued = estimates.issue_estimate(draft.pk, None, by=by)
    quote.say(by, issued, {line.pk: True for line in issued.lines.all()})
    return Stage.objects.get(pk=made[0].pk)


def done(by: Person, on: JobCard | None = None, **more: Any) -> Stage:
    """Agreed, sent out and back, the card finished."""
    found = agreed(by, on, **more)
    for one in found.card.stages.all():
        cards.start_stage(one.pk, by=by)
        cards.finish_stage(one.pk, by=by)
    cards.finish_card(found.card_id, by=by)
    return Stage.objects.get(pk=found.pk)


def bill(by: Person, of: Stage, net: str = "240.00", tax: str = "55.20", **more: Any) -> SubletBill:
    values: dict[str, Any] = {"number": "26-118", "dated_on": clock.today()} | more
    supplier = values.pop("supplier_id", None) or firm(by).pk
    return actions.record_bill(
        by=by, stage_id=of.pk, supplier_id=supplier, net=Decimal(net), tax=Decimal(tax), **values
    )
