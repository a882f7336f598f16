"""Which receipt's line a line of an electronic invoice charges, and how much of it. On plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from shop.kernel import quantity, units
from shop.kernel.errors import BadInput, field_error
from shop.kernel.rounding import EXACT, round_money, round_to

from . import packing
from .einvoice import ZERO, EInvoice, Stated

GOODS, FREIGHT, DUTY, ALLOWANCE, NOTHING = WHAT = ("goods", "freight", "duty", "allowance", "nothing")
# Recommendation 20 has several codes for a piece; Recommendation 21's packages begin with X.
PIECES = {"C62", "H87", "EA", "NAR", "NMP", "PCE", "XPP"}
RETURNED, PRICE = EFFECTS = ("returned", "price")
"""What a credit note does with goods: they are no longer charged, or are kept at a lower price."""


@dataclass(frozen=True, slots=True)
class Open:
    """A posted receipt's line, and the `quantity` of it, in the part's unit, that waits for an invoice; `price` for each `price_per`.
    `packages`: what packages of the part hold, as ordered and as offered."""

    receipt_line_id: int
    part_id: int
    quantity: Decimal
    unit: str
    price: Decimal
    price_per: Decimal
    packages: tuple[Decimal, ...] = ()


@dataclass(frozen=True, slots=True)
class Assigned:
    """What a line of the invoice (or some of it) is for: goods of a receipt's line, `quantity` in the part's unit, or no goods.
    `effect`: on a credit note what it does with them, one of `EFFECTS`; None while nobody said."""

    position: int
    what: str
    receipt_line_id: int | None = None
    quantity: Decimal | None = None
    effect: str | None = None


@dataclass(frozen=True, slots=True)
class Creditable:
    """A receipt's line that a credited invoice charges at `price` for each `price_per`; `not_kept` of it (in the part's unit) is
    charged or was, went back or never came, and is not credited."""

    not_kept: Decimal
    price: Decimal
    price_per: Decimal


class Charged(NamedTuple):
    """As `record_supplier_credit` takes it, and, without the last, `record_supplier_invoice`."""

    receipt_line_id: int
    quantity: Decimal
    price: Decimal
    corrects: bool


class Whole(NamedTuple):
    lines: list[Charged]
    freight: Decimal
    duty: Decimal
    allowance: Decimal


def propose(lines: Iterable[Stated], part_ids: Mapping[int, int], left: Sequence[Open]) -> list[Assigned]:
    """What each line seems to be for. `part_ids` by position, where a line was recognised; `left` in the order in which it is to be
    used up. A line that is below zero is something taken off, one of nothing is nothing; what isn't recognised has no proposal."""
    rest = {x.receipt_line_id: x.quantity for x in left}
    found: list[Assigned] = []
    for x in lines:
        its = [o for o in left if o.part_id == part_ids.get(x.position) and rest[o.receipt_line_id] > 0]
        if its and x.net >= 0 and x.quantity > 0:
            wanted = _amount(x, its, sum((rest[o.receipt_line_id] for o in its), ZERO))
            found += _spread(x.position, wanted, its, rest)
        elif x.net < 0:
            found.append(Assigned(x.position, ALLOWANCE))
        elif not x.net and x.position not in part_ids:
            found.append(Assigned(x.position, NOTHING))
    return found


def with_effects(invoice: EInvoice, given: Sequence[Assigned], held: Mapping[int, Creditable]) -> list[Assigned]:
    """What each line of a credit note does with the goods it is for, where nobody said: as much as went back or never came is
    no longer charged, and so is what is credited at the price at which it was charged (as when an invoice is cancelled); for
    all else a price is corrected. `held` by receipt's line."""
    rest = {key: x.not_kept for key, x in held.items()}
    at_price = {x.position for x in invoice.lines if _as_charged(x, given, held, invoice.currency)}
    found = []
    for g in given:
        key = g.receipt_line_id
        if g.what == GOODS and key is not None and key in held and g.quantity is not None:
            if g.effect is None:
                back = g.quantity <= rest[key] or g.position in at_price
                g = replace(g, effect=RETURNED if back else PRICE)
            if g.effect == RETURNED:
                rest[key] -= g.quantity or ZERO
        found.append(g)
    return found


def _as_charged(x: Stated, given: Sequence[Assigned], held: Mapping[int, Creditable], currency: str) -> bool:
    its = [g for g in given if g.position == x.position]
    if not its or any(g.what != GOODS or g.receipt_line_id not in held or g.quantity is None for g in its):
        return False
    charged = ZERO
    for g in its:
        line = held[g.receipt_line_id or 0]
        charged += EXACT.divide(EXACT.multiply(g.quantity or ZERO, line.price), line.price_per)
    return x.net > 0 and round_money(charged, currency) == x.net


def _amount(x: Stated, its: Sequence[Open], came: Decimal) -> Decimal:
    """BT-129 in the part's unit. What can be meant (its unit converted, or so many packages) is told by what came, else by the
    price that comes nearest."""
    first = its[0]
    meant = list(_meanings(x, first))
    if not meant:
        return came  # another kind of unit: a person looks at it
    if fits := [m for m in meant if m == came or any(m == o.quantity for o in its)]:
        return fits[0]
    each = first.price / first.price_per
    return min(meant, key=lambda m: abs(x.net / m - each))


