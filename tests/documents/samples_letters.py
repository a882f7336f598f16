"""Invented letters about a bad lot."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from shop.documents import shapes as sh
from tests.documents.samples import BUSINESS, CUSTOMER


def recall(rows: int = 2) -> sh.Recall:
    return sh.Recall(
        number="L-26-0114", batch="802-2601", date=date(2026, 3, 12), part="CON-802 Anaerobic flange sealant",
        business=BUSINESS, customer=CUSTOMER, what="The sealant of this batch does not cure in the cold.",
        machines=tuple(
            sh.RecalledMachine(
                name="Brindlecote B2", serial=f"B2-{i:05}", card=f"26-{i:04}", date=date(2026, 1, 10),
                qty=Decimal("12.5"), unit="MLT", lot="L-26-0114",
            )
            for i in range(rows)
        ),
    )  # fmt: skip
