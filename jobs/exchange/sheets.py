"""Files of rows, read and written: CSV (UTF-8 with or without BOM; comma, semicolon or tab) and XLSX. No ORM."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from shop.kernel.decimals import plain
from shop.kernel.errors import BadInput, field_error
from shop.kernel.text import csv_safe

MOST_BYTES: Final = 15 * 1024 * 1024
MOST_UNPACKED: Final = 200 * 1024 * 1024
MOST_ROWS: Final = 50_000
MOST_COLUMNS: Final = 60
DELIMITERS: Final = (";", "\t", ",")


@dataclass(frozen=True)
class Sheet:
    """Header and rows as text. `lines` holds the number that a spreadsheet shows beside each row."""

    header: list[str]
    rows: list[list[str]]
    lines: list[int]
    semicolons: bool = False


def read(name: str, raw: bytes) -> Sheet:
    """The first sheet of a file. Raises BadInput (field "file") saying what to do about it."""
    if not raw:
        raise field_error("file", "This file is empty. Export it again from where it comes from.")
    if len(raw) > MOST_BYTES:
        raise field_error("file", "This file is larger than 15 MB. Split it into parts.", code="too-large")
    if raw[:4] == b"PK\x03\x04":
        return _checked(_xlsx(raw), False)
    if raw[:4] == b"\xd0\xcf\x11\xe0":
        raise field_error("file", "This is an old .xls file. Save it as .xlsx or as CSV in UTF-8.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise field_error(
            "file", "This is neither XLSX nor text in UTF-8. Save it as “CSV UTF-8” or as XLSX."
        ) from error
    if "\x00" in text:
        raise field_error("file", "This is not a table of text. Save it as “CSV UTF-8” or as XLSX.")
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        return _checked(((reader.line_num, row) for row in reader), delimiter == ";")
    except csv.Error as error:
        raise field_error("file", f"Line {reader.line_num} can't be read as CSV: {error}.") from error


def _xlsx(raw: bytes) -> Iterator[tuple[int, list[str]]]:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            if sum(entry.file_size for entry in packed.infolist()) > MOST_UNPACKED:
                raise field_error(
                    "file", "This workbook is too large when unpacked. Split it into parts.", code="too-large"
                )
        from openpyxl import load_workbook  # loads numpy where it finds it: only who needs it pays

        book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        for number, row in enumerate(sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS + 1), start=1):
            yield number, [_cell(value) for value in row]
    except BadInput:
        raise
    except Exception as error:  # openpyxl raises what its parsers raise
        raise field_error("file", "This workbook can't be opened. Save it again as XLSX, or as “CSV UTF-8”.") from error


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # what the person sees in the cell; repr is the shortest text of that number
        return plain(Decimal(repr(value))) if value == value and abs(value) != float("inf") else str(value)
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == datetime.min.time() else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


def _checked(found: Iterable[tuple[int, list[str]]], semicolons: bool) -> Sheet:
    header: list[str] | None = None
    rows: list[list[str]] = []
    lines: list[int] = []
    for number, row in found:
        if not any(cell.strip() for cell in row):
            continue
        if header is None:
            header = [cell.strip() for cell in row]
            while header and not header[-1]:
                header.pop()
            continue
        if len(rows) == MOST_ROWS:
            raise field_error(
                "file", f"This file has more than {MOST_ROWS:,} rows. Split it into parts.", code="too-large"
            )
        if len(row) > len(header) and any(cell.strip() for cell in row[len(header) :]):
            raise field_error(
                "file", f"Row {number} has more columns than the heading. Put texts with a comma in quotes."
            )
        rows.append([*row, *[""] * (len(header) - len(row))][: len(header)])
        lines.append(number)
    if not header:
        raise field_error("file", "This file has no heading row. Its first row names the columns.")
    if len(header) > MOST_COLUMNS:
        raise field_error("file", f"This file has more than {MOST_COLUMNS} columns.")
    if not rows:
        raise field_error("file", "This file has a heading but no rows.")
    return Sheet(header, rows, lines, semicolons)


def write_xlsx(title: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A workbook with one sheet. Texts stay texts, so nothing in it is run as a formula."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet(title[:31])
    sheet.append(list(header))
    for row in rows:
        sheet.append([value if isinstance(value, int | Decimal | date) else csv_safe(value) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
