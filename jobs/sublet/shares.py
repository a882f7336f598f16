"""What was charged for a stage, shared over the lines that bill it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from shop.kernel.money import Money, split


def shared(charged: Decimal, currency: str, nets: Mapping[int, Decimal]) -> dict[int, Decimal]:
    """`charged` by line, in proportion to what each line asks for (equally, when none asks for anything), to the minor unit
    and adding up to it again. A net below zero counts as nothing."""
    if not nets:
        return {}
    weights = [max(x, Decimal(0)) for x in nets.values()]
    if not any(weights):
        weights = [Decimal(1)] * len(weights)
    parts = split(Money(charged, currency).rounded(), weights)
    return {key: part.amount for key, part in zip(nets, parts, strict=True)}
