from __future__ import annotations

from shop.kernel.writing import in_write

from .models import Counter


def take(series: str, year: int) -> int:
    """The next number of `series` in `year`, from 1. Only inside a write: the row stays locked until its commit, so a
    rolled-back document gives its number back and the series has no gap."""
    if not in_write():
        raise RuntimeError("take a number inside the action that uses it")
    Counter.objects.bulk_create([Counter(series=series, year=year)], ignore_conflicts=True)
    counter = Counter.objects.select_for_update().get(series=series, year=year)
    counter.last += 1
    counter.save(update_fields=["last"])
    return counter.last


def number(prefix: str, series: str, year: int) -> str:
    """A printed number such as "26-0031" (prefix "") or "INV-26-0031"."""
    value = f"{year % 100:02d}-{take(series, year):04d}"
    return f"{prefix}-{value}" if prefix else value