def _meanings(x: Stated, o: Open) -> Iterable[Decimal]:
    code = "C62" if x.unit in PIECES else x.unit
    if code in units.UNITS:
        with suppress(BadInput):
            yield quantity.positive(units.convert(x.quantity, code, o.unit), o.unit)
    if code == "C62" or code not in units.UNITS:
        for held in o.packages:
            with suppress(BadInput):
                yield quantity.positive(EXACT.multiply(x.quantity, held), o.unit)


def _spread(position: int, wanted: Decimal, its: Sequence[Open], rest: dict[int, Decimal]) -> list[Assigned]:
    exact = next((o for o in its if rest[o.receipt_line_id] == wanted), None)
    found = []
    for o in [exact] if exact else its:
        some = min(wanted, rest[o.receipt_line_id])
        if o is its[-1] and not exact:
            some = wanted  # more than came is theirs to explain; the three-way look says so
        if some > 0:
            found.append(Assigned(position, GOODS, o.receipt_line_id, some))
            rest[o.receipt_line_id] -= some
            wanted -= some
    return found


def add_up(invoice: EInvoice, given: Sequence[Assigned], price_per: Mapping[int, Decimal]) -> Whole:
    """The whole invoice as it is recorded, every amount the one that it states: a line's net goes to what it is for, spread by
    quantity over several receipt's lines to the cent. `price_per` by receipt's line.

    Raises BadInput at "lines": a line that is for nothing, or for what its amount can't be.
    """
    quantities: dict[tuple[int, bool], Decimal] = {}
    nets: dict[tuple[int, bool], Decimal] = {}
    freight, duty, allowance = invoice.sum_charges, ZERO, invoice.sum_allowances
    for x in invoice.lines:
        its = [g for g in given if g.position == x.position]
        what = {g.what for g in its}
        if not its:
            raise _at(x, "say what it is for.")
        if any(g.effect is not None and (g.what != GOODS or not invoice.is_credit) for g in its):
            raise _at(x, "goods went back, or their price is corrected, on a credit note alone: leave the effect out.")
        if what == {GOODS}:
            for g, net in zip(its, _shares(x, its, invoice.currency), strict=True):
                key = (g.receipt_line_id or 0, g.effect == PRICE)
                quantities[key] = quantities.get(key, ZERO) + (g.quantity or ZERO)
                nets[key] = nets.get(key, ZERO) + net
        elif len(its) > 1:
            raise _at(x, "it is for goods of several receipts, or for one thing.")
        elif what == {ALLOWANCE}:
            if x.net > 0:
                raise _at(x, "it adds to the invoice, so nothing is taken off by it.")
            allowance -= x.net
        elif x.net < 0:
            raise _at(x, "it is below zero: it is something taken off.")
        elif what == {FREIGHT}:
            freight += x.net
        elif what == {DUTY}:
            duty += x.net
        elif x.net:
            raise _at(x, f"{x.net} {invoice.currency} are charged for it, so it is for something.")
    unknown = {g.position for g in given} - {x.position for x in invoice.lines}
    if unknown:
        raise field_error("lines", f"The invoice has no line {min(unknown)}.", code="unknown-line")
    lines = [
        Charged(key, amount, _price(nets[key, corrects], amount, price_per[key], invoice.currency), corrects)
        for (key, corrects), amount in quantities.items()
        if key in price_per or _unknown(key)
    ]
    return Whole(lines, freight, duty, allowance)


def _shares(x: Stated, its: Sequence[Assigned], currency: str) -> list[Decimal]:
    if x.net < 0:
        raise _at(x, "it is below zero: it is something taken off.")
    if any(g.receipt_line_id is None or g.quantity is None or g.quantity <= 0 for g in its):
        raise _at(x, "name the receipt's line and a quantity above zero.")
    whole = sum((g.quantity or ZERO for g in its), ZERO)
    found = [round_money(EXACT.divide(EXACT.multiply(x.net, g.quantity or ZERO), whole), currency) for g in its[:-1]]
    return [*found, x.net - sum(found, ZERO)]


def _price(net: Decimal, amount: Decimal, per: Decimal, currency: str) -> Decimal:
    """The price for each `per` that makes `net` of the amount, at six decimals."""
    price = round_to(EXACT.divide(EXACT.multiply(net, per), amount), packing.PRICE_DECIMALS)
    if packing.net(amount, price, per, currency) != net:
        raise field_error(
            "lines", f"No price of six decimals makes {net} of {amount}. Record it by hand.", code="price"
        )
    return price


def _unknown(key: int) -> bool:
    raise field_error("lines", f"Line {key} of a receipt isn't there to be charged.", code="unknown-line")


def _at(x: Stated, text: str) -> BadInput:
    return field_error("lines", f"Line {x.position} ({x.name[:60]}): {text}", code="line")
