"""Prices of lines and of whole documents, from plain values. No table, no clock.

Amounts are net of tax, in the document's currency. The sums are those of `shop.kernel.totals`; here is only what a
rebuild shop's line means: hours at a rate, parts at their sale price, work sent out, sundries.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Protocol

from shop.kernel.decimals import plain
from shop.kernel.rounding import EXACT, round_money, round_to
from shop.kernel.totals import Adjustment, Line, Totals, Vat, compute, line_net, percent_of

HOUR, LUMP, PIECE, DAY = "HUR", "LS", "C62", "DAY"
LABOUR, PART, SUBLET, SUNDRY = "labour", "part", "sublet", "sundry"
CORE = "core"  # a deposit on the old part, paid back when that is handed in
UNITS = {LABOUR: HOUR, PART: PIECE, CORE: PIECE, "storage": DAY}
FIXED, AS_DONE = "fixed", "as-done"
ZERO, ONE, HUNDRED = Decimal(0), Decimal(1), Decimal(100)
HOUR_DECIMALS = 2  # billed hours
PRICE_DECIMALS = 6
COST_DECIMALS = 4


def unit_of(kind: str) -> str:
    """The unit of a line of this kind when none is given (UN/ECE Recommendation 20)."""
    return UNITS.get(kind, LUMP)


class Priced(Protocol):
    """What a sum needs to know of a line."""

    @property
    def kind(self) -> str: ...
    @property
    def quantity(self) -> Decimal: ...
    @property
    def unit_price(self) -> Decimal: ...
    @property
    def discount_percent(self) -> Decimal: ...
    @property
    def tax_category(self) -> str: ...
    @property
    def tax_percent(self) -> Decimal: ...


@dataclass(frozen=True, slots=True)
class Tax:
    """A tax rate as the business holds it: its code, VAT category (UNTDID 5305), percent."""

    code: str
    category: str
    percent: Decimal


@dataclass(frozen=True, slots=True)
class Rate:
    """What an hour of this kind by this class is sold at on a day. No price: none is set."""

    per_hour: Decimal | None
    stage_kind: str
    labour_class: str
    on: date
    minimum: Decimal = ZERO  # hours billed at least of a stage that is worked on at all


@dataclass(frozen=True, slots=True)
class StageWork:
    """A stage to be priced. `hours` are its standard hours, or the hours booked when it is `done` already."""

    id: int
    position: int
    name: str
    kind: str
    hours: Decimal
    rate: Rate
    done: bool = False
    cost_per_hour: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Charge:
    """What is charged beside one unit of a part; `id` of the catalogue's charge."""

    id: int
    kind: str
    text: str
    amount: Decimal
    tax: Tax


