"""What is typed into a line of a draft: checked, and filled up with what the catalogue, the rates and the stage say."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from inventory.parts.costs import last_costs
from jobs.cards.models import Stage
from shop.kernel.decimals import plain
from shop.kernel.errors import field_error
from shop.kernel.rights import require
from shop.kernel.rounding import round_to
from shop.people.models import Person

from .. import charging, entries, gathering, pricing, queries
from ..gathering import Prices
from ..models import Estimate, EstimateLine, LineKind
from ..pricing import StageWork

NEW_LINE = frozenset({"stage_id", "part_id", "pricing", "optional", "markup"})
MOST_COST = Decimal(10) ** 11
OF_STAGE = frozenset({"standard", "booked", "minimum", "minimum-booked", "minimum-hand"})
"""Origins of a quantity that name the stage."""


@dataclass
class _Known:
    """What a new line has where nothing is typed."""

    values: dict[str, Any]
    basis: dict[str, Any]
    cost_of_one: Decimal | None = None
    work: StageWork | None = None


def take_values(line: EstimateLine, values: dict[str, Any], by: Person, prices: Prices) -> None:
    """Put what was typed onto the line; what a person sets replaces where a figure came from.

    A cost is of the whole line, so it follows the quantity unless it is given. Raises BadInput naming the field, NotAllowed (a
    discount without the right).
    """
    unknown = set(values) - entries.COMMON - NEW_LINE
    if unknown:
        raise TypeError(f"a line has no {sorted(unknown)}")
    new = line.pk is None
    given = {k: v for k, v in values.items() if not (v is None and k in ("unit_price", "quantity", "tax_code"))}
    typed = entries.FIGURES & set(given)
    stage = _stage_of(line, given)
    basis = dict(line.basis)
    known = None
    if new:
        known = _known(line, given, prices, stage)
        given = known.values | given
        basis = known.basis
    markup = given.pop("markup", None)
    given = entries.checked(given, None if new else line)
    charging.refuse_apart(line, given)
    if given.get("discount_percent", line.discount_percent) != line.discount_percent:
        require(by, "estimates.discount")
    for name in typed:
        if name == "unit_price" and markup is not None:
            continue
        free = name == "unit_price" and basis.get("price") == "missing"  # 0 may be meant
        if new or free or given[name] != getattr(line, name):
            basis |= {("price" if name == "unit_price" else "quantity"): "hand", "by": by.name}
    if known is not None:
        _fill_up(line, given, basis, known, typed)
    else:
        _follow(line, given, basis, by, prices, stage)
    if markup is not None:
        _mark_up(line, given, basis, markup)
    _check_pricing(line, given)
    if (given.get("cost") or 0) >= MOST_COST:
        raise field_error("quantity", "So many would cost more than can be right.", code="too-large")
    if "tax_code" in given or new:
        tax = prices.tax(given.get("tax_code", ""))
        given |= {"tax_code": tax.code, "tax_category": tax.category, "tax_percent": tax.percent}
    for name, value in given.items():
        setattr(line, name, value)
    line.basis = basis


def _stage_of(line: EstimateLine, given: dict[str, Any]) -> Stage | None:
    """The stage that a line is given; None where it stays or is taken away. Raises BadInput when it isn't one of the card."""
    if not given.get("stage_id") or given["stage_id"] == line.stage_id:
        return None
    rows = Stage.objects.filter(pk=given["stage_id"], card_id=line.estimate.card_id, removed_at__isnull=True)
    stage = rows.select_related("mechanic").first()
    if stage is None:
        raise field_error("stage_id", "There is no such stage on this card.", code="unknown-stage")
    return stage


def _known(line: EstimateLine, given: dict[str, Any], prices: Prices, stage: Stage | None) -> _Known:
    """What a new line takes from the catalogue, the rate table or its stage."""
    kind = given.get("kind") or LineKind.SUNDRY
    unit = pricing.unit_of(kind)
    values: dict[str, Any] = {"kind": kind, "quantity": Decimal(1), "unit": unit, "text": "", "unit_price": Decimal(0)}
    if line.estimate.kind == Estimate.Kind.QUOTATION:
        values["pricing"] = pricing.FIXED
    known = _Known(values, {"quantity": "lump" if unit == pricing.LUMP else "one", "price": "missing"})
    if given.get("part_id"):
        part = gathering.part(given["part_id"])
        item = pricing.part(prices.part(part, given.get("stage_id"), Decimal(1)))
        values |= {n: getattr(item, n) for n in ("kind", "text", "unit", "unit_price", "tax_code")}
        known.basis |= item.basis | {"quantity": "one"}
        known.cost_of_one = last_costs({part.pk}).get(part.pk)
    elif kind == LineKind.LABOUR and given.get("unit", unit) == pricing.HOUR:
        _know_labour(known, prices, stage)
    return known


