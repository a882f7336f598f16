"""The shop as it stands, read for working out what to order: in a constant number of statements, and some for each five
thousand parts. Loaded only then, as it needs numpy."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final

import numpy as np
from django.db.models import F, Max, Q, Sum
from django.db.models.functions import Coalesce

from inventory.parts.models import Part
from inventory.stock.models import Balance, Bin, Lot, StockLevel
from shop.business.queries import profile
from shop.kernel import clock

from . import history, supply
from .known import Known, known_demand
from .models import Proposal, ReorderRule
from .rules import NAMES, Rule, resolve
from .supply import Coming, Source

ZERO: Final = Decimal(0)
Pair = tuple[int, int]  # part, site


@dataclass
class Shop:
    """Everything that is read, by (part, site) or part."""

    pairs: list[Pair]
    history: Any
    parts: dict[int, Any]
    on_hand: dict[Pair, Decimal]
    reserved: dict[Pair, Decimal]
    fading: dict[Pair, list[tuple[date, Decimal]]]
    coming: dict[Pair, list[Coming]]
    known: dict[Pair, list[Known]]
    sources: dict[int, Source]
    costs: dict[int, Decimal]
    rules: dict[Any, Any]
    quiet: set[Pair]
    months: int
    budget: Decimal | None
    kinds: dict[tuple[str, str], int]  # groups of parts alike, numbered
    currency: str

    def rule(self, part_id: int) -> Rule:
        return resolve(self.rules.get(part_id), self.rules.get(self.parts[part_id]["kind"]), self.rules.get(""))


def read() -> Shop:
    """The shop as it stands."""
    today = clock.today()
    months = history.months()
    count = months.count if months else 1
    parts: dict[int, Any] = {
        row["id"]: row
        for row in Part.objects.filter(archived_at__isnull=True).values(
            "id", "number", "kind", "unit", "shelf_life_days", "reorder_point"
        )
    }
    asked = list(history.demand(months)) if months else []
    known, coming = _grouped(known_demand()), _grouped(supply.coming())
    on_hand, reserved = _levels()
    limits = {pair for pair in on_hand if parts.get(pair[0], {}).get("reorder_point") is not None}
    wanted = {(part, site) for part, site, _, _ in asked} | set(known) | limits
    pairs = sorted(pair for pair in wanted if pair[0] in parts)
    at = {pair: n for n, pair in enumerate(pairs)}
    table = np.zeros((len(pairs), count))
    for part, site, month, amount in asked:
        if (part, site) in at:
            table[at[part, site], month] = amount
    rules: dict[Any, Any] = {
        row["part_id"] or row["kind"]: row for row in ReorderRule.objects.values("part_id", "kind", "budget", *NAMES)
    }
    quiet = Proposal.objects.filter(put_off_until__gt=today).values_list("part_id", "site_id")
    return Shop(
        pairs, table, parts, on_hand, reserved, _fading(today), coming, known, supply.sources(), _costs(),
        rules, set(quiet), count, rules.get("", {}).get("budget"),
        {kind: n for n, kind in enumerate(sorted({(row["kind"], row["unit"]) for row in parts.values()}))},
        profile().currency,
    )  # fmt: skip


def _grouped(rows: Any) -> dict[Pair, list[Any]]:
    found: dict[Pair, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.part_id, row.site_id].append(row)
    return found


def _levels() -> tuple[dict[Pair, Decimal], dict[Pair, Decimal]]:
    """What is usable on the shelf, and what of it is promised."""
    today = clock.today()
    last_day = Coalesce(F("lot__opened_expires_on"), F("lot__expires_on"))
    bad = Balance.objects.annotate(day=last_day).filter(on_hand__gt=0)
    bad = bad.filter(Q(day__lt=today) | Q(bin__kind=Bin.Kind.QUARANTINE))
    useless = {
        (row["part_id"], row["bin__site_id"]): row["q"]
        for row in bad.values("part_id", "bin__site_id").annotate(q=Sum("on_hand"))
    }
    on_hand, reserved = {}, {}
    for part, site, there, kept in StockLevel.objects.values_list("part_id", "site_id", "on_hand", "reserved"):
        on_hand[part, site] = there - useless.get((part, site), ZERO)
        if kept:
            reserved[part, site] = kept
    return on_hand, reserved


def _fading(today: date) -> dict[Pair, list[tuple[date, Decimal]]]:
    """What lies here and expires within a year, by its last day."""
    last_day = Coalesce(F("lot__opened_expires_on"), F("lot__expires_on"))
    rows = Balance.objects.annotate(day=last_day).filter(on_hand__gt=0, day__gte=today, day__lt=today + timedelta(365))
    found: dict[Pair, list[tuple[date, Decimal]]] = defaultdict(list)
    for part, site, day, there in rows.exclude(bin__kind=Bin.Kind.QUARANTINE).values_list(
        "part_id", "bin__site_id", "day", "on_hand"
    ):
        found[part, site].append((day, there))
    return found


def _costs() -> dict[int, Decimal]:
    """What the last lot of each part cost."""
    last = Lot.objects.filter(opened_from__isnull=True).values("part_id").annotate(last=Max("id")).values("last")
    return dict(Lot.objects.filter(pk__in=last).values_list("part_id", "unit_cost"))
