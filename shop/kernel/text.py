"""Text as people type or paste it, made fit to keep, show and export."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from decimal import Decimal
from typing import Final

from shop.kernel.errors import field_error

LINE_LENGTH: Final = 200
TEXT_LENGTH: Final = 10_000

# Embeddings, overrides and isolates (UAX #9) reorder what stands after them, so a part number or amount could
# read as another; plain right-to-left letters need none of them. The byte order mark goes too.
_REORDERING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
_LINE_ENDS = re.compile("\r\n|[\r\u0085\u2028\u2029\u000b\u000c]")
_SPACES = re.compile(r"\s+")


def clean_line(text: str, *, field: str = "text", required: bool = False, max_length: int = LINE_LENGTH) -> str:
    """One line: NFC, no control or text-reordering characters, runs of white space to one space, trimmed.

    Raises BadInput (codes "blank", "too-long"). Length is counted in characters after cleaning.
    """
    _bound(text, max_length, field)
    return _checked(_SPACES.sub(" ", _strip(text)).strip(), field, required, max_length)


def clean_text(text: str, *, field: str = "text", required: bool = False, max_length: int = TEXT_LENGTH) -> str:
    """Many lines: as clean_line, but line breaks (as newline) and tabs stay; trailing white space goes.

    Raises BadInput (codes "blank", "too-long").
    """
    _bound(text, max_length, field)
    lines = [line.rstrip() for line in _strip(text).split("\n")]
    return _checked("\n".join(lines).strip("\n"), field, required, max_length)


def _strip(text: str) -> str:
    text = _LINE_ENDS.sub("\n", text)
    if not text.isascii():
        text = unicodedata.normalize("NFC", text)
    return "".join(c for c in text if not _is_unwanted(c))


def _is_unwanted(char: str) -> bool:
    if char in "\n\t":
        return False
    # Cc: control; Cs: half of a surrogate pair, which no database takes; U+xFFFE/F are not characters
    return char in _REORDERING or unicodedata.category(char) in {"Cc", "Cs"} or (ord(char) & 0xFFFE) == 0xFFFE


def is_blank(text: str) -> bool:
    """Whether nothing in it can be seen: spaces, format characters, lone combining marks only."""
    return all(c.isspace() or unicodedata.category(c) in {"Cf", "Cc", "Mn", "Me", "Zs"} for c in text)


def _bound(text: str, max_length: int, field: str) -> None:
    """Refuse absurd lengths before any work is spent on them."""
    if len(text) > 4 * max_length + 1000:
        raise _too_long(field, len(text), max_length)


def _checked(text: str, field: str, required: bool, max_length: int) -> str:
    if is_blank(text):
        if required:
            raise field_error(field, "This can't be left empty.", code="blank")
        return ""
    if len(text) > max_length:
        raise _too_long(field, len(text), max_length)
    return text


def _too_long(field: str, length: int, max_length: int) -> Exception:
    return field_error(field, f"This has {length} characters, at most {max_length} fit. Shorten it.", code="too-long")


# What spreadsheet programs take for the start of a formula, with the full-width forms some of them accept
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_NUMBER = re.compile(r"-[0-9]+([.,][0-9]+)*", re.ASCII)


def csv_safe(value: object) -> str:
    """The value as the text of a CSV cell that no spreadsheet runs as a formula.

    Text that starts like a formula gets an apostrophe in front; a plain negative number stays a number. None
    is empty, Decimals come without exponent, dates in ISO 8601.
    """
    if value is None:
        return ""
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, date | datetime):
        return value.isoformat()
    text = str(value)
    if text.startswith(_FORMULA_STARTS) and not _NUMBER.fullmatch(text):
        return "'" + text
    return text