def _know_labour(known: _Known, prices: Prices, stage: Stage | None) -> None:
    """An hour of the stage, as it would be drafted; without one the shop's usual hour."""
    if stage is None:
        known.cost_of_one = prices.usual_hour_cost
        rate = prices.rate("", "")
        known.basis |= pricing.rated(rate) | {"rate_kind": "work"}
    else:
        known.work = work = gathering.work_of(stage, prices)
        known.cost_of_one = work.cost_per_hour
        rate = work.rate
        known.values["text"] = stage.name
        hours = round_to(work.hours, pricing.HOUR_DECIMALS)
        if hours > 0:
            known.values["quantity"] = hours
            known.basis["quantity"] = "booked" if work.done else "standard"
        known.basis |= pricing.rated(rate) | {"stage": stage.position}
    known.values["unit_price"] = rate.per_hour or Decimal(0)


def _fill_up(
    line: EstimateLine, given: dict[str, Any], basis: dict[str, Any], known: _Known, typed: frozenset[str]
) -> None:
    """The minimum of a stage's rate, which the customer is told, once for all lines of the stage; and what the line is expected to
    cost us."""
    work = known.work
    least = Decimal(0)
    if work is not None and given["quantity"] < work.rate.minimum:
        least = work.rate.minimum - queries.other_hours(line, work.id)
    if work is not None and given["quantity"] < least:
        basis |= {"minimum": plain(least), "hours": plain(given["quantity"])}
        basis["quantity"] = "minimum-hand" if "quantity" in typed else "minimum-booked" if work.done else "minimum"
        given["quantity"] = least
        told = gathering.told_minimum(basis["minimum"], line.estimate.language, line.estimate.currency)
        given["detail"] = "\n".join(x for x in (given.get("detail"), told) if x)
    if "cost" not in given:
        given["cost"] = pricing.expected_cost(given["quantity"], known.cost_of_one)


def _follow(
    line: EstimateLine, given: dict[str, Any], basis: dict[str, Any], by: Person, prices: Prices, stage: Stage | None
) -> None:
    """What follows from a change: the cost goes with the quantity, the price of an hour with the stage."""
    quantity = given.get("quantity", line.quantity)
    if quantity != line.quantity > 0 and "cost" not in given and line.cost is not None:
        given["cost"] = pricing.for_quantity(line.cost, line.quantity, quantity)
        if basis.get("price") == "markup" and "cost" in basis:
            cost = pricing.for_quantity(Decimal(basis["cost"]), Decimal(basis.get("of", line.quantity)), quantity)
            basis |= {"cost": plain(cost), "of": plain(quantity)}
    if "stage_id" not in given or given["stage_id"] == line.stage_id or given.get("kind", line.kind) != LineKind.LABOUR:
        return
    if basis.get("quantity") in OF_STAGE:
        basis |= {"quantity": "hand", "by": by.name}
    basis.pop("stage", None)
    if stage is not None:
        basis["stage"] = stage.position
    kept = given.get("unit_price", line.unit_price) == line.unit_price
    if stage is not None and kept and basis.get("price") in ("rate", "missing"):
        rate = prices.rate(stage.kind, stage.done_by)
        basis |= pricing.rated(rate)
        given["unit_price"] = rate.per_hour or Decimal(0)


def _mark_up(line: EstimateLine, given: dict[str, Any], basis: dict[str, Any], markup: Decimal) -> None:
    """The price of one from the cost of all and the percent on it."""
    cost = given.get("cost", line.cost)
    if cost is None:
        raise field_error("cost", "Give the cost that the markup goes on.", code="cost-missing")
    percent = entries.price(markup, "markup")
    quantity = given.get("quantity", line.quantity)
    given["unit_price"] = pricing.with_markup(cost / quantity, percent)
    basis |= {"price": "markup", "cost": plain(cost), "of": plain(quantity), "markup": plain(percent)}


def _check_pricing(line: EstimateLine, given: dict[str, Any]) -> None:
    how = given.get("pricing", line.pricing)
    if how not in EstimateLine.Pricing.values:
        raise field_error("pricing", "Choose fixed or as-done.", code="unknown-pricing")
    if line.estimate.kind == Estimate.Kind.QUOTATION and how != pricing.FIXED:
        raise field_error(
            "pricing", "A firm quotation binds its price: write an estimate for what is billed by what was done.",
            code="firm-quotation",
        )  # fmt: skip
    if pricing.has_no_hours(given.get("kind", line.kind), how, given.get("stage_id", line.stage_id)):
        raise field_error(
            "stage_id",
            "Hours are billed by what is booked on a stage. Choose the stage, or bill this line at an agreed price.",
            code="stage-missing",
        )
