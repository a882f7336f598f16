"""Charges that go with a part's line: core deposits and environmental charges. They have its quantity, stage and pricing, and
the customer's word on it. The rules are the same for estimates and invoices."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from shop.kernel.errors import BadInput, field_error

from . import pricing

FOLLOWED = ("quantity", "unit", "stage_id", "pricing", "optional")
ZERO = Decimal(0)


def put_together(items: Sequence[Any], rows: Sequence[Any]) -> None:
    """Let the rows made of priced items name each other as the items do; `rows` in the order of `items`."""
    by_item = {id(item): row for item, row in zip(items, rows, strict=True)}
    for item, row in zip(items, rows, strict=True):
        if item.accompanies is not None:
            row.accompanies = by_item[id(item.accompanies)]


def keep(rows: Sequence[Any]) -> None:
    """Write new rows of one table: parts before the charges that name them."""
    if rows:
        table = type(rows[0]).objects
        table.bulk_create(x for x in rows if x.accompanies is None)
        table.bulk_create(x for x in rows if x.accompanies is not None)


def follow(lines: Iterable[Any]) -> list[Any]:
    """Give charges the quantity, unit, stage and pricing of their part's line. Answers those of which nothing is left: they go.

    `basis["less"]` of a charge says how much of the part's quantity isn't charged."""
    listed = list(lines)
    by_id = {x.pk: x for x in listed if x.pk}
    gone = []
    for line in listed:
        part = by_id.get(line.accompanies_id) if line.pk else line.accompanies
        if part is None:
            continue
        before = line.quantity
        for name in FOLLOWED:
            if hasattr(line, name):
                setattr(line, name, getattr(part, name))
        line.quantity = part.quantity - Decimal(line.basis.get("less", "0"))
        if line.cost is not None and before:
            line.cost = pricing.for_quantity(line.cost, before, line.quantity)
        if line.quantity <= 0:
            gone.append(line)
    return gone


def refuse_apart(line: Any, given: Mapping[str, Any]) -> None:
    """Raises BadInput when a charge is given a quantity, stage or the like of its own, or when the kind of a part's line or
    of its charge would change."""
    if line.pk is None:
        return
    if line.accompanies_id is not None:
        for name in FOLLOWED:
            if name in given and given[name] != getattr(line, name):
                raise field_error(
                    name, "This charge goes with its part's line: change it there.", code="goes-with-part"
                )
    together = line.accompanies_id is not None or line.charges.exists()
    if "kind" in given and given["kind"] != line.kind and together:
        raise field_error(
            "kind", "This line and a part's line go together. Remove it and add another instead.", code="goes-with-part"
        )


def with_charges(answers: Mapping[int, bool], accompanies: Mapping[int, int | None]) -> dict[int, bool]:
    """The customer's word by line, the charges having that of their part. `accompanies`: for each line the part's line that
    it goes with. Raises BadInput where a charge is answered by itself."""
    for line, word in answers.items():
        part = accompanies.get(line)
        if part is not None and answers.get(part) is not word:
            raise BadInput(
                "A charge goes with its part: answer the part's line, and the charge has the same answer.",
                code="goes-with-part",
                fields={"answers": ["names a charge without its part, or with another answer"]},
            )
    also = {line: answers[part] for line, part in accompanies.items() if part is not None and part in answers}
    return dict(answers) | also
