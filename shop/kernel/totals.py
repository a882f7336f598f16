"""The arithmetic of an estimate, invoice or credit note, once, for pages, PDF, API and e-invoice alike.

EN 16931-1:2017 business terms (BT) and rules (BR). VAT is computed per category and rate on the sum of the
lines, never per line. Rounding is half away from zero to the currency's minor unit (for currencies with two
decimals this is the standard's own rounding), so a document and its counter-document cancel to zero.

The business decides which category and rate apply, by its local tax law; this only computes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from typing import Final

from shop.kernel.decimals import SAFE_DIGITS, as_decimal, decimals_of, plain
from shop.kernel.errors import BadInput, field_error
from shop.kernel.money import limit
from shop.kernel.rounding import EXACT, minor_unit, minor_units, round_money

# UNTDID 5305 as restricted by EN 16931. For these the rate must be 0 (BR-Z-05, BR-E-05, BR-AE-05, BR-IC-05,
# BR-G-05); O states no rate at all in the document (BR-O-05), here 0.
ZERO_RATED: Final = frozenset({"Z", "E", "AE", "K", "G", "O"})
# S above zero (BR-S-05); L and M (Canary Islands, Ceuta and Melilla) zero or above (BR-AF-05, BR-AG-05)
CATEGORIES: Final = ZERO_RATED | {"S", "L", "M"}

_ZERO = Decimal(0)
_ONE = Decimal(1)
_HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Vat:
    """A VAT category code (UNTDID 5305: S standard, Z zero, E exempt, AE reverse charge, K intra-community,
    G export, O outside VAT, L, M) and its rate in percent (BT-151/152, BT-95/96, BT-102/103).

    Raises BadInput when the two don't go together.
    """

    category: str
    rate: Decimal = _ZERO

    def __post_init__(self) -> None:
        rate = as_decimal(self.rate, "vat_rate")
        if rate is not self.rate:
            object.__setattr__(self, "rate", rate)
        if self.category not in CATEGORIES:
            raise field_error(
                "vat_category",
                f"“{str(self.category)[:10]}” is not a VAT category. Use one of {', '.join(sorted(CATEGORIES))}.",
                code="unknown-vat-category",
            )
        if not 0 <= rate <= _HUNDRED:
            raise field_error("vat_rate", "A VAT rate lies between 0 and 100 percent.", code="bad-vat-rate")
        if self.category in ZERO_RATED and rate:
            raise field_error(
                "vat_rate",
                f"VAT category {self.category} has the rate 0, not {plain(rate)}.",
                code="bad-vat-rate",
            )
        if self.category == "S" and not rate:
            raise field_error(
                "vat_rate",
                "The standard category S needs a rate above 0. For no VAT pick Z or E.",
                code="bad-vat-rate",
            )


@dataclass(frozen=True, slots=True)
class Line:
    """One line. A return or credit has a negative quantity, since a price must not be negative (BR-27).

    quantity: BT-129, in its unit; price: BT-146, net of VAT, any decimals; base_quantity: BT-149, the
    quantity the price is for; allowances, charges: sums of BT-136 and of BT-141, in whole minor units.
    """

    quantity: Decimal
    price: Decimal
    vat: Vat
    base_quantity: Decimal = _ONE
    allowances: Decimal = _ZERO
    charges: Decimal = _ZERO


@dataclass(frozen=True, slots=True)
class Adjustment:
    """An allowance (BG-20) or charge (BG-21) on the whole document: BT-92 or BT-99 in whole minor units, its
    VAT."""

    amount: Decimal
    vat: Vat
    is_charge: bool = False


@dataclass(frozen=True, slots=True)
class VatGroup:
    """One VAT breakdown (BG-23): taxable BT-116, tax BT-117, category BT-118, rate BT-119."""

    vat: Vat
    taxable: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Totals:
    """What a document states. `line_nets` are BT-131 in the order of the lines; amounts at the minor unit."""

    currency: str
    line_nets: tuple[Decimal, ...]
    groups: tuple[VatGroup, ...]
    lines: Decimal  # BT-106
    allowances: Decimal  # BT-107
    charges: Decimal  # BT-108
    net: Decimal  # BT-109
    vat: Decimal  # BT-110
    gross: Decimal  # BT-112
    paid: Decimal  # BT-113
    rounding: Decimal  # BT-114
    due: Decimal  # BT-115


def line_net(line: Line, currency: str) -> Decimal:
    """BT-131 = BT-146 x BT-129 / BT-149 + charges BT-141 - allowances BT-136, rounded once at the end.

    Raises BadInput for a negative price, a base quantity not above zero, or amounts finer than the minor
    unit.
    """
    _sensible(line.quantity, "quantity")
    _sensible(line.price, "price")
    if line.price < 0:
        raise field_error(
            "price",
            "A price can't be negative. For a return give a negative quantity.",
            code="negative-price",
        )
    if not _sensible(line.base_quantity, "base_quantity") > 0:
        raise field_error("base_quantity", "The quantity a price is for must be above zero.", code="bad-base-quantity")
    net = EXACT.multiply(line.price, line.quantity)
    if line.base_quantity != _ONE:
        net = EXACT.divide(net, line.base_quantity)
    if line.charges:
        net = EXACT.add(net, _payable(line.charges, currency, "charges"))
    if line.allowances:
        net = EXACT.subtract(net, _payable(line.allowances, currency, "allowances"))
    return round_money(net, currency)


def percent_of(amount: Decimal, percent: Decimal, currency: str) -> Decimal:
    """An allowance or charge given as a percentage, at the minor unit: BT-92 = BT-93 x BT-94 / 100 (also
    BT-99, BT-136, BT-141 from their base and percentage)."""
    _sensible(percent, "percent")
    return round_money(EXACT.divide(EXACT.multiply(_sensible(amount, "amount"), percent), _HUNDRED), currency)


def vat_on(taxable: Decimal, rate: Decimal, currency: str) -> Decimal:
    """BT-117 = BT-116 x BT-119 / 100, rounded (BR-CO-17, BR-S-09)."""
    return percent_of(taxable, rate, currency)


def compute(
    lines: Sequence[Line],
    currency: str,
    *,
    adjustments: Iterable[Adjustment] = (),
    paid: Decimal = _ZERO,
    rounding: Decimal = _ZERO,
) -> Totals:
    """All totals of a document.

    paid: BT-113, what was paid before; rounding: BT-114, added to what is due (paying cash in steps). Without
    lines and adjustments everything is zero and there is no VAT group; an invoice needs one (BR-CO-18).

    Raises BadInput for an unknown currency, impossible lines (see line_net), amounts finer than the minor
    unit, "O" together with another category (BR-O-11 to 14), or a result too large to be right. `fields`
    names a line by its position, from 0: "lines.3.price".
    """
    nil = minor_unit(currency) * 0
    paid = _payable(paid, currency, "paid")
    rounding = _payable(rounding, currency, "rounding")
    with localcontext(EXACT):
        nets: list[Decimal] = []
        taxable: dict[Vat, Decimal] = {}
        for position, line in enumerate(lines):
            try:
                net = line_net(line, currency)
            except BadInput as error:
                raise _at_line(error, position) from None
            nets.append(net)
            taxable[line.vat] = taxable.get(line.vat, nil) + net
        allowances = charges = nil
        for one in adjustments:
            amount = _payable(one.amount, currency, "adjustments")
            if one.is_charge:
                charges += amount
            else:
                allowances += amount
                amount = -amount
            taxable[one.vat] = taxable.get(one.vat, nil) + amount
        if len(taxable) > 1 and any(vat.category == "O" for vat in taxable):
            raise field_error(
                "vat_category",
                "What is outside VAT (category O) can't share a document with other VAT categories. "
                "Put it on a document of its own.",
                code="mixed-with-outside-vat",
            )
        groups = tuple(
            VatGroup(vat, base, vat_on(base, vat.rate, currency))
            for vat, base in sorted(taxable.items(), key=lambda item: (-item[0].rate, item[0].category))
        )
        line_total = sum(nets, nil)  # BR-CO-10
        net_total = line_total - allowances + charges  # BR-CO-13
        vat_total = sum((g.tax for g in groups), nil)  # BR-CO-14
        gross = net_total + vat_total  # BR-CO-15
        due = gross - paid + rounding  # BR-CO-16
        if max(abs(line_total), abs(gross), abs(due)) >= limit(currency):
            raise BadInput("The total is too large to be right. Check quantities and prices.", code="too-large")
        return Totals(
            currency=currency,
            line_nets=tuple(nets),
            groups=groups,
            lines=line_total,
            allowances=allowances,  # BR-CO-11
            charges=charges,  # BR-CO-12
            net=net_total,
            vat=vat_total,
            gross=gross,
            paid=paid,
            rounding=rounding,
            due=due,
        )


def broken_rules(stated: Totals, adjustments: Iterable[Adjustment] = ()) -> list[str]:
    """The EN 16931 rules that stated figures break, by their ids; empty when all hold to the last digit.

    For proving stored documents. Stricter than the published validation rules, which let BT-117 be off by
    nearly 1.00. Covers BR-CO-10 to 17 and decimals beyond the minor unit ("BR-DEC"); whether BT-116 is the
    sum of its lines (BR-S-08) can only be told from the lines: compute them again.
    """
    given = list(adjustments)
    with localcontext(EXACT):
        holds = {
            "BR-CO-10": stated.lines == sum(stated.line_nets, _ZERO),
            "BR-CO-11": stated.allowances == sum((a.amount for a in given if not a.is_charge), _ZERO),
            "BR-CO-12": stated.charges == sum((a.amount for a in given if a.is_charge), _ZERO),
            "BR-CO-13": stated.net == stated.lines - stated.allowances + stated.charges,
            "BR-CO-14": stated.vat == sum((g.tax for g in stated.groups), _ZERO),
            "BR-CO-15": stated.gross == stated.net + stated.vat,
            "BR-CO-16": stated.due == stated.gross - stated.paid + stated.rounding,
            "BR-CO-17": all(g.tax == vat_on(g.taxable, g.vat.rate, stated.currency) for g in stated.groups),
        }
    amounts = [
        *stated.line_nets,
        *(x for g in stated.groups for x in (g.taxable, g.tax)),
        stated.lines, stated.allowances, stated.charges, stated.net, stated.vat,
        stated.gross, stated.paid, stated.rounding, stated.due,
    ]  # fmt: skip
    units = minor_units(stated.currency)
    holds["BR-DEC"] = all(decimals_of(a) <= units for a in amounts)
    return [rule for rule, true in holds.items() if not true]


def _sensible(number: Decimal, field: str) -> Decimal:
    """Refuse what would overflow the arithmetic; far above anything stored."""
    if not number.is_finite():
        raise field_error(field, "This is not a finite number.", code="not-a-number")
    if number and number.adjusted() >= SAFE_DIGITS:
        raise field_error(field, "This is too large to be right.", code="too-large")
    return number


def _payable(amount: Decimal, currency: str, field: str) -> Decimal:
    """The amount at the minor unit; refuses more decimals than the currency has (BR-DEC), since only the
    caller knows how it came about and can round it, see percent_of."""
    rounded = round_money(_sensible(amount, field), currency)
    if rounded != amount:
        raise field_error(
            field,
            f"{plain(amount)} has more decimals than {currency} allows. Round it.",
            code="too-many-decimals",
        )
    return rounded


def _at_line(error: BadInput, position: int) -> BadInput:
    fields = {f"lines.{position}.{name}": texts for name, texts in error.fields.items()}
    return BadInput(f"Line {position + 1}: {error.message}", code=error.code, fields=fields)
