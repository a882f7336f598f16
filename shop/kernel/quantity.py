"""A quantity: an amount with its unit, no finer than the unit allows. Units never mix silently."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from babel.numbers import format_decimal

from shop.kernel import units
from shop.kernel.decimals import as_decimal, decimals_of, known_locale, parse_decimal, plain
from shop.kernel.errors import field_error
from shop.kernel.rounding import EXACT

# with the finest unit's 6 decimals this is 15 significant digits, what SQLite keeps exactly
LIMIT: Final = Decimal(10) ** 9
MAX_DECIMALS: Final = 6


@dataclass(frozen=True, slots=True)
class Quantity:
    """An amount in a UN/ECE Recommendation 20 unit; may be negative or zero (a difference), see `positive`.

    Raises BadInput for an unknown unit, an amount that is not finite, at or above 10^9, or finer than the
    unit allows (half a piece). Raises TypeError for a float.
    """

    amount: Decimal
    unit: str

    def __post_init__(self) -> None:
        amount = as_decimal(self.amount, "quantity")
        if amount is not self.amount:
            object.__setattr__(self, "amount", amount)
        check(amount, self.unit)

    def _same(self, other: Quantity) -> Decimal:
        if other.unit != self.unit:
            raise field_error(
                "unit",
                f"{self.unit} and {other.unit} can't be added or compared. Convert one of them first.",
                code="mixed-units",
            )
        return other.amount

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(EXACT.add(self.amount, self._same(other)), self.unit)

    def __sub__(self, other: Quantity) -> Quantity:
        return Quantity(EXACT.subtract(self.amount, self._same(other)), self.unit)

    def __neg__(self) -> Quantity:
        return Quantity(EXACT.minus(self.amount), self.unit)

    def __bool__(self) -> bool:
        return bool(self.amount)

    def __lt__(self, other: Quantity) -> bool:
        return self.amount < self._same(other)

    def __le__(self, other: Quantity) -> bool:
        return self.amount <= self._same(other)

    def __gt__(self, other: Quantity) -> bool:
        return self.amount > self._same(other)

    def __ge__(self, other: Quantity) -> bool:
        return self.amount >= self._same(other)

    def __str__(self) -> str:
        """Plain, for messages and logs: "12.5 ml", "2 pc"."""
        return f"{plain(self.amount)} {units.unit(self.unit).symbol}"

    def to(self, target: str, *, places: int | None = None) -> Quantity:
        """In another unit of the same dimension; exact, or rounded to `places`. Raises BadInput as
        units.convert."""
        return Quantity(units.convert(self.amount, self.unit, target, places=places), target)


def check(amount: Decimal, code: str, *, field: str = "quantity") -> Decimal:
    """The amount itself if it fits the unit. Raises BadInput (codes "too-large", "too-many-decimals")."""
    known = units.unit(code)
    if amount.copy_abs() >= LIMIT:
        raise field_error(field, "This quantity is too large to be right.", code="too-large")
    if decimals_of(amount) > known.decimals:
        if known.whole:
            message = f"{known.name.capitalize()}: whole numbers only, {plain(amount)} is not one."
        else:
            message = f"{known.name.capitalize()}: at most {known.decimals} decimals, {plain(amount)} has more."
        raise field_error(field, message, code="too-many-decimals")
    return amount


def positive(amount: Decimal, code: str, *, field: str = "quantity") -> Decimal:
    """The amount itself if it fits the unit and is above zero: what can be drawn, ordered, sold.

    Raises BadInput (also code "not-positive").
    """
    if amount.is_nan() or amount <= 0:
        raise field_error(field, "Give a quantity above zero.", code="not-positive")
    return check(amount, code, field=field)


def parse_quantity(
    text: str,
    code: str,
    *,
    decimal_comma: bool,
    zero: bool = False,
    negative: bool = False,
    field: str = "quantity",
) -> Quantity:
    """Read a quantity somebody typed; the unit's symbol may follow ("12.5 ml").

    Above zero unless `zero` or `negative` allow otherwise. Raises BadInput; see parse_decimal for what is
    refused.
    """
    symbol = units.unit(code).symbol
    typed = text.strip()
    number = parse_decimal(typed.removesuffix(symbol), decimal_comma=decimal_comma, field=field)
    if number < 0 and not negative:
        raise field_error(field, "A quantity can't be below zero here.", code="not-positive")
    if number == 0 and not zero:
        raise field_error(field, "Give a quantity above zero.", code="not-positive")
    check(number, code, field=field)
    return Quantity(number, code)


def format_quantity(quantity: Quantity, locale: str) -> str:
    """As people of that locale write it, no trailing zeros, with the unit's symbol: "1,234.5 ml", "1.234,5
    ml".

    Raises BadInput for an unknown locale.
    """
    number = format_decimal(quantity.amount, locale=known_locale(locale), decimal_quantization=False)
    return f"{number}\u00a0{units.unit(quantity.unit).symbol}"