@dataclass(frozen=True, slots=True)
class PartWanted:
    """A part to be priced. `price`: per unit, None when the catalogue has none; `cost`: expected, for the quantity."""

    id: int
    stage_id: int | None
    number: str
    name: str
    unit: str
    quantity: Decimal
    price: Decimal | None
    tax: Tax
    cost: Decimal | None = None
    rule: str = ""  # name of the price rule that gave the price; "": the catalogue itself
    charges: tuple[Charge, ...] = ()
    on: date | None = None  # the day whose prices these are


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One priced line, ready to be kept. `basis` says where quantity and price come from; see `explaining`."""

    kind: str
    text: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    tax_code: str
    tax_category: str
    tax_percent: Decimal
    detail: str = ""
    discount_percent: Decimal = ZERO
    discount_reason: str = ""
    pricing: str = AS_DONE
    stage_id: int | None = None
    part_id: int | None = None
    cost: Decimal | None = None
    basis: dict[str, Any] = field(default_factory=dict)
    accompanies: Item | None = None  # the part's line that a charge goes with

    def values(self) -> dict[str, Any]:
        """What a row of a document takes over as it is."""
        return {name: getattr(self, name) for name in self.__slots__ if name != "accompanies"}


def rated(rate: Rate) -> dict[str, Any]:
    """Where the price of an hour comes from."""
    return {
        "price": "missing" if rate.per_hour is None else "rate",
        "rate_kind": rate.stage_kind,
        "rate_class": rate.labour_class,
        "rate_on": rate.on.isoformat(),
    }


def labour(work: StageWork, tax: Tax, *, pricing: str = AS_DONE) -> Item:
    """Hours of a stage at the rate of its kind, at least as many as that has for a minimum. Without a rate the price is 0 and
    the basis says "missing"."""
    rate = work.rate
    basis: dict[str, Any] = {
        "quantity": "booked" if work.done else "standard",
        "stage": work.position,
        **rated(rate),
    }
    hours = round_to(work.hours, HOUR_DECIMALS)
    if hours < rate.minimum:
        basis |= {"minimum": plain(rate.minimum), "hours": plain(hours)}
        basis["quantity"] = "minimum-booked" if work.done else "minimum"
        hours = rate.minimum
    return Item(
        kind=LABOUR, text=work.name, quantity=hours, unit=HOUR, unit_price=rate.per_hour or ZERO,
        tax_code=tax.code, tax_category=tax.category, tax_percent=tax.percent, pricing=pricing, stage_id=work.id,
        cost=expected_cost(hours, work.cost_per_hour), basis=basis,
    )  # fmt: skip


def sent_out(work: StageWork, tax: Tax, *, pricing: str = AS_DONE) -> Item:
    """Sublet work of a stage: one lump whose price has to be asked for first."""
    return Item(
        kind=SUBLET, text=work.name, quantity=ONE, unit=LUMP, unit_price=ZERO,
        tax_code=tax.code, tax_category=tax.category, tax_percent=tax.percent, pricing=pricing, stage_id=work.id,
        basis={"quantity": "lump", "stage": work.position, "price": "missing"},
    )  # fmt: skip


def part(wanted: PartWanted, *, pricing: str = AS_DONE) -> Item:
    """A part at its sale price. Without one the price is 0 and the basis says "missing"."""
    basis = {"quantity": "need", "part_number": wanted.number} | sold(wanted.price, wanted.rule, wanted.on)
    return Item(
        kind=PART, text=f"{wanted.number} {wanted.name}"[:240], quantity=wanted.quantity, unit=wanted.unit,
        unit_price=wanted.price or ZERO, tax_code=wanted.tax.code, tax_category=wanted.tax.category,
        tax_percent=wanted.tax.percent, pricing=pricing, stage_id=wanted.stage_id, part_id=wanted.id, cost=wanted.cost,
        basis=basis,
    )  # fmt: skip


def sold(price: Decimal | None, rule: str, on: date | None) -> dict[str, str]:
    """Where the price of a part comes from: the catalogue, or its price rule of that name, as of a day."""
    if price is None:
        return {"price": "missing"}
    return ({"price": "rule", "rule": rule} if rule else {"price": "catalogue"}) | as_of(on)


def as_of(on: date | None) -> dict[str, str]:
    return {"price_on": on.isoformat()} if on else {}


def charges(wanted: PartWanted, of: Item) -> list[Item]:
    """What goes with the line `of` a part: the charges of the catalogue, in the quantity of the part."""
    return [
        Item(
            kind=x.kind, text=x.text, detail=of.text, quantity=of.quantity, unit=of.unit, unit_price=x.amount,
            tax_code=x.tax.code, tax_category=x.tax.category, tax_percent=x.tax.percent, pricing=of.pricing,
            stage_id=of.stage_id, part_id=of.part_id, accompanies=of,
            basis={"quantity": "with-part", "price": "charge", "part": wanted.number, "charge_id": x.id} | as_of(wanted.on),
        )
        for x in wanted.charges
    ]  # fmt: skip


def sundries(percent: Decimal, base: Decimal, tax: Tax, currency: str, *, text: str, pricing: str = AS_DONE) -> Item:
    """Small materials as `percent` of `base`, which is labour and parts after their discounts."""
    return Item(
        kind=SUNDRY, text=text, quantity=ONE, unit=LUMP, unit_price=percent_of(base, percent, currency),
        tax_code=tax.code, tax_category=tax.category, tax_percent=tax.percent, pricing=pricing,
        basis={"quantity": "lump", "price": "percent", "percent": str(percent), "base": str(base)},
    )  # fmt: skip


def with_markup(cost: Decimal, percent: Decimal) -> Decimal:
    """A sale price from what it costs us and the markup in percent, at 6 decimals."""
    return round_to(EXACT.divide(EXACT.multiply(cost, HUNDRED + percent), HUNDRED), PRICE_DECIMALS)


def for_quantity(cost: Decimal, was: Decimal, now: Decimal) -> Decimal:
    """What a line costs us when its quantity changes: its cost is of the whole line."""
    return round_to(EXACT.divide(EXACT.multiply(cost, now), was), COST_DECIMALS) if was != now else cost


def expected_cost(quantity: Decimal, of_one: Decimal | None) -> Decimal | None:
    """What a line is expected to cost us; None when what one costs isn't known."""
    return None if of_one is None else round_to(EXACT.multiply(quantity, of_one), COST_DECIMALS)


