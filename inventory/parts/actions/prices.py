"""Price rules. One at a time: they must not cross."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from shop.business.actions import take_turn
from shop.kernel import clock
from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput, field_error
from shop.kernel.findings import Findings
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .. import pricing
from ..models import PartKind, PriceRule

FIELDS = frozenset(
    {"name", "kind", "customer_class", "cost_from", "cost_below", "markup_percent", "step", "valid_from", "valid_to"}
)
MOST_MARKUP = Decimal(10_000)
MOST_COST = Decimal(10) ** 8


@writes
def add_price_rule(*, by: Person, name: str, markup_percent: Decimal, **values: Any) -> PriceRule:
    """Add a rule: markup in percent on a band of cost, for one kind of part or class of customer, or for all.

    Further: kind, customer_class, cost_from (0), cost_below (no end), step (0.01), valid_from (today), valid_to. Raises
    BadInput, also when another rule for the same kind and class holds for some of the same costs and days, naming it.
    """
    take_turn()
    given = {"name": name, "markup_percent": markup_percent, "valid_from": clock.today()}
    given |= {k: v for k, v in values.items() if v is not None}
    row = PriceRule(**_checked(given))
    _settled(row)
    row.save(force_insert=True)
    record(by, "price-rule.added", row, name=row.name, markup=plain(row.markup_percent))
    return row


@writes
def edit_price_rule(pk: int, expect: int | None, *, by: Person, **values: Any) -> PriceRule:
    """Change a rule at version `expect`; what was priced by it keeps its price. Raises NotFound, Stale, BadInput."""
    take_turn()
    row = claim(PriceRule, pk, expect, archived_at__isnull=True)
    values = _checked(values)
    before = {name: getattr(row, name) for name in values}
    for name, value in values.items():
        setattr(row, name, value)
    _settled(row)
    save_next(row, **values)
    told = {k: [str(a), str(b)] for k, (a, b) in changes(before, values).items()}
    record(by, "price-rule.changed", row, changed=told)
    return row


@writes
def archive_price_rule(pk: int, expect: int | None, *, by: Person) -> PriceRule:
    """The rule prices nothing any more. Raises NotFound, Stale."""
    row = claim(PriceRule, pk, expect, archived_at__isnull=True)
    save_next(row, archived_at=clock.now())
    record(by, "price-rule.archived", row, name=row.name)
    return row


def _checked(values: dict[str, Any]) -> dict[str, Any]:
    if unknown := set(values) - FIELDS:
        raise TypeError(f"a price rule has no {sorted(unknown)}")
    clean, found = dict(values), Findings()
    found.lines(clean, {"name": 80, "customer_class": 40}, "name")
    if clean.get("kind"):
        found.choice(clean, "kind", PartKind.values)
    found.amount(clean, "markup_percent", MOST_MARKUP, 3, "Give a percentage from 0 to 10,000 with at most 3 decimals.")
    otherwise = "Give a cost from 0 to 100,000,000 with at most 6 decimals."
    found.amount(clean, "cost_from", MOST_COST, 6, otherwise)
    found.amount(clean, "cost_below", MOST_COST, 6, otherwise)
    if "step" in clean and clean["step"] not in pricing.STEPS:
        found.add("step", "Choose one of: " + ", ".join(map(str, pricing.STEPS)) + ".")
    for name in ("markup_percent", "cost_from", "step", "valid_from"):
        if name in clean and clean[name] is None:
            found.add(name, "Fill this in.")
    found.raise_any()
    return clean


def _settled(row: PriceRule) -> None:
    """Raises BadInput when the rule can't stand, by itself or beside the others."""
    if row.cost_below is not None and row.cost_below <= row.cost_from:
        raise field_error("cost_below", "The end of the band must lie above its beginning.", code="bad-band")
    if row.valid_to is not None and row.valid_to < row.valid_from:
        raise field_error("valid_to", "The last day lies before the first.", code="bad-days")
    rule = row.rule
    for other in PriceRule.objects.filter(archived_at__isnull=True).exclude(pk=row.pk):
        if rule.crosses(other.rule):
            raise _crossing(other)


def _crossing(other: PriceRule) -> BadInput:
    days = _span(other.valid_from, other.valid_to)
    return field_error(
        "cost_from",
        f"The rule “{other.name}” is for the same kind and class, and holds for some of these costs ({other.band}) {days}. Let "
        "one end where the other begins.",
        code="rules-cross",
    )


def _span(first: date, last: date | None) -> str:
    return f"from {first.isoformat()}" + (f" to {last.isoformat()}" if last else " on")
