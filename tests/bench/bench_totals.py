"""How long the totals of a very long document take, beside the bare Decimal arithmetic they can't do without.

Run: python -m tests.bench.bench_totals
"""

from __future__ import annotations

import time
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal

from shop.kernel.totals import Adjustment, Line, Vat, compute

LINES = 10_000
CENT = Decimal("0.01")


def best_of(times: int, work: Callable[[], object]) -> float:
    """Shortest run in milliseconds."""
    runs = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        runs.append((time.perf_counter() - start) * 1000)
    return min(runs)


def main() -> None:
    """Print milliseconds and the ratio."""
    vats = [Vat("S", Decimal(19)), Vat("S", Decimal(7)), Vat("Z")]
    lines = [
        Line(
            Decimal(n % 97 + 1) / 8,
            Decimal(n % 991) / 100,
            vats[n % 3],
            Decimal(100) if n % 5 == 0 else Decimal(1),
        )
        for n in range(LINES)
    ]
    adjustments = [Adjustment(Decimal("25.00"), vats[0])]

    def bare() -> Decimal:
        total = Decimal(0)
        for line in lines:
            total += (line.quantity * line.price / line.base_quantity).quantize(CENT, ROUND_HALF_UP)
        return total

    ours, least = best_of(5, lambda: compute(lines, "EUR", adjustments=adjustments)), best_of(5, bare)
    print(f"{LINES} lines: totals {ours:.1f} ms, bare arithmetic {least:.1f} ms, ratio {ours / least:.1f}")


if __name__ == "__main__":
    main()
