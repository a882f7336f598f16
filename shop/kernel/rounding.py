"""The one place where money is rounded.

Half away from zero (EN 16931 BR-CO-17 "half up", mirrored for negative documents), to the minor unit that ISO
4217 gives the currency. ISO 4217 and not CLDR/Babel: Babel follows cash habits (CHF 0.05, HUF and SEK without
decimals) and differs for IQD and MGA, which is wrong in accounts.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Context, Decimal, DivisionByZero, InvalidOperation, Overflow
from types import MappingProxyType
from typing import Final

from iso4217 import raw_table

from shop.kernel.errors import field_error

# Wide enough that the product of two 15-digit numbers, divided by a third, can't come within one unit of a
# tie without being one; so rounding once at the end is exact.
EXACT: Final = Context(
    prec=60, rounding=ROUND_HALF_UP, traps=[InvalidOperation, DivisionByZero, Overflow], Emin=-999, Emax=999
)


def _iso_minor_units() -> dict[str, int]:
    """Minor units by code; metals, funds of account and test codes have none ("N.A.") and are left out."""
    found: dict[str, int] = {}
    for code, entry in raw_table.items():
        units = entry["CcyMnrUnts"]
        if code and isinstance(units, str) and units.isdigit():
            found[code] = int(units)
    return found


MINOR_UNITS: Final[Mapping[str, int]] = MappingProxyType(_iso_minor_units())
_QUANTUM: Final = {code: Decimal(1).scaleb(-units) for code, units in MINOR_UNITS.items()}


def minor_units(currency: str) -> int:
    """Decimals of the currency's accounts by ISO 4217: EUR 2, JPY 0, KWD 3.

    Raises BadInput (code "unknown-currency") for a code that ISO 4217 doesn't list as money in use.
    """
    try:
        return MINOR_UNITS[currency]
    except (KeyError, TypeError):
        raise _unknown(currency) from None


def minor_unit(currency: str) -> Decimal:
    """The smallest amount of the currency: EUR 0.01, JPY 1, KWD 0.001. Raises BadInput as minor_units
    does."""
    try:
        return _QUANTUM[currency]
    except (KeyError, TypeError):
        raise _unknown(currency) from None


def _unknown(currency: object) -> Exception:
    return field_error(
        "currency",
        f"“{str(currency)[:10]}” is not a currency in use. Give its three-letter ISO 4217 code, like EUR.",
        code="unknown-currency",
    )


def round_money(amount: Decimal, currency: str) -> Decimal:
    """The amount at the currency's minor unit, half away from zero. Never minus zero.

    Raises BadInput for an unknown currency or an amount that is not finite.
    """
    return _quantize(amount, minor_unit(currency))


def round_to(amount: Decimal, places: int) -> Decimal:
    """The number at `places` decimals, half away from zero. Never minus zero. For quantities, rates, unit
    prices."""
    return _quantize(amount, Decimal(1).scaleb(-places))


def round_to_step(amount: Decimal, step: Decimal) -> Decimal:
    """The multiple of `step` nearest to the amount, half away from zero: paying cash in steps of 0.05.

    Raises BadInput unless the step is above zero.
    """
    if not (step.is_finite() and step > 0):
        raise field_error("step", "A rounding step must be above zero.", code="bad-step")
    steps = _quantize(EXACT.divide(amount, step), Decimal(1))
    return EXACT.multiply(steps, step)


def _quantize(amount: Decimal, quantum: Decimal) -> Decimal:
    if not amount.is_finite():
        raise field_error("amount", "This is not a finite amount.", code="not-a-number")
    try:
        rounded = amount.quantize(quantum, ROUND_HALF_UP, EXACT)
    except InvalidOperation:
        raise field_error("amount", "This amount is too large to be right.", code="too-large") from None
    return rounded if rounded else rounded.copy_abs()
