"""What suppliers charge that rooms above record themselves, so that the same invoice is never recorded twice.

REFUSING.append(refuse_recorded)   # in AppConfig.ready(); (supplier, number) raises BadInput for a number that stands there
"""

from __future__ import annotations

from collections.abc import Callable

from .models import Supplier

REFUSING: list[Callable[[Supplier, str], None]] = []


def refuse_recorded(supplier: Supplier, number: str) -> None:
    """Raises BadInput (number) when a room above has recorded an invoice of this number of theirs. The supplier is locked."""
    for refuse in REFUSING:
        refuse(supplier, number)
