"""A part with a past: drawn month by month out of a full shelf, and what is proposed for it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal

from inventory.parts.models import Part
from inventory.reorder import actions, planning
from inventory.reorder.models import Proposal, ReorderRun
from inventory.stock import actions as stock
from inventory.stock.models import Balance
from shop.kernel import clock
from shop.people.models import Person

from . import parts as made_parts
from .stock import lot, site

PAST = (0, 2, 1, 0, 3, 1, 0, 2, 2, 0, 1, 4, 0, 1, 2, 0, 3, 1)


def part_with_a_past(
    by: Person, number: str = "GKT-041", past: Sequence[int] = PAST, left: str = "1", **values: object
) -> Part:
    """Drawn so many in each of the last months, the present one left out; `left` on the shelf today."""
    part = made_parts.part(by, number, **values)  # type: ignore[arg-type]
    this = clock.now().replace(day=15, hour=12)
    first = this - timedelta(days=31 * len(past) + 20)
    with clock.at(first.replace(day=1)):
        lot(by, part.pk, str(sum(past) + Decimal(left)), "4.20")
    for back, many in enumerate(reversed(past), 1):
        at = this
        for _ in range(back):
            at = (at.replace(day=1) - timedelta(days=1)).replace(day=15)
        if many:
            with clock.at(at):
                stock.draw(by=by, part_id=part.pk, site_id=site().pk, quantity=Decimal(many), label="sold")
    assert sum(Balance.objects.filter(part=part).values_list("on_hand", flat=True)) == Decimal(left)
    return part


def run(by: Person | None = None) -> ReorderRun:
    return actions.keep_run(planning.work_out(), by=by)


def a_proposal(by: Person, number: str = "GKT-041", **values: object) -> Proposal:
    """An open proposal of a part with a past, and nothing else in its run."""
    part = part_with_a_past(by, number, **values)  # type: ignore[arg-type]
    run(by)
    return Proposal.objects.get(part=part, ordered_at=None, put_off_at=None)
