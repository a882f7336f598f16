"""How long a supplier really takes, on plain values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

LATEST = 12  # deliveries that count: a supplier that got better should look better


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Days from sending an order to its deliveries. `usual` is the median, `careful` what nine of ten kept (nearest rank)."""

    deliveries: int
    usual: int
    careful: int
    longest: int

    @property
    def words(self) -> str:
        if self.deliveries == 1:
            return f"{_days(self.usual)} the one time it was ordered"
        if self.usual == self.longest:
            return f"{_days(self.usual)} each of the last {self.deliveries} times"
        return f"usually {_days(self.usual)}, {self.longest} at worst in the last {self.deliveries} deliveries"


def observed(days: Iterable[int]) -> LeadTime | None:
    """What the last deliveries took, the latest first; None without any."""
    latest = sorted([d for _, d in zip(range(LATEST), days, strict=False)])
    if not latest:
        return None
    n = len(latest)
    return LeadTime(n, latest[(n + 1) // 2 - 1], latest[-(-9 * n // 10) - 1], latest[-1])


def _days(n: int) -> str:
    return "1 day" if n == 1 else f"{n} days"