def before_discount(line: Priced, currency: str) -> Decimal:
    """Quantity x price, at the minor unit, for showing."""
    return round_money(EXACT.multiply(line.quantity, line.unit_price), currency)


def discount(line: Priced, currency: str) -> Decimal:
    """The line's discount as an amount (BT-136), at the minor unit."""
    if not line.discount_percent:
        return ZERO
    return percent_of(EXACT.multiply(line.quantity, line.unit_price), line.discount_percent, currency)


def summand(line: Priced, currency: str) -> Line:
    """The line as the totals take it."""
    vat = Vat(line.tax_category, line.tax_percent)
    if line.discount_percent == HUNDRED:
        # given away is nothing to pay, also where quantity x price lies exactly between two minor units
        whole = before_discount(line, currency)
        return Line(ONE, whole, vat, allowances=whole)
    return Line(line.quantity, line.unit_price, vat, allowances=discount(line, currency))


def net(line: Priced, currency: str) -> Decimal:
    """What the line comes to: quantity x price - discount, rounded once (BT-131)."""
    return line_net(summand(line, currency), currency)


def total(
    lines: Iterable[Priced],
    currency: str,
    discount_percent: Decimal = ZERO,
    allowances: Mapping[Vat, Decimal] | None = None,
) -> Totals:
    """Totals of a document. Its discount is taken off each tax rate in proportion (BG-20), core deposits apart, which are
    paid back whole; unless `allowances` gives it by rate. Optional lines don't count.

    Raises BadInput, naming the line by its place among those counted.
    """
    counted = [line for line in lines if is_counted(line)]
    summands = [summand(line, currency) for line in counted]
    adjustments = []
    if allowances is not None:
        adjustments = [Adjustment(amount, vat) for vat, amount in allowances.items() if amount]
    elif discount_percent:
        off = discounts(counted, discount_percent, currency)
        adjustments = [Adjustment(amount, vat) for vat, amount in off.items()]
    return compute(summands, currency, adjustments=adjustments)


def discounts(lines: Iterable[Priced], percent: Decimal, currency: str) -> dict[Vat, Decimal]:
    """A discount on the whole of these lines by VAT rate, each rounded once. None of it is of core deposits."""
    sums: dict[Vat, Decimal] = {}
    for line in lines:
        if takes_discount(line):
            one = summand(line, currency)
            sums[one.vat] = sums.get(one.vat, ZERO) + line_net(one, currency)
    return {vat: percent_of(amount, percent, currency) for vat, amount in sums.items()}


def takes_discount(line: Any) -> bool:
    """Whether a discount on the whole document is taken off this line, too: a core deposit is paid back whole."""
    return bool(line.kind != CORE)


def is_counted(line: Any) -> bool:
    """Whether the line is part of the document's total."""
    return not getattr(line, "optional", False)


def sundries_base(lines: Iterable[Priced], currency: str) -> Decimal:
    """What a percentage for sundries is taken of: labour and parts, optional ones not."""
    return sum((net(x, currency) for x in lines if x.kind in (LABOUR, PART) and is_counted(x)), ZERO)


def has_no_hours(kind: str, how: str, stage: int | None) -> bool:
    """Labour that would be billed by what is booked on a stage, and names none: it never would be."""
    return kind == LABOUR and how == AS_DONE and stage is None


def share_out(quantity: Decimal, wanted: Sequence[Decimal]) -> list[Decimal]:
    """What was done, given to the lines that estimated it: each up to what it said, what is over to the last."""
    given = []
    for place, limit in enumerate(wanted):
        last = place == len(wanted) - 1
        take = quantity if last else min(quantity, limit)
        given.append(take)
        quantity -= take
    return given
