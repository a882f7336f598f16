from __future__ import annotations

from shop.kernel.writing import in_write

from .models import Counter


def take(series: str, year: int, many: int = 1) -> int:
    """The next number of `series` in `year`, from 1; with `many` the first of so many. Only inside a write: the row stays
    locked until its commit, so a rolled-back document gives its number back and the series has no gap."""
    if not in_write():
        raise RuntimeError("take a number inside the action that uses it")
    Counter.objects.bulk_create([Counter(series=series, year=year)], ignore_conflicts=True)
    counter = Counter.objects.select_for_update().get(series=series, year=year)
    counter.last += many
    counter.save(update_fields=["last"])
    return counter.last - many + 1


def number(prefix: str, series: str, year: int) -> str:
    """A printed number such as "26-0031" (prefix "") or "INV-26-0031"."""
    return numbers(prefix, series, year, 1)[0]


def numbers(prefix: str, series: str, year: int, many: int) -> list[str]:
    """`many` printed numbers in a row."""
    first = take(series, year, many)
    values = [f"{year % 100:02d}-{n:04d}" for n in range(first, first + many)]
    return [f"{prefix}-{value}" for value in values] if prefix else values
