"""Packages a part comes in: a box of 50, a tube of 70 ml. Exact both ways, or refused. Plain values.

Codes: kinds of package are those of UN/ECE Recommendation 21, which Recommendation 20 takes in with an X in front; EN 16931
takes both (BT-130).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from shop.kernel import units
from shop.kernel.decimals import parse_decimal, plain
from shop.kernel.errors import BadInput, field_error
from shop.kernel.quantity import positive
from shop.kernel.rounding import EXACT

KINDS: Final = {
    "XBX": "box", "XPK": "package", "XPA": "packet", "XCT": "carton", "XBG": "bag", "XTU": "tube", "XCQ": "cartridge",
    "XBO": "bottle", "XCX": "can", "XCI": "canister", "XAE": "aerosol", "XJR": "jar", "XBJ": "bucket", "XJY": "jerrican",
    "XDR": "drum", "XRO": "roll", "XRL": "reel", "XSO": "spool", "XST": "sheet", "XSH": "sachet", "XBE": "bundle",
}  # fmt: skip

CHOICES: Final = sorted(KINDS.items(), key=lambda item: item[1])


@dataclass(frozen=True, slots=True)
class Pack:
    """`content` of a part's `unit` make one package; `name` in the shop's words, "box"."""

    name: str
    content: Decimal
    unit: str

    def __str__(self) -> str:
        """ "box of 50", "tube of 70 ml" """
        return f"{self.name} of {_said(self.content, self.unit)}"


def content_in(quantity: Decimal, given_in: str, unit: str) -> Decimal:
    """What a package holds in the part's unit: 2.5 l in a part counted in ml are 2500.

    Raises BadInput (field "content"): not above zero, another dimension, or no exact number of that unit.
    """
    try:
        exact = units.convert(quantity, given_in, unit)
        return positive(Decimal(plain(exact)), unit, field="content")
    except BadInput as error:
        if error.code in ("inexact", "too-many-decimals"):
            raise field_error(
                "content",
                f"{_said(quantity, given_in)} is no exact number of {units.unit(unit).symbol}. Give it in the part's unit, as "
                "printed on the package.",
                code="inexact",
            ) from None
        raise field_error("content", error.message, code=error.code) from None


def unpacked(count: Decimal, pack: Pack, *, field: str = "quantity") -> Decimal:
    """So many packages in the part's unit, exactly. Raises BadInput (code "does-not-divide") when that is no quantity of the
    unit, such as a third of a box of 50 pieces."""
    if not count.is_finite() or count <= 0:
        raise field_error(field, "Give a quantity above zero.", code="not-positive")
    whole = Decimal(plain(EXACT.multiply(count, pack.content)))
    try:
        return positive(whole, pack.unit, field=field)
    except BadInput as error:
        if error.code != "too-many-decimals":
            raise
        raise field_error(
            field,
            f"{plain(count)} × {pack} are {_said(whole, pack.unit, always=True)}, finer than {units.unit(pack.unit).name} "
            "goes. Give the quantity without packages.",
            code="does-not-divide",
        ) from None


def packed(quantity: Decimal, pack: Pack, *, field: str = "quantity") -> int:
    """How many whole packages a quantity is. Raises BadInput (code "does-not-divide"), saying what is left over."""
    count, left = divmod(quantity, pack.content)
    if left:
        raise field_error(
            field,
            f"{_said(quantity, pack.unit)} does not divide into whole packages: {plain(count)} × {pack} and "
            f"{_said(left, pack.unit)} left over. Take {_said(count * pack.content, pack.unit)} or "
            f"{_said((count + 1) * pack.content, pack.unit)}.",
            code="does-not-divide",
        )
    return int(count)


_TYPED = re.compile(r"\s*([0-9.,'\u00a0 ]*[0-9.,])\s*(?:×|x|\*)?\s*([^\W\d_][^\d]*?)(?:\s+of\b.*)?\s*", re.IGNORECASE)


def typed(text: str, unit: str, packs: Iterable[Pack], *, decimal_comma: bool, field: str = "quantity") -> Decimal:
    """A quantity as somebody types it for a part: "75", "75 ml", or in one of its packages, "3 tubes", "2 box of 50".

    Raises BadInput: also when two packages go by that name, or none does.
    """
    found = _TYPED.fullmatch(text)
    symbol = units.unit(unit).symbol
    if not found or found[2].lower() in (symbol.lower(), units.unit(unit).name):
        number = found[1] if found else text
        return positive(parse_decimal(number, decimal_comma=decimal_comma, field=field), unit, field=field)
    count = parse_decimal(found[1], decimal_comma=decimal_comma, field=field)
    word = found[2].strip().lower()
    known = list(packs)
    named = [p for p in known if word in (p.name.lower(), f"{p.name.lower()}s", f"{p.name.lower()}es")]
    if len(named) > 1:
        wanted = " ".join(text.lower().split())
        named = [p for p in named if wanted.endswith(str(p).lower())]
    if len(named) != 1:
        there = ", ".join(map(str, known)) or "none"
        raise field_error(
            field,
            f"“{found[2].strip()[:40]}” is no package of this part. Give the quantity in {symbol}, or in one of its packages: "
            f"{there}.",
            code="unknown-package",
        )
    return unpacked(count, named[0], field=field)


def _said(quantity: Decimal, unit: str, *, always: bool = False) -> str:
    bare = unit == "C62" and not always
    return plain(quantity) if bare else f"{plain(quantity)} {units.unit(unit).symbol}"
