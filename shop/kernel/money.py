"""Money: an exact amount with its currency. Two currencies never mix, nothing is rounded unless asked."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from babel import Locale
from babel.numbers import NumberPattern

from shop.kernel.decimals import SAFE_DIGITS, as_decimal, decimals_of, known_locale, parse_decimal, plain
from shop.kernel.errors import BadInput, field_error
from shop.kernel.rounding import EXACT, minor_unit, minor_units, round_money


def limit(currency: str) -> Decimal:
    """Amounts of this currency must stay below it: 10^12, less where more minor units would pass 15
    digits."""
    return Decimal(10) ** min(12, SAFE_DIGITS - minor_units(currency))


@dataclass(frozen=True, slots=True)
class Money:
    """An amount (any decimals, since unit prices have more than the currency) and an ISO 4217 code.

    Raises BadInput for an unknown currency, an amount that is not finite, or one at or above
    `limit(currency)`. Raises TypeError for a float.
    """

    amount: Decimal
    currency: str

    def __post_init__(self) -> None:
        amount = as_decimal(self.amount)
        if amount is not self.amount:
            object.__setattr__(self, "amount", amount)
        if amount.copy_abs() >= limit(self.currency):
            raise field_error(
                "amount",
                f"This amount is too large to be right (limit {limit(self.currency):,}).",
                code="too-large",
            )

    @classmethod
    def zero(cls, currency: str) -> Money:
        """Nothing, at the currency's minor unit: 0.00 EUR, 0 JPY."""
        return cls(minor_unit(currency) * 0, currency)

    def rounded(self) -> Money:
        """At the currency's minor unit, by the one rounding rule."""
        return Money(round_money(self.amount, self.currency), self.currency)

    @property
    def is_payable(self) -> bool:
        """Whether it is a whole number of minor units."""
        return decimals_of(self.amount) <= minor_units(self.currency)

    def _same(self, other: Money) -> Decimal:
        if other.currency != self.currency:
            raise BadInput(
                f"{self.currency} and {other.currency} can't be added or compared. Convert one first.",
                code="mixed-currencies",
            )
        return other.amount

    def __add__(self, other: Money) -> Money:
        if not isinstance(other, Money):
            return NotImplemented
        return Money(EXACT.add(self.amount, self._same(other)), self.currency)

    def __radd__(self, other: object) -> Money:
        # sum() starts from the int 0
        return self if isinstance(other, int) and other == 0 else NotImplemented

    def __sub__(self, other: Money) -> Money:
        if not isinstance(other, Money):
            return NotImplemented
        return Money(EXACT.subtract(self.amount, self._same(other)), self.currency)

    def __mul__(self, factor: Decimal | int) -> Money:
        if not _is_number(factor):
            return NotImplemented
        return Money(EXACT.multiply(self.amount, as_decimal(factor, "factor")), self.currency)

    __rmul__ = __mul__

    def __truediv__(self, divisor: Decimal | int) -> Money:
        """Division by a number; exact to 60 digits, round afterwards. Raises BadInput on zero."""
        if not _is_number(divisor):
            return NotImplemented
        number = as_decimal(divisor, "divisor")
        if not number:
            raise BadInput("An amount can't be divided by zero.", code="divide-by-zero")
        return Money(EXACT.divide(self.amount, number), self.currency)

    def __neg__(self) -> Money:
        return Money(EXACT.minus(self.amount), self.currency)

    def __abs__(self) -> Money:
        return Money(self.amount.copy_abs(), self.currency)

    def __bool__(self) -> bool:
        return bool(self.amount)

    def __lt__(self, other: Money) -> bool:
        return self.amount < self._same(other)

    def __le__(self, other: Money) -> bool:
        return self.amount <= self._same(other)

    def __gt__(self, other: Money) -> bool:
        return self.amount > self._same(other)

    def __ge__(self, other: Money) -> bool:
        return self.amount >= self._same(other)

    def __str__(self) -> str:
        """Plain and the same everywhere, for logs and machines: "1234.50 EUR"."""
        short = max(decimals_of(self.amount), minor_units(self.currency))
        return f"{self.amount:.{short}f} {self.currency}"


