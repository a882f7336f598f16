"""The prices of a draft against those of today. A price that the catalogue, a price rule, a labour rate or a charge gave is
that of the day it was put on; what was typed has nothing it could be measured by."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from shop.ui.formats import money

from . import pricing
from .gathering import Prices
from .models import Estimate, EstimateLine

MOST_NAMED = 10
OF_PARTS, OF_HOURS, OF_CHARGES = ("catalogue", "rule"), ("rate",), ("charge",)


@dataclass(frozen=True)
class Change:
    """A line whose price is another today. `new` None: there is none any more. `carried`: the customer has the old price
    already, in the revision before."""

    line: EstimateLine
    old: Decimal
    new: Decimal | None
    basis: dict[str, Any]  # where the new price comes from
    carried: bool = False

    @property
    def line_id(self) -> int:
        return self.line.pk

    @property
    def text(self) -> str:
        return self.line.text

    @property
    def old_price(self) -> Decimal:
        return self.old

    @property
    def new_price(self) -> Decimal | None:
        return self.new

    @property
    def is_gone(self) -> bool:
        """A charge that the catalogue doesn't have any more goes as a whole."""
        return self.new is None and self.line.basis.get("price") in OF_CHARGES


@dataclass(frozen=True)
class Changes:
    items: list[Change]


def of_draft(estimate_id: int) -> Changes | None:
    """What `changes` says of an estimate; None when there is none."""
    row = Estimate.objects.select_related("card__customer").filter(pk=estimate_id).first()
    if row is None:
        return None
    return Changes(changes(row, list(row.lines.select_related("stage", "part")), prices_for(row)))


def prices_for(estimate: Estimate) -> Prices:
    """Those of today for its customer."""
    return Prices(customer_class=estimate.card.customer.customer_class)


def changes(estimate: Estimate, lines: Sequence[EstimateLine], prices: Prices) -> list[Change]:
    """Lines of a draft whose price isn't today's, in their order, in the same number of queries however many there are.
    `lines` with stage and part, `prices` for the customer's class. None for what is issued."""
    if estimate.issued_at:
        return []
    asked = [x for x in lines if x.basis.get("price") in (*OF_PARTS, *OF_HOURS, *OF_CHARGES)]
    prices.learn({x.part_id: x.part for x in asked if x.part is not None}.values())
    found = [x for x in (_change(line, prices) for line in asked) if x is not None]
    before = _before(estimate, found)
    return [Change(x.line, x.old, x.new, x.basis, before.get(x.line.replaces_id or 0) == x.old) for x in found]


def _change(line: EstimateLine, prices: Prices) -> Change | None:
    new, basis = _today(line, prices)
    return None if new == line.unit_price else Change(line, line.unit_price, new, basis)


def _today(line: EstimateLine, prices: Prices) -> tuple[Decimal | None, dict[str, Any]]:
    """The price of today and where it comes from."""
    source, part = line.basis["price"], line.part
    if source in OF_HOURS:
        rate = prices.rate(line.stage.kind, line.stage.done_by) if line.stage else prices.rate("", "")
        return rate.per_hour, line.basis | pricing.rated(rate) | ({} if line.stage else {"rate_kind": "work"})
    if part is None:
        return line.unit_price, line.basis
    if source in OF_PARTS:
        price = prices.sale(part)
        kept = {k: v for k, v in line.basis.items() if k not in ("rule", "price_on")}
        rule = price.rule.name if price.rule else ""
        return price.amount, kept | pricing.sold(price.amount, rule, prices.day)
    charge = next((x for x in prices.beside(part) if x.pk == line.basis.get("charge_id")), None)
    return (None, line.basis) if charge is None else (charge.amount, line.basis | pricing.as_of(prices.day))


def _before(estimate: Estimate, found: Iterable[Change]) -> dict[int, Decimal]:
    """Prices in the revision before, of the lines that these replace."""
    named = [x.line.replaces_id for x in found if x.line.replaces_id]
    if not named or estimate.revision == 1:
        return {}
    rows = EstimateLine.objects.filter(estimate__number=estimate.number, estimate__card=estimate.card_id)
    return dict(rows.filter(estimate__revision__lt=estimate.revision).values_list("pk", "unit_price"))


def said(found: Sequence[Change], currency: str) -> str:
    """The lines with both prices, in words: "line 3 “RNG-078 Ring set”, €86.40, today €99.00; ..."."""
    named = [
        f"line {x.line.position} “{x.text}”, {money(x.old, currency)}, "
        + (f"today {money(x.new, currency)}" if x.new is not None else "today none")
        for x in found[:MOST_NAMED]
    ]
    more = len(found) - MOST_NAMED
    return "; ".join(named) + (f"; and {more} more" if more > 0 else "")
