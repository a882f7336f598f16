"""What a barcode is: a GTIN with a right check digit, or a text of somebody's own. Plain values."""

from __future__ import annotations

from dataclasses import dataclass

from shop.kernel.errors import field_error
from shop.kernel.identity import check_gtin, gtin_check_digit
from shop.kernel.text import clean_line

LONGEST = 48
GTIN_LENGTHS = (8, 12, 13, 14)
SURE_LENGTHS = (12, 13, 14)  # eight digits are as often a number of somebody's own


@dataclass(frozen=True, slots=True)
class Read:
    """`key` is the same for all ways to write one code: a GTIN has it with 14 digits, as in a GS1 code."""

    code: str
    key: str
    is_gtin: bool


def read(text: str, *, plain: bool = False, field: str = "code") -> Read:
    """A code as it was scanned or typed. `plain`: it is known to be no GTIN, so no check digit is looked for.

    Raises BadInput (codes "blank", "too-long", "bad-gtin": 12 to 14 digits of which the last does not fit the others).
    GTIN: GS1 General Specifications, section 7.9.
    """
    code = clean_line(text, field=field, required=True, max_length=LONGEST)
    digits = code.replace(" ", "")
    if plain or not (digits.isascii() and digits.isdigit() and len(digits) in GTIN_LENGTHS):
        return Read(code, code, is_gtin=False)
    if check_gtin(digits).ok:
        return Read(digits, digits.zfill(14), is_gtin=True)
    if len(digits) not in SURE_LENGTHS:
        return Read(code, code, is_gtin=False)
    raise field_error(
        field,
        f"{digits} is no GTIN: its last digit would be {gtin_check_digit(digits[:-1])}. Scan it again; if it is a number "
        "of somebody's own and no GTIN, say so.",
        code="bad-gtin",
    )


def keys(text: str) -> set[str]:
    """Under which keys a scanned code may be kept."""
    code = text.strip()
    digits = code.replace(" ", "")
    found = {code}
    if digits.isascii() and digits.isdigit() and len(digits) in GTIN_LENGTHS and check_gtin(digits).ok:
        found.add(digits.zfill(14))
    return found
