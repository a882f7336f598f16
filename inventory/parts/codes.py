"""Which part a scanned code may stand for, by the code alone."""

from __future__ import annotations

from datetime import date

from shop.kernel import gs1
from shop.kernel.errors import BadInput


def part_codes(code: str, today: date) -> tuple[list[str], str]:
    """The barcodes or numbers that a code may stand for, likeliest first, and the batch that a GS1 code names.

    A GS1 code holds a GTIN of 14 digits; catalogues list it with 13, 12 or 8. An unreadable GS1 code stands for itself.
    """
    code = code.strip()
    if not gs1.looks_like_gs1(code):
        return ([code] if code else []), ""
    try:
        read = gs1.parse(code, today)
    except BadInput:
        return [code], ""
    if read.gtin is None:
        return [], read.batch or ""
    short = read.gtin.lstrip("0")
    lengths = [n for n in (13, 12, 8) if len(short) <= n]
    return [read.gtin, *(short.rjust(n, "0") for n in lengths)], read.batch or ""
