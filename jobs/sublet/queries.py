"""Reads of the sublet room."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet, Sum
from django.utils.timezone import localdate

from inventory.buying.models import Supplier
from jobs.cards.models import Stage
from jobs.estimates import queries as estimates
from jobs.estimates.models import LineKind
from shop.kernel.errors import field_error

from .models import SubletBill

ZERO = Decimal(0)
SENT_OUT = "sublet"  # the kind of stage that an outside firm does
STANDS = Q(reverses__isnull=True, reversal__isnull=True)


def bills(
    *, card_id: int | None = None, stage_id: int | None = None, supplier_id: int | None = None, number: str = ""
) -> QuerySet[SubletBill]:
    """What outside firms charged, and what was taken back. `number`: whole, in any case."""
    rows = SubletBill.objects.select_related("stage__card", "supplier", "by", "reverses", "reversal")
    if card_id is not None:
        rows = rows.filter(stage__card=card_id)
    if stage_id is not None:
        rows = rows.filter(stage=stage_id)
    if supplier_id is not None:
        rows = rows.filter(supplier=supplier_id)
    if number:
        rows = rows.filter(number__iexact=number)
    return rows


def bill(pk: int) -> SubletBill | None:
    return bills().filter(pk=pk).first()


def refuse_recorded(supplier: Supplier, number: str) -> None:
    """Raises BadInput (number) when their invoice of this number stands at a stage. The supplier is locked."""
    other = bills(supplier_id=supplier.pk, number=number).filter(STANDS).first()
    if other is not None:
        raise field_error(
            "number",
            f"Invoice {number} of {supplier.name} was recorded on {localdate(other.at)} by {other.by} for card "
            f"{other.stage.card}. If that was wrong, take it back there; if one invoice of theirs is for several stages, record "
            f"the share of each with a letter behind the number, such as {number[:56]}-b.",
            code="bill-twice",
        )


def charged(card_id: int) -> dict[int, Decimal]:
    """Net of what stands, by stage; a stage without a standing bill is left out."""
    rows = SubletBill.objects.filter(stage__card=card_id, reverses__isnull=True, reversal__isnull=True)
    return dict(rows.order_by().values_list("stage").annotate(Sum("net")))


def costs_of_cards(
    cards: QuerySet[Any] | Iterable[int], before: datetime | None = None
) -> dict[int, list[tuple[datetime, Decimal]]]:
    """(moment, net) of all that was charged for these cards and taken back, by card."""
    rows = SubletBill.objects.filter(stage__card__in=cards)
    if before is not None:
        rows = rows.filter(at__lt=before)
    found: dict[int, list[tuple[datetime, Decimal]]] = {}
    for card, at, net in rows.order_by("id").values_list("stage__card", "at", "net"):
        found.setdefault(card, []).append((at, net))
    return found


@dataclass(frozen=True, slots=True)
class SentOut:
    """A stage that was sent out. `expected`: what the lines the customer agreed to count as its cost, None when none says;
    `charged`: net of the bills that stand, None when none does."""

    stage: Stage
    bills: list[SubletBill]
    expected: Decimal | None
    charged: Decimal | None

    @property
    def more(self) -> Decimal | None:
        """What it cost beyond what was expected; below zero: less."""
        return None if self.expected is None or self.charged is None else self.charged - self.expected

    @property
    def less(self) -> Decimal | None:
        return None if self.more is None else -self.more


def of_card(card_id: int, stage_id: int | None = None) -> list[SentOut]:
    """The card's stages of the kind sublet, and any other with a bill, in their order; in a fixed number of queries."""
    listed: dict[int, list[SubletBill]] = {}
    for row in bills(card_id=card_id, stage_id=stage_id).order_by("id"):
        listed.setdefault(row.stage_id, []).append(row)
    rows = Stage.objects.filter(card=card_id).filter(Q(kind=SENT_OUT, removed_at__isnull=True) | Q(pk__in=listed))
    stages = list(rows.filter(pk=stage_id) if stage_id is not None else rows)
    if not stages:
        return []
    expected: dict[int, Decimal] = {}
    for a in estimates.agreed_on_card(card_id):
        line = a.at_price
        if line is not None and line.kind == LineKind.SUBLET and line.stage_id and line.cost is not None:
            expected[line.stage_id] = expected.get(line.stage_id, ZERO) + line.cost
    found = []
    for stage in stages:
        own = listed.get(stage.pk, [])
        standing = [x for x in own if x.reverses_id is None and not hasattr(x, "reversal")]
        net = sum((x.net for x in standing), ZERO) if standing else None
        found.append(SentOut(stage, own, expected.get(stage.pk), net))
    return found
