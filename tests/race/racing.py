"""Many at once: real threads with their own database connections, let go together."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from django.db import connection

from shop.kernel.errors import DomainError


def race(works: Sequence[Callable[[], Any]]) -> list[Any]:
    """Run all `works` at once; each one's result or exception, in their order."""
    gate = threading.Barrier(len(works))
    results: list[Any] = [None] * len(works)

    def one(n: int, work: Callable[[], Any]) -> None:
        try:
            connection.ensure_connection()
            gate.wait(timeout=30)
            results[n] = work()
        except Exception as error:  # the test looks at it
            results[n] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=one, args=(n, work)) for n, work in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not any(thread.is_alive() for thread in threads), "somebody waits for ever"
    return results


def outcomes(results: Sequence[Any]) -> Counter[str]:
    """How many succeeded ("done"), were refused in words ("refused"), or broke (the exception's name)."""
    return Counter(
        "refused" if isinstance(r, DomainError) else type(r).__name__ if isinstance(r, Exception) else "done"
        for r in results
    )
