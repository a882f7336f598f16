"""GS1 element strings: what a scan of a GS1-128, DataMatrix or QR code on a package says.

GS1 General Specifications: application identifiers (AI), FNC1 after values of variable length, dates YYMMDD
with day 00 for the last day of the month, the century of YY by section 7.12. The list of AIs is
python-stdnum's.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from stdnum import numdb

from shop.kernel.errors import BadInput, field_error
from shop.kernel.identity import check_gtin

FNC1: Final = "\x1d"

# ISO/IEC 15424 symbology identifiers that announce GS1 data: GS1-128, DataBar, DataMatrix, QR, DotCode
_GS1_PREFIXES: Final = ("]C1", "]e0", "]d2", "]Q3", "]J1")
# ... and that announce a plain EAN/UPC number
_EAN_PREFIXES: Final = ("]E0", "]E4")
_BRACKETED = re.compile(r"\(([0-9]{2,4})\)")
# GS1 character set 82
_ALLOWED = re.compile(r"""[!"%&'()*+,\-./0-9:;<=>?A-Z_a-z]+""", re.ASCII)
_HEAD = re.compile(r"[0-9]{2,4}", re.ASCII)
_LONGEST: Final = 400

Value = str | date | Decimal | int


@dataclass(frozen=True, slots=True)
class Elements:
    """What was read, by AI. 310n and its like are kept under their four digits ("3103"), in kilograms, metres
    ..."""

    values: Mapping[str, Value]

    def _text(self, ai: str) -> str | None:
        value = self.values.get(ai)
        return value if isinstance(value, str) else None

    def _date(self, ai: str) -> date | None:
        value = self.values.get(ai)
        return value if isinstance(value, date) else None

    @property
    def gtin(self) -> str | None:
        """AI 01, 14 digits."""
        return self._text("01")

    @property
    def batch(self) -> str | None:
        """AI 10: batch or lot."""
        return self._text("10")

    @property
    def serial(self) -> str | None:
        """AI 21."""
        return self._text("21")

    @property
    def made_on(self) -> date | None:
        """AI 11: production date."""
        return self._date("11")

    @property
    def best_before(self) -> date | None:
        """AI 15."""
        return self._date("15")

    @property
    def expires_on(self) -> date | None:
        """AI 17: the last day it may be used."""
        return self._date("17")

    @property
    def count(self) -> int | None:
        """AI 37, or 30: how many are inside."""
        for ai in ("37", "30"):
            value = self.values.get(ai)
            if isinstance(value, int):
                return value
        return None

    @property
    def net_kilograms(self) -> Decimal | None:
        """AI 310n."""
        for ai, value in self.values.items():
            if ai.startswith("310") and isinstance(value, Decimal):
                return value
        return None


def parse(scan: str, today: date) -> Elements:
    """Read a scan: with or without symbology identifier, FNC1 as GS (0x1D), or typed with brackets
    "(01)...(17)...".

    `today` decides the century of two-digit years. Raises BadInput (code "bad-gs1") saying which part is
    wrong. A value of variable length that isn't closed by FNC1 runs on to the end: scanners must be set to
    send GS.
    """
    text = scan.strip(" \r\n").replace("\u241d", FNC1)
    if len(text) > _LONGEST:
        raise _bad("This is too long for a GS1 code.")
    for prefix in _EAN_PREFIXES:
        if text.startswith(prefix):
            checked = check_gtin(text[len(prefix) :])
            if not checked.ok:
                raise _bad(checked.reason)
            return Elements(MappingProxyType({"01": checked.number.rjust(14, "0")}))
    for prefix in _GS1_PREFIXES:
        if text.startswith(prefix):
            text = text[len(prefix) :]
            break
    if text.startswith("]"):
        raise _bad("The scanner says this is not a GS1 code.")
    text = text.lstrip(FNC1)
    if not text:
        raise _bad("Nothing was read.")
    found: dict[str, Value] = {}
    for ai, raw in _bracketed(text) if text.startswith("(") else _strung(text):
        value = _value(ai, raw, today)
        if found.setdefault(ai, value) != value:
            raise _bad(f"({ai}) is there twice with different values.")
    return Elements(MappingProxyType(found))


def looks_like_gs1(scan: str) -> bool:
    """Whether a scan announces itself as GS1: a symbology identifier, an FNC1, or brackets. No promise it
    parses."""
    text = scan.strip(" \r\n")
    return text.startswith((*_GS1_PREFIXES, *_EAN_PREFIXES, FNC1)) or FNC1 in text or bool(_BRACKETED.match(text))


