"""Columns of the tables: their headings, and how a cell of text becomes a value. No ORM."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from shop.kernel.decimals import parse_decimal
from shop.kernel.errors import BadInput, field_error

YES: Final = {"yes", "y", "1", "true", "x", "ja"}
NO: Final = {"no", "n", "0", "false", "", "nein"}
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:T00:00:00)?")
_DAY_FIRST = re.compile(r"(\d{1,2})[./](\d{1,2})[./](\d{4})")
_WHOLE = re.compile(r"[0-9]{1,9}")

Reader = Callable[[str, bool], Any]


@dataclass(frozen=True)
class Column:
    """`name` heads the column; `read` gets the cell and whether the file has decimal commas. Raises BadInput."""

    name: str
    read: Reader
    required: bool = False
    hint: str = ""


def text(cell: str, comma: bool) -> str:
    return cell.strip()


def number(cell: str, comma: bool) -> Decimal | None:
    return parse_decimal(cell.strip(), decimal_comma=comma, field="cell") if cell.strip() else None


def whole(cell: str, comma: bool) -> int | None:
    cell = cell.strip()
    if not cell:
        return None
    if not _WHOLE.fullmatch(cell):
        raise field_error("cell", f"“{cell[:40]}” is not a whole number.")
    return int(cell)


def day(cell: str, comma: bool) -> date | None:
    """2026-11-25, 25.11.2026 or 25/11/2026 (day first)."""
    cell = cell.strip()
    if not cell:
        return None
    if found := _ISO.fullmatch(cell):
        year, month, day_ = map(int, found.groups())
    elif found := _DAY_FIRST.fullmatch(cell):
        day_, month, year = map(int, found.groups())
    else:
        raise field_error("cell", f"“{cell[:40]}” is not a date. Write it as 2026-11-25 or 25.11.2026.")
    try:
        return date(year, month, day_)
    except ValueError as error:
        raise field_error("cell", f"There is no {cell}. Write a date as 2026-11-25 or 25.11.2026.") from error


def flag(cell: str, comma: bool) -> bool:
    word = cell.strip().lower()
    if word in YES:
        return True
    if word in NO:
        return False
    raise field_error("cell", f"“{cell[:40]}” is neither yes nor no.")


def words(cell: str, comma: bool) -> list[str]:
    return cell.replace(",", " ").split()


def several(cell: str, comma: bool) -> list[str]:
    """Texts with | between them."""
    return [text for part in cell.split("|") if (text := part.strip())]


def lower(cell: str, comma: bool) -> str:
    return cell.strip().lower()


def upper(cell: str, comma: bool) -> str:
    return cell.strip().upper()


def match(header: list[str], columns: tuple[Column, ...]) -> dict[str, int]:
    """{column name: place in the file}. Raises BadInput for an unknown, doubled or missing heading."""
    known = {c.name: c for c in columns}
    places: dict[str, int] = {}
    for place, heading in enumerate(header):
        name = heading.strip().lower().replace(" ", "_")
        if name not in known:
            raise field_error(
                "file",
                f"The column “{heading[:40]}” is not known here. Columns are: {', '.join(known)}.",
                code="unknown-column",
            )
        if name in places:
            raise field_error("file", f"The column “{heading[:40]}” is there twice.", code="doubled-column")
        places[name] = place
    missing = [c.name for c in columns if c.required and c.name not in places]
    if missing:
        raise field_error("file", f"These columns are missing: {', '.join(missing)}.", code="missing-column")
    return places


def values_of(
    row: list[str], places: Mapping[str, int], columns: tuple[Column, ...], comma: bool
) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """The values of one row, and what is wrong by column. Empty cells of columns that aren't required are left out."""
    values: dict[str, Any] = {}
    wrong: dict[str, list[str]] = {}
    for column in columns:
        place = places.get(column.name)
        if place is None:
            continue
        cell = row[place]
        if not cell.strip():
            if column.required:
                wrong[column.name] = ["This can't be left empty."]
            continue
        try:
            values[column.name] = column.read(cell, comma)
        except BadInput as error:
            wrong[column.name] = [error.message]
    return values, wrong
