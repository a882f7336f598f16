"""A draft whose prices have changed since: today's are taken, or it is not issued before somebody says that the old are kept."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from shop.kernel.decimals import plain
from shop.kernel.errors import Refused
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from .. import todays
from ..models import Estimate, EstimateLine
from ..todays import Change
from .drafting import lock_draft, settle


@writes
def take_todays_prices(estimate_id: int, expect: int | None, *, by: Person) -> Estimate:
    """Give each line of a draft whose price came from the catalogue, a price rule, a labour rate or a charge the price of
    today. What was typed stays. A charge that the catalogue doesn't have any more goes; a line for which there is no price
    any more lacks one. Nothing happens when all are today's. Raises NotFound, Stale, Refused when it was issued."""
    estimate = lock_draft(estimate_id, expect)
    lines = list(estimate.lines.select_related("stage", "part"))
    prices = todays.prices_for(estimate)
    found = todays.changes(estimate, lines, prices)
    if not found:
        return estimate
    gone = {x.line_id for x in found if x.is_gone}
    for change in found:
        change.line.unit_price, change.line.basis = change.new or Decimal(0), change.basis
    settle(estimate, [x for x in lines if x.pk not in gone], prices)
    EstimateLine.objects.filter(pk__in=gone).delete()
    kept = [x.line for x in found if x.line_id not in gone]
    EstimateLine.objects.bulk_update(kept, ["unit_price", "net", "basis"], batch_size=200)
    record(by, "estimate.prices-taken", estimate, root=estimate.card, count=len(found), prices=facts(found))
    return estimate


def refuse_changed(found: Sequence[Change], currency: str) -> None:
    """Nobody is offered yesterday's price without anybody knowing. Raises Refused (code "price-changed")."""
    if found:
        raise Refused(
            f"Prices have changed since this was drafted: {todays.said(found, currency)}. Take today's prices, or say that the "
            "old ones are kept, then issue.",
            code="price-changed",
            prices=facts(found),
        )


def facts(found: Sequence[Change]) -> list[dict[str, Any]]:
    """Lines with their old price and that of today, null where there is none."""
    return [
        {
            "line_id": x.line_id,
            "text": x.text,
            "old_price": plain(x.old),
            "new_price": None if x.new is None else plain(x.new),
        }
        for x in found
    ]