def _is_number(value: object) -> bool:
    return isinstance(value, Decimal | int) and not isinstance(value, bool)


def total(amounts: Iterable[Money], currency: str) -> Money:
    """The sum, 0 in `currency` when there is nothing to add. Raises BadInput when another currency is among
    them."""
    return sum(amounts, Money.zero(currency))


def split(money: Money, weights: Sequence[Decimal | int]) -> list[Money]:
    """Share an amount out by weight to whole minor units, so that the shares add up to it again.

    Largest remainder: each share is cut towards zero, the units left over go to the largest remainders, first
    come first served on a tie. Raises BadInput for an amount that isn't whole minor units, negative weights,
    or weights that are all zero.
    """
    if not money.is_payable:
        raise field_error(
            "amount", f"Round to {minor_unit(money.currency)} {money.currency} first.", code="not-payable"
        )
    shares_of = [as_decimal(w, "weights") for w in weights]
    whole = sum(shares_of, Decimal(0))
    if any(w < 0 for w in shares_of) or not whole:
        raise field_error("weights", "Give weights of zero or more, one of them above zero.", code="bad-weights")
    unit = minor_unit(money.currency)
    sign = -1 if money.amount < 0 else 1
    units = int(money.amount.copy_abs() / unit)
    exact = [EXACT.divide(EXACT.multiply(Decimal(units), w), whole) for w in shares_of]
    cut = [int(e) for e in exact]
    by_remainder = sorted(range(len(cut)), key=lambda i: (cut[i] - exact[i], i))
    for i in by_remainder[: units - sum(cut)]:
        cut[i] += 1
    return [Money(unit * n * sign, money.currency) for n in cut]


def parse_money(text: str, currency: str, *, decimal_comma: bool, field: str = "amount") -> Money:
    """Read an amount somebody typed: "1,234.56" or, with `decimal_comma`, "1.234,56". The currency's own code
    may stand before or after it. See parse_decimal for what is refused.

    Raises BadInput; too many decimals (code "too-many-decimals") are refused, not rounded.
    """
    units = minor_units(currency)
    typed = text.strip()
    for cut in (typed.removeprefix(currency), typed.removesuffix(currency)):
        if cut != typed:
            typed = cut
            break
    number = parse_decimal(typed, decimal_comma=decimal_comma, field=field)
    if decimals_of(number) > units:
        allowed = f"{units} decimals" if units else "no decimals"
        raise field_error(
            field, f"{currency} has {allowed}, {plain(number)} has more. Round it.", code="too-many-decimals"
        )
    try:
        return Money(round_money(number, currency), currency)
    except BadInput as error:
        raise field_error(field, error.message, code=error.code) from None


@lru_cache(maxsize=256)
def _pattern(locale: str, decimals: int) -> tuple[Locale, NumberPattern]:
    known = known_locale(locale)
    pattern = copy.copy(known.currency_formats["standard"])
    pattern.frac_prec = (decimals, decimals)
    return known, pattern


def format_money(money: Money, locale: str, *, all_decimals: bool = False) -> str:
    """As people of that locale write it, with ISO 4217's decimals: "€1,234.50", "1.234,50 €".

    Rounded to the minor unit; `all_decimals` keeps the further decimals of a unit price. Raises BadInput for
    an unknown locale.
    """
    units = minor_units(money.currency)
    amount = money.amount
    if all_decimals:
        units = max(units, decimals_of(amount))
    else:
        amount = round_money(amount, money.currency)
    known, pattern = _pattern(locale, units)
    return str(pattern.apply(amount, known, currency=money.currency, currency_digits=False))