def read_date(yymmdd: str, today: date) -> date:
    """YYMMDD; day 00 is the last day of the month; the year lies within 49 past and 50 coming years (GS1
    General Specifications 7.12). Raises BadInput (code "bad-gs1") for a day that doesn't exist."""
    if not (len(yymmdd) == 6 and yymmdd.isascii() and yymmdd.isdigit()):
        raise _bad("A date is six digits, YYMMDD.")
    yy, month, day = int(yymmdd[:2]), int(yymmdd[2:4]), int(yymmdd[4:])
    century = today.year - today.year % 100
    ahead = yy - today.year % 100
    if ahead > 50:
        century -= 100
    elif ahead < -49:
        century += 100
    try:
        return date(century + yy, month, day or calendar.monthrange(century + yy, month)[1])
    except (ValueError, calendar.IllegalMonthError):
        raise _bad(f"{yymmdd} is not a date (YYMMDD).") from None


@dataclass(frozen=True, slots=True)
class _Form:
    ai: str
    kind: str
    shortest: int
    longest: int
    numeric: bool
    open_ended: bool


_LENGTHS = re.compile(r"([NXY])(\.\.)?(\d+)")


@lru_cache(maxsize=512)
def _form(head: str) -> _Form | None:
    """The AI that text starting with these (up to four) digits has, with the lengths of its value."""
    ai, facts = numdb.get("gs1_ai").info(head)[0]
    if not facts:
        return None
    shortest = longest = 0
    parts = facts["format"].replace("[", "+[").split("+")
    for part in filter(None, parts):
        matched = _LENGTHS.search(part)
        if matched is None:
            continue
        length = int(matched[3])
        longest += length
        if not part.startswith("[") and "]" not in part:
            shortest += 1 if matched[2] else length
    return _Form(
        ai=ai,
        kind=facts["type"],
        shortest=shortest,
        longest=longest,
        numeric="X" not in facts["format"] and "Y" not in facts["format"],
        open_ended="fnc1" in facts,
    )


def _strung(text: str) -> list[tuple[str, str]]:
    """Cut an element string into (AI, value)."""
    cut: list[tuple[str, str]] = []
    while text:
        form = _known(text[:4])
        text = text[len(form.ai) :]
        if form.open_ended:
            raw, _, rest = text.partition(FNC1)
            if len(raw) > form.longest:
                raise _bad(
                    f"The value of ({form.ai}) is longer than {form.longest}. "
                    "Perhaps the scanner leaves out the separator: set it to send GS (FNC1)."
                )
        else:
            raw, rest = text[: form.longest], text[form.longest :].removeprefix(FNC1)
        cut.append((form.ai, raw))
        text = rest
    return cut


def _bracketed(text: str) -> list[tuple[str, str]]:
    pieces = _BRACKETED.split(text.replace(FNC1, ""))
    if pieces[0] or len(pieces) == 1:
        raise _bad(f"“{text[:6]}” is not a GS1 application identifier in brackets.")
    return [(_exactly(ai), raw.strip()) for ai, raw in zip(pieces[1::2], pieces[2::2], strict=True)]


def _exactly(ai: str) -> str:
    if _known(ai).ai != ai:
        raise _bad(f"({ai}) is not a GS1 application identifier.")
    return ai


def _known(head: str) -> _Form:
    digits = _HEAD.match(head)
    form = _form(digits[0]) if digits else None
    if form is None or not head.startswith(form.ai):
        raise _bad(f"“{head[:4]}” is not the start of a GS1 application identifier.")
    return form


def _value(ai: str, raw: str, today: date) -> Value:
    form = _known(ai)
    if not form.shortest <= len(raw) <= form.longest:
        size = str(form.longest) if form.shortest == form.longest else f"{form.shortest} to {form.longest}"
        raise _bad(f"The value of ({ai}) has {len(raw)} characters instead of {size}.")
    if form.numeric and not (raw.isascii() and raw.isdigit()):
        raise _bad(f"The value of ({ai}) must be digits.")
    if not _ALLOWED.fullmatch(raw):
        raise _bad(f"The value of ({ai}) has a character that GS1 codes don't have.")
    if ai in ("01", "02", "03"):
        return _gtin(raw)
    if form.kind == "date" and form.longest == 6:
        return read_date(raw, today)
    if form.kind == "decimal" and form.numeric and form.longest == 6:
        return Decimal(raw).scaleb(-int(ai[-1]))
    return int(raw) if form.kind == "int" else raw


def _gtin(digits: str) -> str:
    checked = check_gtin(digits)
    if not checked.ok or len(digits) != 14:
        raise _bad(f"GTIN {digits[:14]}: {checked.reason}")
    return digits


def _bad(message: str) -> BadInput:
    return field_error("code", message, code="bad-gs1")
