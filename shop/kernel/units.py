"""Units of measure: UN/ECE Recommendation 20 codes with exact factors.

Codes and names after Recommendation 20 (EN 16931 BT-130). Its printed factors are
rounded (the UK gallon's is even an old one, 4.546092 l), so ours are the exact legal definitions instead:
international yard and pound agreement of 1959 (inch 25.4 mm, pound 0.45359237 kg), standard gravity 9.80665
m/s2 (CGPM 1901), US gallon 231 cubic inches, UK gallon 4.54609 l.
Digits as in NIST SP 811 appendix B.8.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, Inexact, localcontext
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from shop.kernel.errors import field_error
from shop.kernel.rounding import EXACT, round_to


class Dimension(StrEnum):
    """What a unit measures, and in what base its factor is given."""

    COUNT = "count"  # piece
    SET = "set"  # nothing to convert into: what is in a set or kit is the part's own affair
    LUMP = "lump sum"
    SHARE = "share"
    VOLUME = "volume"  # millilitre
    MASS = "mass"  # gram
    LENGTH = "length"  # millimetre
    AREA = "area"  # square millimetre
    TIME = "time"  # second
    TORQUE = "torque"  # newton metre
    PRESSURE = "pressure"  # pascal
    ANGLE = "angle"  # degree


@dataclass(frozen=True, slots=True)
class Unit:
    """`factor` base units make one of this; `decimals` is how finely a quantity in it may be given.

    `retired`: marked as deprecated in Recommendation 20 and not accepted in an e-invoice; kept for reading
    old manuals and tools.
    """

    code: str
    name: str
    symbol: str
    dimension: Dimension
    factor: Fraction
    decimals: int
    retired: bool = False

    @property
    def whole(self) -> bool:
        """Comes in whole numbers only."""
        return self.decimals == 0


_INCH = Fraction(254, 10)  # mm
_CUBIC_INCH = _INCH**3 / 1000  # ml
_US_GALLON = 231 * _CUBIC_INCH
_UK_GALLON = Fraction("4546.09")
_POUND = Fraction("453.59237")  # g
_KILOGRAM_FORCE = Fraction("9.80665")  # N
_POUND_FORCE = _POUND / 1000 * _KILOGRAM_FORCE


def _all() -> list[Unit]:
    d, f = Dimension, Fraction
    return [
        Unit("C62", "piece", "pc", d.COUNT, f(1), 0),
        Unit("PR", "pair", "pair", d.COUNT, f(2), 0),
        Unit("DZN", "dozen", "doz", d.COUNT, f(12), 0),
        Unit("CEN", "hundred", "hundred", d.COUNT, f(100), 2),
        Unit("SET", "set", "set", d.SET, f(1), 0),
        Unit("LS", "lump sum", "lump sum", d.LUMP, f(1), 2),
        Unit("P1", "percent", "%", d.SHARE, f(1), 4),
        Unit("MLT", "millilitre", "ml", d.VOLUME, f(1), 3),
        Unit("CMQ", "cubic centimetre", "cm³", d.VOLUME, f(1), 3),
        Unit("LTR", "litre", "l", d.VOLUME, f(1000), 6),
        Unit("MTQ", "cubic metre", "m³", d.VOLUME, f(1_000_000), 6),
        Unit("INQ", "cubic inch", "in³", d.VOLUME, _CUBIC_INCH, 4),
        Unit("OZA", "fluid ounce (US)", "fl oz (US)", d.VOLUME, _US_GALLON / 128, 4),
        Unit("PTL", "liquid pint (US)", "liq pt (US)", d.VOLUME, _US_GALLON / 8, 4),
        Unit("QTL", "liquid quart (US)", "liq qt (US)", d.VOLUME, _US_GALLON / 4, 4),
        Unit("GLL", "gallon (US)", "gal (US)", d.VOLUME, _US_GALLON, 6),
        Unit("OZI", "fluid ounce (UK)", "fl oz (UK)", d.VOLUME, _UK_GALLON / 160, 4),
        Unit("PTI", "pint (UK)", "pt (UK)", d.VOLUME, _UK_GALLON / 8, 4),
        Unit("QTI", "quart (UK)", "qt (UK)", d.VOLUME, _UK_GALLON / 4, 4),
        Unit("GLI", "gallon (UK)", "gal (UK)", d.VOLUME, _UK_GALLON, 6),
        Unit("MGM", "milligram", "mg", d.MASS, f(1, 1000), 3),
        Unit("GRM", "gram", "g", d.MASS, f(1), 3),
        Unit("KGM", "kilogram", "kg", d.MASS, f(1000), 6),
        Unit("TNE", "tonne (metric ton)", "t", d.MASS, f(1_000_000), 6),
        Unit("ONZ", "ounce (avoirdupois)", "oz", d.MASS, _POUND / 16, 4),
        Unit("LBR", "pound", "lb", d.MASS, _POUND, 6),
        Unit("4H", "micrometre (micron)", "µm", d.LENGTH, f(1, 1000), 3),
        Unit("MMT", "millimetre", "mm", d.LENGTH, f(1), 4),
        Unit("CMT", "centimetre", "cm", d.LENGTH, f(10), 4),
        Unit("MTR", "metre", "m", d.LENGTH, f(1000), 6),
        Unit("KMT", "kilometre", "km", d.LENGTH, f(1_000_000), 3),
        Unit("77", "milli-inch", "mil", d.LENGTH, _INCH / 1000, 3),
        Unit("INH", "inch", "in", d.LENGTH, _INCH, 6),
        Unit("FOT", "foot", "ft", d.LENGTH, 12 * _INCH, 6),
        Unit("YRD", "yard", "yd", d.LENGTH, 36 * _INCH, 6),
        Unit("SMI", "mile (statute mile)", "mile", d.LENGTH, 63360 * _INCH, 3),
        Unit("NMI", "nautical mile", "n mile", d.LENGTH, f(1_852_000), 3),
        Unit("MMK", "square millimetre", "mm²", d.AREA, f(1), 3),
        Unit("CMK", "square centimetre", "cm²", d.AREA, f(100), 3),
        Unit("MTK", "square metre", "m²", d.AREA, f(1_000_000), 6),
        Unit("INK", "square inch", "in²", d.AREA, _INCH**2, 4),
        Unit("FTK", "square foot", "ft²", d.AREA, 144 * _INCH**2, 6),
        Unit("SEC", "second", "s", d.TIME, f(1), 3),
        Unit("MIN", "minute", "min", d.TIME, f(60), 4),
        Unit("HUR", "hour", "h", d.TIME, f(3600), 4),
        Unit("DAY", "day", "d", d.TIME, f(86400), 4),
        Unit("J72", "centinewton metre", "cN·m", d.TORQUE, f(1, 100), 3),
        Unit("NU", "newton metre", "N·m", d.TORQUE, f(1), 4),
        Unit("M92", "pound-force foot", "lbf·ft", d.TORQUE, _POUND_FORCE * 12 * _INCH / 1000, 4),
        Unit("F21", "pound-force inch", "lbf·in", d.TORQUE, _POUND_FORCE * _INCH / 1000, 4),
        Unit("L41", "ounce-force inch", "ozf·in", d.TORQUE, _POUND_FORCE / 16 * _INCH / 1000, 4),
        Unit("B38", "kilogram-force metre", "kgf·m", d.TORQUE, _KILOGRAM_FORCE, 4, retired=True),
        Unit("PAL", "pascal", "Pa", d.PRESSURE, f(1), 3),
        Unit("KPA", "kilopascal", "kPa", d.PRESSURE, f(1000), 4),
        Unit("BAR", "bar", "bar", d.PRESSURE, f(100_000), 4),
        Unit("PS", "pound-force per square inch", "lbf/in²", d.PRESSURE, _POUND_FORCE / (_INCH / 1000) ** 2, 4),
        Unit("DD", "degree", "°", d.ANGLE, f(1), 4),
    ]


UNITS: Final[Mapping[str, Unit]] = MappingProxyType({u.code: u for u in _all()})


def unit(code: str) -> Unit:
    """The unit with this code. Raises BadInput (code "unknown-unit")."""
    try:
        return UNITS[code]
    except (KeyError, TypeError):
        raise field_error(
            "unit",
            f"“{str(code)[:10]}” is not a unit used here. Pick one from the list, like C62 (piece).",
            code="unknown-unit",
        ) from None


def units_of(dimension: Dimension) -> list[Unit]:
    """All units that measure the same thing, in the order of this file: metric first, small to large."""
    return [u for u in UNITS.values() if u.dimension is dimension]


def ratio(source: str, target: str) -> Fraction:
    """How many `target` make one `source`, exactly. Raises BadInput (code "other-dimension") across
    dimensions."""
    a, b = unit(source), unit(target)
    if a.dimension is not b.dimension:
        raise field_error(
            "unit",
            f"{a.name} measures {a.dimension}, {b.name} measures {b.dimension}: one can't be turned into the other.",
            code="other-dimension",
        )
    return a.factor / b.factor


def convert_exact(amount: Decimal | Fraction | int, source: str, target: str) -> Fraction:
    """The amount in the other unit as an exact fraction; there and back gives the same number."""
    return Fraction(amount) * ratio(source, target)


def convert(amount: Decimal, source: str, target: str, *, places: int | None = None) -> Decimal:
    """The amount in the other unit.

    With `places`, rounded half away from zero to so many decimals. Without, exact: raises BadInput (code
    "inexact") when no finite decimal is the answer (a foot in yards), so nothing is lost unseen.
    """
    exact = convert_exact(amount, source, target)
    with localcontext(EXACT) as context:
        if places is None:
            context.traps[Inexact] = True
        try:
            result = Decimal(exact.numerator) / Decimal(exact.denominator)
        except Inexact:
            raise field_error(
                "unit",
                f"{amount} {unit(source).symbol} is no round number of {unit(target).symbol}. Say how many decimals.",
                code="inexact",
            ) from None
    return result if places is None else round_to(result, places)
