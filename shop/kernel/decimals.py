"""Numbers as people and machines hand them in: exact Decimals, or a refusal that says what to type."""

from __future__ import annotations

import re
from decimal import Context, Decimal
from functools import lru_cache
from typing import Final

from babel import Locale, UnknownLocaleError

from shop.kernel.errors import field_error

# SQLite keeps decimals as 8-byte floats, exact to 15 significant digits. Money and quantity limits keep below
# that.
SAFE_DIGITS: Final = 15

_PLAIN = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?", re.ASCII)
_SPACES = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2212": "-", "\u2019": "'"})
_LONGEST = 40
_WIDE = Context(prec=999)


def as_decimal(value: Decimal | int | str, field: str = "amount") -> Decimal:
    """An exact Decimal from a Decimal, an int, or plain text such as "1234.56" (decimal point, no grouping).

    Raises TypeError on a float or bool: they have already lost what we need. Raises BadInput on anything that
    is not a finite number.
    """
    if isinstance(value, Decimal):
        number = value
    elif isinstance(value, bool) or not isinstance(value, int | str):
        raise TypeError(f"{field}: give a Decimal, an int or text, not {type(value).__name__}")
    elif isinstance(value, int):
        number = Decimal(value)
    else:
        text = value.strip()
        if len(text) > _LONGEST or not _PLAIN.fullmatch(text):
            raise field_error(field, "This is not a number. Write it like 1234.56.", code="not-a-number")
        number = Decimal(text)
    if not number.is_finite():
        raise field_error(field, "This is not a finite number. Write it like 1234.56.", code="not-a-number")
    return number


def parse_decimal(text: str, *, decimal_comma: bool, field: str = "amount") -> Decimal:
    """Read a number somebody typed.

    `decimal_comma` says how this business writes decimals: False "1,234.56", True "1.234,56". Groups of three
    may also be set off by spaces or apostrophes. Nothing is guessed: "1,234" or "1.234" with the grouping
    sign alone can be meant either way and is refused, and so is a sign in a place where the setting doesn't
    expect it.

    Raises BadInput (codes "not-a-number", "ambiguous-number", "other-decimal-sign").
    """
    typed = text.translate(_SPACES).strip()
    point, group = (",", ".") if decimal_comma else (".", ",")
    example = "1234,56" if decimal_comma else "1234.56"
    if not typed:
        raise field_error(field, f"Write a number, like {example}.", code="not-a-number")
    sign, digits = ("", typed)
    if typed[0] in "+-":
        sign, digits = typed[0], typed[1:].lstrip()
    whole, found, fraction = digits.partition(point)
    if (
        len(digits) > _LONGEST
        or (found and not _is_digits(fraction))
        or not (whole or found)
        or not all(c in "0123456789 '" + group for c in whole)
    ):
        raise field_error(field, f"“{_shown(typed)}” is not a number. Write it like {example}.", code="not-a-number")
    used = {c for c in whole if not c.isdigit()}
    if used:
        _check_groups(typed, whole, used, group, bool(found), field, point)
        for separator in used:
            whole = whole.replace(separator, "")
    return Decimal(f"{sign}{whole or 0}.{fraction}" if found else f"{sign}{whole}")


def _check_groups(
    typed: str, whole: str, used: set[str], group: str, has_fraction: bool, field: str, point: str
) -> None:
    """Grouping must be one sign, every three digits; a lone `group` sign without decimals is ambiguous."""
    separator = next(iter(used))
    parts = whole.split(separator)
    regular = (
        len(used) == 1
        and _is_digits(parts[0])
        and len(parts[0]) <= 3
        and all(len(p) == 3 and _is_digits(p) for p in parts[1:])
    )
    if regular:
        if separator == group and len(parts) == 2 and not has_fraction:
            joined, split = "".join(parts), point.join(parts)
            raise field_error(
                field,
                f"“{_shown(typed)}” can be read two ways. Write {joined} or {split}.",
                code="ambiguous-number",
            )
        return
    if used == {group} and len(parts) == 2 and not has_fraction and all(_is_digits(p) for p in parts):
        raise field_error(
            field,
            f"Here the decimal sign is “{point}”. Write {point.join(parts)}.",
            code="other-decimal-sign",
        )
    raise field_error(
        field,
        f"The digits of “{_shown(typed)}” are not grouped in threes. Write it without grouping.",
        code="not-a-number",
    )


def _is_digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _shown(text: str) -> str:
    return text if len(text) <= 20 else text[:19] + "…"


def decimals_of(number: Decimal) -> int:
    """How many decimals the number needs, trailing zeros not counted: 1.50 needs 1, 100 needs 0."""
    exponent = number.normalize(_WIDE).as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def plain(number: Decimal) -> str:
    """The number as plain text: decimal point, no exponent, no grouping, no trailing zeros."""
    text = format(number, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@lru_cache(maxsize=64)
def known_locale(name: str) -> Locale:
    """The locale with this name ("de-DE", "en_GB"). Raises BadInput (code "unknown-locale")."""
    try:
        return Locale.parse(name.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        raise field_error(
            "locale",
            f"“{_shown(name)}” is not a known language setting. Give one like en-GB.",
            code="unknown-locale",
        ) from None
