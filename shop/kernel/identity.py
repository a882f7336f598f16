"""Check digits of numbers that others have given: VIN, GTIN, IBAN, VAT number.

All of them tell only whether a number can be right as written. None tells whether it exists or whose it is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from stdnum import iban, numdb
from stdnum.exceptions import InvalidChecksum, InvalidFormat, InvalidLength, ValidationError
from stdnum.util import get_cc_module


class Verdict(StrEnum):
    """What a check came to. UNKNOWN: there is no rule to check by, which is no fault of the number."""

    GOOD = "good"
    BAD = "bad"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Checked:
    """`number` is the cleaned number, `reason` the finding in plain words."""

    verdict: Verdict
    number: str
    reason: str

    @property
    def ok(self) -> bool:
        """True only if the check was made and passed."""
        return self.verdict is Verdict.GOOD


_LONGEST: Final = 64
_SEPARATORS = re.compile(r"[\s.\-/\u2010-\u2015\u00a0]+")


def _clean(text: str) -> str:
    return _SEPARATORS.sub("", text[: 4 * _LONGEST]).upper()[:_LONGEST]


# 49 CFR 565.15(c), tables III and IV
_VIN_VALUES: Final = {str(n): n for n in range(10)} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", [*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)], strict=True)
)
_VIN_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def vin_check_digit(vin: str) -> str:
    """The check digit (0-9 or X) for 17 characters, whatever stands in position 9 (49 CFR 565.15(c)).

    Raises ValueError unless there are 17 characters of the VIN alphabet; position 9 may be any character.
    """
    if len(vin) != 17:
        raise ValueError("a VIN has 17 characters")
    try:
        weighed = sum(_VIN_VALUES[c] * w for c, w in zip(vin, _VIN_WEIGHTS, strict=True) if w)
    except KeyError as error:
        raise ValueError(f"{error.args[0]} does not occur in a VIN") from None
    return "0123456789X"[weighed % 11]


def check_vin(text: str) -> Checked:
    """For information only, never a reason to refuse: the check digit binds in North America and China, and
    older machines, engines and small craft have numbers of other kinds."""
    vin = _clean(text)
    note = "It can be kept as it is."
    if len(vin) != 17:
        return Checked(Verdict.BAD, vin, f"A VIN has 17 characters, this has {len(vin)}. {note}")
    strange = sorted({c for c in vin if c not in _VIN_VALUES})
    if strange:
        hint = " I, O and Q are not used; often 1 or 0 is meant." if set(strange) & set("IOQ") else ""
        return Checked(Verdict.BAD, vin, f"{', '.join(strange)} does not occur in a VIN.{hint} {note}")
    right = vin_check_digit(vin)
    if vin[8] == right:
        return Checked(Verdict.GOOD, vin, "The check digit is right.")
    return Checked(
        Verdict.BAD,
        vin,
        f"By the North American rule the 9th character would be {right}, not {vin[8]}. "
        f"Elsewhere it need not be: compare with the plate. {note}",
    )


def gtin_check_digit(digits: str) -> str:
    """The GS1 check digit for the digits before it: weights 3, 1, 3 ... from the right.

    Raises ValueError unless given digits only.
    """
    if not (digits.isascii() and digits.isdigit()):
        raise ValueError("digits only")
    weighed = sum(int(c) * (3, 1)[i % 2] for i, c in enumerate(reversed(digits)))
    return str(-weighed % 10)


def check_gtin(text: str) -> Checked:
    """A GTIN of 8, 12, 13 or 14 digits (EAN, UPC)."""
    gtin = _clean(text)
    if not (gtin.isascii() and gtin.isdigit()):
        return Checked(Verdict.BAD, gtin, "A GTIN has digits only.")
    if len(gtin) not in (8, 12, 13, 14):
        return Checked(Verdict.BAD, gtin, f"A GTIN has 8, 12, 13 or 14 digits, this has {len(gtin)}.")
    if gtin_check_digit(gtin[:-1]) != gtin[-1]:
        return Checked(Verdict.BAD, gtin, "The check digit is wrong: a digit was misread or two were swapped.")
    return Checked(Verdict.GOOD, gtin, "The check digit is right.")


def _iban_length(number: str) -> int:
    """Characters of an IBAN of the number's country; 0 for an unknown country."""
    found = numdb.get("iban").info(number[:2])
    facts = found[0][1] if found else {}
    return 4 + sum(int(n) for n in re.findall(r"([0-9]+)!", facts["bban"])) if "bban" in facts else 0


def check_iban(text: str) -> Checked:
    """An IBAN: country's length and form, check digits (ISO 13616, mod 97)."""
    number = _clean(text)
    note = "This says nothing about whether the account exists."
    length = _iban_length(number)
    if not length:
        return Checked(Verdict.BAD, number, "An IBAN starts with the two letters of its country, like DE or GB.")
    if len(number) != length:
        return Checked(Verdict.BAD, number, f"An IBAN of {number[:2]} has {length} characters, this has {len(number)}.")
    try:
        return Checked(Verdict.GOOD, iban.validate(number), f"Form and check digits are right. {note}")
    except InvalidChecksum:
        reason = "The check digits are wrong: a digit was mistyped or two were swapped."
    except (ValidationError, ValueError):
        reason = "This does not have the form of an IBAN of a known country."
    return Checked(Verdict.BAD, number, reason)


_VAT_NOTE: Final = "This checks form and checksum only, not whether the number is registered."
# VAT prefixes that differ from the country's ISO 3166-1 code
_PREFIX_COUNTRY: Final = {"EL": "GR", "XI": "GB"}


def clean_vat(text: str) -> str:
    """Upper case, without spaces, dots, dashes and slashes."""
    return _clean(text)


def check_vat(text: str, country: str = "") -> Checked:
    """A VAT number with its country prefix, or `country` (ISO 3166-1 alpha-2) where it is written without.

    Form and checksum only, by python-stdnum's rules; UNKNOWN for a country it has no VAT rule for.
    """
    number = clean_vat(text)
    if not number:
        return Checked(Verdict.BAD, number, "There is no number.")
    where = _clean(country)
    prefix = number[:2]
    if not where:
        if not (prefix.isascii() and prefix.isalpha() and len(number) > 2):
            return Checked(Verdict.BAD, number, "A VAT number starts with two letters for its country, like DE or FR.")
        where = prefix
    where = _PREFIX_COUNTRY.get(where, where)
    module = get_cc_module(where.lower(), "vat") if re.fullmatch("[A-Z]{2}", where, re.ASCII) else None
    if module is None:
        return Checked(Verdict.UNKNOWN, number, f"There is no rule here to check a VAT number of {where[:2]} by.")
    bare = number[2:] if _PREFIX_COUNTRY.get(prefix, prefix) == where else number
    # Some countries' own rules want the prefix as part of the number (CH: CHE...), most are content without
    for candidate in dict.fromkeys((number, bare)):
        try:
            module.validate(candidate)
        except InvalidChecksum:
            reason = "The checksum is wrong: a digit was mistyped or two were swapped."
        except InvalidLength:
            reason = f"The length is wrong for a VAT number of {where}."
        except InvalidFormat:
            reason = f"This does not have the form of a VAT number of {where}."
        except (ValidationError, ValueError):
            reason = f"This can't be a VAT number of {where}."
        else:
            return Checked(Verdict.GOOD, number, f"Form and checksum are right. {_VAT_NOTE}")
    return Checked(Verdict.BAD, number, f"{reason} {_VAT_NOTE}")
