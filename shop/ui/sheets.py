"""Tables as CSV, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from django.http import HttpResponse

from shop.kernel.text import csv_safe


def write_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """CSV lines, UTF-8 with BOM so that spreadsheets know it; cells that look like formulas are made harmless."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer)
    buffer.write("\ufeff")
    writer.writerow(header)
    for row in rows:
        writer.writerow([csv_safe(value) for value in row])
        yield buffer.getvalue()
        buffer.seek(0)
        buffer.truncate()
    yield buffer.getvalue()


def csv_file(name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponse:
    """The table as a file to be kept; `name` without its ending."""
    content = b"".join(line.encode() for line in write_csv(header, rows))
    response = HttpResponse(content, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    response["X-Content-Type-Options"] = "nosniff"
    return response
